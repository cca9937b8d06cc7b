"""No two bookings of one resource overlap, unless one of them was released.

The database itself refuses: PostgreSQL by an exclusion constraint, SQLite by triggers. A later
migration that rebuilds this table on SQLite drops its triggers and has to put them up again; a
test attempts the forbidden rows and fails when the guard is missing.
"""

from django.db import migrations

ONE_PLACE = "A resource is in one place only: this booking overlaps another."
OVERLAP = (
    "NEW.released_at IS NULL AND EXISTS (SELECT 1 FROM campaigns_booking AS other "
    "WHERE other.id IS NOT NEW.id AND other.resource_id = NEW.resource_id "
    "AND other.released_at IS NULL "
    "AND other.starts_at < NEW.ends_at AND NEW.starts_at < other.ends_at)"
)


def put_up(apps, schema_editor):
    """Put the guard up."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        schema_editor.execute(
            "ALTER TABLE campaigns_booking ADD CONSTRAINT bookings_never_overlap "
            "EXCLUDE USING gist (resource_id WITH =, tstzrange(starts_at, ends_at) WITH &&) "
            "WHERE (released_at IS NULL)"
        )
        return
    for name, when in (("added", "INSERT"), ("moved", "UPDATE")):
        schema_editor.execute(
            f"CREATE TRIGGER campaigns_booking_one_place_when_{name} BEFORE {when} "
            f"ON campaigns_booking WHEN {OVERLAP} BEGIN SELECT RAISE(ABORT, '{ONE_PLACE}'); END"
        )


def take_down(apps, schema_editor):
    """Take the guard down again."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("ALTER TABLE campaigns_booking DROP CONSTRAINT bookings_never_overlap")
        return
    for name in ("added", "moved"):
        schema_editor.execute(f"DROP TRIGGER campaigns_booking_one_place_when_{name}")


class Migration(migrations.Migration):
    """Guard against two bookings of one resource at once."""

    dependencies = [("campaigns", "0002_light_and_signatures")]

    operations = [migrations.RunPython(put_up, take_down)]
