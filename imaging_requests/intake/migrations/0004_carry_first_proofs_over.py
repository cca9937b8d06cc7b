"""Keep when a copy was first proven, and in which times it was known to be bad.

A copy was first proven when it was written, unless its place failed at once; the last proof, which
every sweep moved, only bounds it. A copy that is bad today has been so since the trail says that
it was found, or, if the trail is silent, since this migration.
"""

from django.db import migrations
from django.db.models import F
from django.db.models.functions import Least
from django.utils import timezone

LOST = "intake.copy_lost"


def carry_over(apps, schema_editor):
    copy_model = apps.get_model("intake", "Copy")
    lapse_model = apps.get_model("intake", "CopyLapse")
    audit_model = apps.get_model("people", "AuditEvent")
    proven = copy_model.objects.filter(first_verified_at=None, verified_at__isnull=False)
    proven.update(first_verified_at=Least(F("written_at"), F("verified_at")))
    bad = copy_model.objects.filter(is_good=False, first_verified_at__isnull=False, lapses=None)
    for copy in bad.order_by("pk").iterator():
        found = (
            audit_model.objects.filter(
                code=LOST,
                subject_id=str(copy.frame_id),
                after__place=copy.place,
                recorded_at__gte=copy.verified_at,
            )
            .order_by("recorded_at")
            .first()
        )
        found_at = found.recorded_at if found is not None else timezone.now()
        lapse_model.objects.create(copy=copy, found_at=found_at)


class Migration(migrations.Migration):
    dependencies = [
        ("intake", "0003_first_proof_of_copies"),
        ("people", "0001_initial"),
    ]

    operations = [migrations.RunPython(carry_over, migrations.RunPython.noop)]
