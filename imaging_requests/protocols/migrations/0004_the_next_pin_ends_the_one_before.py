"""A pin is added while the one before is in force, and the database ends that one at once.

For the length of one statement two pins of an entry are open. So the unique key goes, which the
guards of the room replace, and PostgreSQL keeps pins apart when a transaction ends.
"""

from django.db import migrations

EXCLUSION = (
    "ALTER TABLE protocols_entrypin ADD CONSTRAINT entry_pins_never_overlap "
    "EXCLUDE USING gist (entry_id WITH =, tstzrange(pinned_at, unpinned_at) WITH &&)"
)


def _renew(schema_editor, when):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            "ALTER TABLE protocols_entrypin DROP CONSTRAINT entry_pins_never_overlap"
        )
        schema_editor.execute(f"{EXCLUSION} {when}")


def defer(apps, schema_editor):
    """Keep pins apart when a transaction ends."""
    _renew(schema_editor, "DEFERRABLE INITIALLY DEFERRED")


def at_once(apps, schema_editor):
    """Keep pins apart at every statement."""
    _renew(schema_editor, "NOT DEFERRABLE")


class Migration(migrations.Migration):
    """Let the next pin end the one before."""

    dependencies = [("protocols", "0003_rehearsals")]

    operations = [
        migrations.RemoveConstraint(model_name="entrypin", name="entry_pinned_once"),
        migrations.RunPython(defer, at_once),
    ]
