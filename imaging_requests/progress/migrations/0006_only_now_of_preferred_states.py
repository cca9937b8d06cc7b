"""What can only be made now may be a state that is preferred, too."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("progress", "0005_only_now_views")]

    operations = [
        migrations.AlterField(
            model_name="viewstatus",
            name="is_only_now",
            field=models.BooleanField(
                default=False,
                help_text="Still to be made, of a surface bared for a while or of a state that a "
                "planned step ends.",
            ),
        ),
    ]
