"""What the database refuses about versions of the rules and the pins of entries."""

from __future__ import annotations

from imaging_requests.people.guards import add_guard

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
OVERLAPS = (
    "EXISTS (SELECT 1 FROM protocols_entrypin AS other "
    "WHERE other.id {differs} NEW.id AND other.entry_id = NEW.entry_id "
    "AND (NEW.unpinned_at IS NULL OR other.pinned_at < NEW.unpinned_at) "
    "AND (other.unpinned_at IS NULL OR NEW.pinned_at < other.unpinned_at))"
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
                f"OLD.state <> 'draft' AND ({changed} OR NOT (NEW.state = OLD.state "
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
    for event in ("INSERT", "UPDATE"):
        add_guard(
            table="protocols_entrypin",
            name=f"one_at_{event.lower()}",
            event=event,
            message="An entry follows exactly one protocol version at any instant.",
            when=OVERLAPS,
        )
