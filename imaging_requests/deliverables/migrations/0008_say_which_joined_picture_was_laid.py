import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("deliverables", "0007_join_tiles_and_lay_plate_maps")]

    operations = [
        migrations.AddField(
            model_name="registration",
            name="join",
            field=models.ForeignKey(
                blank=True,
                help_text="The joined picture whose pixels are mapped, if it is made of tiles.",
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="registrations",
                to="deliverables.join",
            ),
        ),
    ]
