"""On PostgreSQL an exclusion constraint keeps bookings of one resource apart, even in a race.

On SQLite writers take turns, and the guards of the room do the same.
"""

from django.db import migrations


def put_up(apps, schema_editor):
    """Add the constraint."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        schema_editor.execute(
            "ALTER TABLE campaigns_booking ADD CONSTRAINT bookings_never_overlap "
            "EXCLUDE USING gist (resource_id WITH =, tstzrange(starts_at, ends_at) WITH &&) "
            "WHERE (released_at IS NULL)"
        )


def take_down(apps, schema_editor):
    """Drop the constraint."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("ALTER TABLE campaigns_booking DROP CONSTRAINT bookings_never_overlap")


class Migration(migrations.Migration):
    """Keep bookings of one resource apart."""

    dependencies = [("campaigns", "0001_initial")]

    operations = [migrations.RunPython(put_up, take_down)]
