"""Mark the views of bared surfaces that are still to be made, so that first pages find them."""

from django.db import migrations, models

SETTLED = ("accepted", "filed", "waived", "not_applicable", "replaced", "lost")


def mark_only_now(apps, schema_editor):
    statuses = apps.get_model("progress", "ViewStatus").objects
    waiting = statuses.filter(owed_view__anchor="WIN").exclude(status__in=SETTLED)
    waiting.update(is_only_now=True)


class Migration(migrations.Migration):
    dependencies = [
        ("progress", "0004_derive_accepted_anew"),
        ("requesting", "0003_demand_prefers_a_state"),
    ]

    operations = [
        migrations.AddField(
            model_name="viewstatus",
            name="is_only_now",
            field=models.BooleanField(
                default=False,
                help_text="Of a surface that is bared for a while, and still to be made.",
            ),
        ),
        migrations.AddIndex(
            model_name="viewstatus",
            index=models.Index(
                condition=models.Q(is_only_now=True), fields=["object"], name="view_only_now"
            ),
        ),
        migrations.RunPython(mark_only_now, migrations.RunPython.noop),
    ]
