"""Have objects derived anew whose plans the rules now read otherwise.

A session that is over plans nothing any more, and a step that has not begun is judged by the table
in force. What was derived before says otherwise, and no date would make it notice.
"""

from django.db import migrations


def mark_planned(apps, schema_editor):
    statuses = apps.get_model("progress", "ViewStatus").objects.filter(status="planned")
    steps = apps.get_model("treatments", "Intervention").objects.filter(state="planned")
    ids = {
        *statuses.order_by().values_list("object_id", flat=True),
        *steps.order_by().values_list("object_id", flat=True),
    }
    mark_model = apps.get_model("collection", "StaleMark")
    mark_model.objects.bulk_create(
        [mark_model(object_id=pk, reason="plans are read anew") for pk in sorted(ids)],
        batch_size=500,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("progress", "0001_initial"),
        ("collection", "0001_initial"),
        ("treatments", "0002_steps_never_overlap"),
    ]

    operations = [migrations.RunPython(mark_planned, migrations.RunPython.noop)]
