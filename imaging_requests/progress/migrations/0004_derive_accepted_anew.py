"""Have objects with accepted pictures derived anew: each now says what it lacks to be filed."""

from django.db import migrations


def mark_accepted(apps, schema_editor):
    statuses = apps.get_model("progress", "ViewStatus").objects.filter(status="accepted")
    ids = set(statuses.order_by().values_list("object_id", flat=True))
    mark_model = apps.get_model("collection", "StaleMark")
    mark_model.objects.bulk_create(
        [mark_model(object_id=pk, reason="what filing lacks is read anew") for pk in sorted(ids)],
        batch_size=500,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("progress", "0003_derive_shot_lines_anew"),
        ("collection", "0001_initial"),
    ]

    operations = [migrations.RunPython(mark_accepted, migrations.RunPython.noop)]
