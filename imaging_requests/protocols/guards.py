"""What the database refuses about versions of the rules and the pins of entries."""

from __future__ import annotations

from imaging_requests.people.guards import add_consequence, add_guard, keep

VERSIONED = {
    "protocols_protocolversion": ("name",),
    "protocols_triggertableversion": (),
    "protocols_studiosettingsversion": (),
}
KEPT = (
    "id",
    "number",
    "definition",
    "created_at",
    "published_at",
    "published_by_id",
    "co_signed_by_id",
)
#: What of a pin never changes: everything but its end.
PINNED = ("id", "entry_id", "protocol_id", "pinned_at", "recorded_at", "reason")
PINS = "SELECT 1 FROM protocols_entrypin AS other WHERE other.entry_id = NEW.entry_id"
DRAFT = (
    "EXISTS (SELECT 1 FROM protocols_protocolversion AS version "
    "WHERE version.id = NEW.protocol_id AND version.state = 'draft')"
)


def declare() -> None:
    """Declare the guards of this room."""
    for table, more in VERSIONED.items():
        changed = " OR ".join(f"NEW.{name} {{differs}} OLD.{name}" for name in (*KEPT, *more))
        add_guard(
            table=table,
            name="never_changes",
            event="UPDATE",
            message="A published version of the rules never changes: write a new version.",
            when=(
                f"OLD.state <> 'draft' AND ({changed} OR (NEW.state = OLD.state "
                "AND NEW.row_version <> OLD.row_version) OR NOT (NEW.state = OLD.state "
                "OR (OLD.state = 'published' AND NEW.state = 'retired')))"
            ),
        )
        add_guard(
            table=table,
            name="never_goes",
            event="DELETE",
            message="A published version of the rules is never deleted: retire it.",
            when="OLD.state <> 'draft'",
        )
    add_guard(
        table="protocols_rehearsal",
        name="made_stays",
        event="UPDATE",
        message="A report that was kept never changes: rehearse the draft again.",
        when="OLD.state = 'made'",
    )
    add_guard(
        table="protocols_rehearsal",
        name="never_goes",
        event="DELETE",
        message="A report of a rehearsal is never deleted.",
    )
    for event in ("UPDATE", "DELETE"):
        add_guard(
            table="protocols_rehearsalreading",
            name=f"no_{event.lower()}",
            event=event,
            message="Who has read a report stays on record.",
        )
    _declare_pins()


def _declare_pins() -> None:
    """From its first pin on an entry has exactly one: only a following pin ends the one before."""
    table, message = "protocols_entrypin", "An entry follows exactly one protocol version"
    add_guard(
        table=table,
        name="one_at_insert",
        event="INSERT",
        message=f"{message} at any instant: a new pin begins later than the one in force.",
        when=(
            f"NEW.unpinned_at IS NOT NULL OR (EXISTS ({PINS}) AND NOT EXISTS "
            f"({PINS} AND other.unpinned_at IS NULL AND other.pinned_at < NEW.pinned_at))"
        ),
    )
    add_guard(
        table=table,
        name="no_draft",
        event="INSERT",
        message=f"{message} that was published, never a draft.",
        when=DRAFT,
    )
    add_consequence(
        table=table,
        name="ends_the_one_before",
        then=(
            f"UPDATE {table} SET unpinned_at = NEW.pinned_at WHERE entry_id = NEW.entry_id "
            "AND unpinned_at IS NULL AND pinned_at < NEW.pinned_at"
        ),
    )
    add_guard(
        table=table,
        name="one_at_update",
        event="UPDATE",
        message=f"{message} at any instant: a pin ends only as the next one begins.",
        when=(
            " OR ".join(f"NEW.{name} {{differs}} OLD.{name}" for name in PINNED)
            + " OR (NEW.unpinned_at {differs} OLD.unpinned_at AND (OLD.unpinned_at IS NOT NULL OR "
            f"NOT EXISTS ({PINS} AND other.id <> NEW.id AND other.unpinned_at IS NULL "
            "AND other.pinned_at = NEW.unpinned_at)))"
        ),
    )
    keep(table, f"{message} at any instant: a pin is never deleted.")
