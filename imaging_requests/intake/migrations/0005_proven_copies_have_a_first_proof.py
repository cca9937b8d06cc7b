from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("intake", "0004_carry_first_proofs_over")]

    operations = [
        migrations.AddConstraint(
            model_name="copy",
            constraint=models.CheckConstraint(
                condition=Q(verified_at=None) | Q(first_verified_at__isnull=False),
                name="proven_copy_was_proven_first",
            ),
        ),
    ]
