"""A published version of the rules never changes, and pins of an entry never overlap.

The database itself refuses, on SQLite by triggers, on PostgreSQL by triggers and an exclusion
constraint. On SQLite a later migration that rebuilds one of these tables drops its triggers: such
a migration has to be followed by this one's statements again (a test attempts every forbidden
write and fails when a guard is missing).
"""

from django.db import migrations

VERSIONED = {
    "protocols_protocolversion": ("name",),
    "protocols_triggertableversion": (),
    "protocols_studiosettingsversion": (),
}
FROZEN = (
    "id",
    "number",
    "definition",
    "created_at",
    "published_at",
    "published_by_id",
    "co_signed_by_id",
)
NEVER_CHANGES = "A published version of the rules never changes: write a new version."
NEVER_GOES = "A published version of the rules is never deleted: retire it."
ONE_PIN = "An entry follows exactly one protocol version at any instant."


def _change(columns, differs):
    frozen = " OR ".join(f"NEW.{name} {differs} OLD.{name}" for name in columns)
    return (
        f"OLD.state <> 'draft' AND ({frozen} OR NOT (NEW.state = OLD.state "
        f"OR (OLD.state = 'published' AND NEW.state = 'retired')))"
    )


def _on_sqlite(schema_editor):
    for table, more in VERSIONED.items():
        change = _change((*FROZEN, *more), "IS NOT")
        schema_editor.execute(
            f"CREATE TRIGGER {table}_never_changes BEFORE UPDATE ON {table} WHEN {change} "
            f"BEGIN SELECT RAISE(ABORT, '{NEVER_CHANGES}'); END"
        )
        schema_editor.execute(
            f"CREATE TRIGGER {table}_never_goes BEFORE DELETE ON {table} "
            f"WHEN OLD.state <> 'draft' BEGIN SELECT RAISE(ABORT, '{NEVER_GOES}'); END"
        )
    overlap = (
        "EXISTS (SELECT 1 FROM protocols_entrypin AS other "
        "WHERE other.id IS NOT NEW.id AND other.entry_id = NEW.entry_id "
        "AND other.pinned_at < COALESCE(NEW.unpinned_at, '9999') "
        "AND NEW.pinned_at < COALESCE(other.unpinned_at, '9999'))"
    )
    for name, when in (("added", "INSERT"), ("moved", "UPDATE")):
        schema_editor.execute(
            f"CREATE TRIGGER protocols_entrypin_one_when_{name} BEFORE {when} "
            f"ON protocols_entrypin WHEN {overlap} BEGIN SELECT RAISE(ABORT, '{ONE_PIN}'); END"
        )


def _on_postgresql(schema_editor):
    schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    schema_editor.execute(
        "CREATE OR REPLACE FUNCTION protocols_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$",
        params=None,
    )
    for table, more in VERSIONED.items():
        change = _change((*FROZEN, *more), "IS DISTINCT FROM")
        schema_editor.execute(
            f"CREATE TRIGGER {table}_never_changes BEFORE UPDATE ON {table} FOR EACH ROW "
            f"WHEN ({change}) EXECUTE FUNCTION protocols_refuse('{NEVER_CHANGES}')"
        )
        schema_editor.execute(
            f"CREATE TRIGGER {table}_never_goes BEFORE DELETE ON {table} FOR EACH ROW "
            f"WHEN (OLD.state <> 'draft') EXECUTE FUNCTION protocols_refuse('{NEVER_GOES}')"
        )
    schema_editor.execute(
        "ALTER TABLE protocols_entrypin ADD CONSTRAINT entry_pins_never_overlap EXCLUDE USING gist "
        "(entry_id WITH =, tstzrange(pinned_at, unpinned_at) WITH &&)"
    )


def put_up(apps, schema_editor):
    """Put the guards up."""
    {"sqlite": _on_sqlite, "postgresql": _on_postgresql}[schema_editor.connection.vendor](
        schema_editor
    )


def take_down(apps, schema_editor):
    """Take the guards down again."""
    is_postgresql = schema_editor.connection.vendor == "postgresql"
    for table in VERSIONED:
        for guard in ("never_changes", "never_goes"):
            on = f" ON {table}" if is_postgresql else ""
            schema_editor.execute(f"DROP TRIGGER {table}_{guard}{on}")
    if is_postgresql:
        schema_editor.execute(
            "ALTER TABLE protocols_entrypin DROP CONSTRAINT entry_pins_never_overlap"
        )
        schema_editor.execute("DROP FUNCTION protocols_refuse()")
    else:
        for name in ("added", "moved"):
            schema_editor.execute(f"DROP TRIGGER protocols_entrypin_one_when_{name}")


class Migration(migrations.Migration):
    """Guards for published versions and for pins."""

    dependencies = [("protocols", "0002_two_signatures")]

    operations = [migrations.RunPython(put_up, take_down)]
