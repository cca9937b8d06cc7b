"""Steps of an object do not overlap on a face; records of times and verdicts are append-only.

Steps marked as combined may overlap. PostgreSQL holds it by an exclusion constraint, SQLite by
triggers. On SQLite a later migration that rebuilds one of these tables drops its triggers: such a
migration has to be followed by this one's statements again (a test attempts every forbidden write
and fails when a guard is missing).
"""

from django.db import migrations

APPEND_ONLY = {
    "treatments_interventionrecord": "What was recorded of the times of a step is never changed.",
    "treatments_decisionverdict": "An answer to a decision is never changed: a later one follows.",
}
OVERLAP = "Two steps overlap on the same face of this object and neither is a combined step."


def _on_sqlite(schema_editor):
    for table, message in APPEND_ONLY.items():
        for when in ("UPDATE", "DELETE"):
            schema_editor.execute(
                f"CREATE TRIGGER {table}_no_{when.lower()} BEFORE {when} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
            )
    overlap = (
        "NEW.started_at IS NOT NULL AND NOT NEW.combined AND EXISTS ("
        "SELECT 1 FROM treatments_intervention AS other WHERE other.id IS NOT NEW.id "
        "AND other.object_id = NEW.object_id AND other.face = NEW.face AND NOT other.combined "
        "AND other.started_at IS NOT NULL "
        "AND other.started_at < COALESCE(NEW.finished_at, '9999') "
        "AND NEW.started_at < COALESCE(other.finished_at, '9999'))"
    )
    for name, when in (("added", "INSERT"), ("changed", "UPDATE")):
        schema_editor.execute(
            f"CREATE TRIGGER treatments_intervention_alone_when_{name} BEFORE {when} "
            f"ON treatments_intervention WHEN {overlap} "
            f"BEGIN SELECT RAISE(ABORT, '{OVERLAP}'); END"
        )


def _on_postgresql(schema_editor):
    schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    schema_editor.execute(
        "CREATE OR REPLACE FUNCTION treatments_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'integrity_constraint_violation'; "
        "END $$",
        params=None,
    )
    for table, message in APPEND_ONLY.items():
        for when in ("UPDATE", "DELETE"):
            schema_editor.execute(
                f"CREATE TRIGGER {table}_no_{when.lower()} BEFORE {when} ON {table} "
                f"FOR EACH ROW EXECUTE FUNCTION treatments_refuse('{message}')"
            )
    schema_editor.execute(
        "ALTER TABLE treatments_intervention ADD CONSTRAINT steps_never_overlap EXCLUDE USING gist "
        "(object_id WITH =, face WITH =, tstzrange(started_at, finished_at) WITH &&) "
        "WHERE (started_at IS NOT NULL AND NOT combined)"
    )


def put_up(apps, schema_editor):
    """Put the guards up."""
    {"sqlite": _on_sqlite, "postgresql": _on_postgresql}[schema_editor.connection.vendor](
        schema_editor
    )


def take_down(apps, schema_editor):
    """Take the guards down again."""
    is_postgresql = schema_editor.connection.vendor == "postgresql"
    for table in APPEND_ONLY:
        for when in ("update", "delete"):
            on = f" ON {table}" if is_postgresql else ""
            schema_editor.execute(f"DROP TRIGGER {table}_no_{when}{on}")
    if is_postgresql:
        schema_editor.execute(
            "ALTER TABLE treatments_intervention DROP CONSTRAINT steps_never_overlap"
        )
        schema_editor.execute("DROP FUNCTION treatments_refuse()")
    else:
        for name in ("added", "changed"):
            schema_editor.execute(f"DROP TRIGGER treatments_intervention_alone_when_{name}")


class Migration(migrations.Migration):
    """Guards for steps, their records and verdicts."""

    dependencies = [("treatments", "0002_emergencies_and_reasons")]

    operations = [migrations.RunPython(put_up, take_down)]
