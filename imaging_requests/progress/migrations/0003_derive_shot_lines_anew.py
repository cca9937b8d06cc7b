"""Have objects derived anew whose lines were shot and whose files have not come.

Their views wait for these files; what was derived before calls them open.
"""

from django.db import migrations


def mark_shot(apps, schema_editor):
    lines = apps.get_model("campaigns", "ShotLine").objects.filter(
        state="done", deliverables__isnull=True
    )
    ids = set(lines.order_by().values_list("object_id", flat=True))
    mark_model = apps.get_model("collection", "StaleMark")
    mark_model.objects.bulk_create(
        [mark_model(object_id=pk, reason="shot lines are read anew") for pk in sorted(ids)],
        batch_size=500,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("progress", "0002_derive_plans_anew"),
        ("campaigns", "0002_refuse_overlapping_bookings"),
        ("collection", "0001_initial"),
        ("deliverables", "0002_joined_files_have_copies"),
    ]

    operations = [migrations.RunPython(mark_shot, migrations.RunPython.noop)]
