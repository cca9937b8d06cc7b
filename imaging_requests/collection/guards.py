"""What the database refuses about inventory numbers, catalogues and entries."""

from __future__ import annotations

from imaging_requests.people.guards import add_guard, keep, keep_what_has_events

OVERLAPS = (
    "EXISTS (SELECT 1 FROM collection_objectnumber AS other "
    "WHERE other.id {differs} NEW.id AND other.object_id = NEW.object_id "
    "AND other.scheme = NEW.scheme "
    "AND (NEW.in_force_to IS NULL OR other.in_force_from < NEW.in_force_to) "
    "AND (other.in_force_to IS NULL OR NEW.in_force_from < other.in_force_to))"
)
KEPT_ROWS = {
    "objectnumber": "A number that was given is never deleted: end it.",
    "objectfacts": "What was recorded of an object is never deleted: record it anew.",
    "face": "A face of an object is never deleted.",
    "entryobject": "That an object belongs to an entry is never deleted: it ends.",
    "locationstay": "Where an object was is never deleted: the stay ends.",
    "unavailability": "That an object cannot be had is never deleted: take it back.",
}
KEPT = ("object_id", "number", "scheme")


def declare() -> None:
    """Declare the guards of this room."""
    for event in ("INSERT", "UPDATE"):
        add_guard(
            table="collection_objectnumber",
            name=f"one_at_{event.lower()}",
            event=event,
            message="An object has one number of a kind in force at any instant.",
            when=OVERLAPS,
        )
    add_guard(
        table="collection_objectnumber",
        name="never_passes_on",
        event="UPDATE",
        message="A number never passes to another object and never changes: give a new one.",
        when=" OR ".join(f"NEW.{name} {{differs}} OLD.{name}" for name in KEPT),
    )
    for name, words in KEPT_ROWS.items():
        keep(f"collection_{name}", words)
    for name, words in (
        ("catalogue", "A catalogue with an event is never deleted."),
        ("entry", "An entry with an event is never deleted."),
    ):
        keep_what_has_events(f"collection_{name}", f"collection.{name}", words)
