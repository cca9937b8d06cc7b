"""On PostgreSQL an exclusion constraint keeps pins of one entry apart, even in a race.

On SQLite writers take turns, and the guards of the room do the same.
"""

from django.db import migrations


def put_up(apps, schema_editor):
    """Add the constraint."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        schema_editor.execute(
            "ALTER TABLE protocols_entrypin ADD CONSTRAINT entry_pins_never_overlap "
            "EXCLUDE USING gist (entry_id WITH =, tstzrange(pinned_at, unpinned_at) WITH &&)"
        )


def take_down(apps, schema_editor):
    """Drop the constraint."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            "ALTER TABLE protocols_entrypin DROP CONSTRAINT entry_pins_never_overlap"
        )


class Migration(migrations.Migration):
    """Keep pins of one entry apart."""

    dependencies = [("protocols", "0001_initial")]

    operations = [migrations.RunPython(put_up, take_down)]
