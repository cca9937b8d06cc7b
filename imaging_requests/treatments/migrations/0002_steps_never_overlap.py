"""On PostgreSQL an exclusion constraint keeps steps on one face apart, even in a race.

Combined steps may overlap. On SQLite writers take turns, and the guards of the room do the same.
"""

from django.db import migrations


def put_up(apps, schema_editor):
    """Add the constraint."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        schema_editor.execute(
            "ALTER TABLE treatments_intervention ADD CONSTRAINT steps_never_overlap "
            "EXCLUDE USING gist (object_id WITH =, face WITH =, "
            "tstzrange(started_at, finished_at) WITH &&) "
            "WHERE (started_at IS NOT NULL AND NOT combined)"
        )


def take_down(apps, schema_editor):
    """Drop the constraint."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            "ALTER TABLE treatments_intervention DROP CONSTRAINT steps_never_overlap"
        )


class Migration(migrations.Migration):
    """Keep steps on one face apart."""

    dependencies = [("treatments", "0001_initial")]

    operations = [migrations.RunPython(put_up, take_down)]
