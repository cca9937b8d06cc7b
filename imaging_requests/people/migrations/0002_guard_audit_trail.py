"""The audit trail is append-only: the database refuses to change or delete an event."""

from django.db import migrations

STAYS = "The audit trail is append-only: an event is never changed and never deleted."
WHEN = ("UPDATE", "DELETE")


def put_up(apps, schema_editor):
    """Put the guards up."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            "CREATE OR REPLACE FUNCTION people_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION '%', TG_ARGV[0] "
            "USING ERRCODE = 'integrity_constraint_violation'; END $$",
            params=None,
        )
    for when in WHEN:
        name = f"people_auditevent_no_{when.lower()}"
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE {when} ON people_auditevent FOR EACH ROW "
                f"EXECUTE FUNCTION people_refuse('{STAYS}')"
            )
        else:
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE {when} ON people_auditevent "
                f"BEGIN SELECT RAISE(ABORT, '{STAYS}'); END"
            )


def take_down(apps, schema_editor):
    """Take the guards down again."""
    is_postgresql = schema_editor.connection.vendor == "postgresql"
    for when in WHEN:
        on = " ON people_auditevent" if is_postgresql else ""
        schema_editor.execute(f"DROP TRIGGER people_auditevent_no_{when.lower()}{on}")
    if is_postgresql:
        schema_editor.execute("DROP FUNCTION people_refuse()")


class Migration(migrations.Migration):
    """Guards for the audit trail."""

    dependencies = [("people", "0001_initial")]

    operations = [migrations.RunPython(put_up, take_down)]
