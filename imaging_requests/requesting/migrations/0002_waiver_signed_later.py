"""A waiver whose view becomes a last look later gets its second signature later."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("requesting", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="waiver",
            name="co_signed_at",
            field=models.DateTimeField(
                blank=True,
                help_text="When the second signature came later than the first.",
                null=True,
            ),
        ),
        migrations.AddConstraint(
            model_name="waiver",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("co_signed_at", None),
                    models.Q(
                        ("co_signed_at__gte", models.F("granted_at")),
                        ("co_signed_by__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="later_signature_has_a_name",
            ),
        ),
    ]
