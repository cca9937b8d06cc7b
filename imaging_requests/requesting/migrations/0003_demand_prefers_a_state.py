"""A line of a protocol may prefer a state of a treatment to the present one."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("requesting", "0002_waiver_signed_later")]

    operations = [
        migrations.AddField(
            model_name="demand",
            name="preferred",
            field=models.CharField(
                blank=True,
                default="",
                help_text="The state of a treatment that is preferred to the present one.",
                max_length=12,
            ),
            preserve_default=False,
        ),
    ]
