"""Keep when a copy was first proven, and in which times it was known to be bad."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [
        ("intake", "0002_copies_of_made_files"),
    ]

    operations = [
        migrations.AddField(
            model_name="copy",
            name="first_verified_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name="CopyLapse",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("found_at", models.DateTimeField()),
                ("mended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "copy",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="lapses",
                        to="intake.copy",
                    ),
                ),
            ],
            options={
                "ordering": ("copy", "found_at"),
                "constraints": [
                    models.UniqueConstraint(
                        condition=Q(mended_at=None),
                        fields=("copy",),
                        name="one_open_lapse_of_a_copy",
                    )
                ],
            },
        ),
    ]
