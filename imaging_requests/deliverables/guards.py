"""What the database refuses about pictures people decided on, reviews, and sealed packages."""

from __future__ import annotations

from collections.abc import Iterable

from imaging_requests.people.guards import add_guard, keep

#: Every column of a version but its state and its row version.
KEPT = (
    "id",
    "chain",
    "version",
    "object_id",
    "face",
    "surface",
    "technique",
    "variant",
    "detail_mm",
    "kind",
    "captured_at",
    "px_per_mm",
    "coverage_percent",
    "is_complete",
    "missing",
    "faults",
    "polarity",
    "shot_line_id",
    "photographer_id",
    "cover_id",
    "created_at",
    "handed_in_at",
)
DECIDED = "('accepted', 'sent_back', 'recalled')"
HANDED_OVER = {
    "delivery": "A delivery is never deleted: somebody holds the pictures.",
    "correction": "A correction is never deleted: close it.",
    "correctionnotice": "Who was told of a correction is never deleted.",
    "loneworker": "A stretch of lone work is never deleted.",
}
#: A surface is named by the letter of its face, a dot, and a number from one.
ONE_SURFACE = (
    "NEW.technique IN ('VF', 'VC', 'RK', 'UV', 'IR', 'XR') AND NEW.face IN ('F', 'B', 'E', 'T') "
    "AND SUBSTR(NEW.surface, 1, 2) = NEW.face || '.' "
    "AND SUBSTR(NEW.surface, 3, 1) IN ('1', '2', '3', '4', '5', '6', '7', '8', '9') "
    "AND RTRIM(SUBSTR(NEW.surface, 3), '0123456789') = ''"
)


def _changed(columns: Iterable[str]) -> str:
    return " OR ".join(f"NEW.{name} {{differs}} OLD.{name}" for name in columns)


def _state(table: str, row: str) -> str:
    return f"(SELECT state FROM deliverables_{table} WHERE id = {row}.{table}_id)"


def declare() -> None:
    """Declare the guards of this room."""
    _declare_pictures()
    _declare_reviews()
    _declare_packages()
    _declare_notes()
    _declare_joins()
    _declare_retests()
    for name, words in HANDED_OVER.items():
        keep(f"deliverables_{name}", words)
    add_guard(
        table="collection_collectionobject",
        name="with_history_stays",
        event="DELETE",
        message="An object with an event is never deleted: withdraw its record.",
        when="EXISTS (SELECT 1 FROM people_auditevent AS e WHERE e.object_id = OLD.id)",
    )
    add_guard(
        table="campaigns_shotline",
        name="with_files_stays",
        event="DELETE",
        message="A shot line on which files or a picture lie is never deleted.",
        when=(
            "EXISTS (SELECT 1 FROM intake_frame AS f WHERE f.shot_line_id = OLD.id) OR "
            "EXISTS (SELECT 1 FROM deliverables_deliverable AS d WHERE d.shot_line_id = OLD.id)"
        ),
    )


def _declare_pictures() -> None:
    add_guard(
        table="deliverables_deliverable",
        name="decided_stays",
        event="UPDATE",
        message=(
            "A picture that was accepted, sent back or recalled never changes; an accepted one "
            "can be recalled."
        ),
        when=(
            f"OLD.state IN {DECIDED} AND "
            f"(OLD.state <> 'accepted' OR NEW.state <> 'recalled' OR {_changed(KEPT)})"
        ),
    )
    shown = _changed(name for name in KEPT if name != "handed_in_at")
    add_guard(
        table="deliverables_deliverable",
        name="waiting_stays",
        event="UPDATE",
        message="A picture that waits for its review never changes: take it back first.",
        when=(
            f"OLD.state = 'to_review' AND ({shown} "
            "OR (NEW.handed_in_at {differs} OLD.handed_in_at AND NEW.state <> 'building'))"
        ),
    )
    add_guard(
        table="deliverables_deliverable",
        name="handed_in_stays",
        event="DELETE",
        message="A picture that was handed in is never deleted: recall it.",
        when="OLD.state <> 'building'",
    )
    for event, free in (("INSERT", ""), ("UPDATE", "OLD.state = 'building' AND ")):
        add_guard(
            table="deliverables_deliverable",
            name=f"one_surface_at_{event.lower()}",
            event=event,
            message="A picture shows one surface of its face in one technique.",
            when=f"{free}NOT ({ONE_SURFACE})",
        )
    for event, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD")):
        add_guard(
            table="deliverables_deliverableframe",
            name=f"building_at_{event.lower()}",
            event=event,
            message="The frames of a picture change only while it is building.",
            when=f"{_state('deliverable', row)} <> 'building'",
        )


def _declare_reviews() -> None:
    for event in ("UPDATE", "DELETE"):
        add_guard(
            table="deliverables_review",
            name=f"no_{event.lower()}",
            event=event,
            message="A review never changes: a later one follows.",
        )


def _declare_packages() -> None:
    for event in ("UPDATE", "DELETE"):
        add_guard(
            table="deliverables_package",
            name=f"sealed_at_{event.lower()}",
            event=event,
            message="A sealed package never changes: seal another one.",
            when="OLD.state = 'sealed'",
        )
    add_guard(
        table="deliverables_packageitem",
        name="accepted_only",
        event="INSERT",
        message="Only accepted pictures enter a package, and only before it is sealed.",
        when=(
            f"{_state('deliverable', 'NEW')} <> 'accepted' OR {_state('package', 'NEW')} = 'sealed'"
        ),
    )
    add_guard(
        table="deliverables_packageitem",
        name="no_update",
        event="UPDATE",
        message="What lies in a package is never exchanged.",
    )
    add_guard(
        table="deliverables_packageitem",
        name="sealed_at_delete",
        event="DELETE",
        message="Nothing is taken out of a sealed package.",
        when=f"{_state('package', 'OLD')} = 'sealed'",
    )


def _declare_notes() -> None:
    add_guard(
        table="deliverables_surfacenote",
        name="withdrawn_stays",
        event="UPDATE",
        message="A note that was taken back never changes: write a new one.",
        when="OLD.withdrawn_at IS NOT NULL",
    )
    keep("deliverables_surfacenote", "A note is never deleted: take it back.")


def _declare_retests() -> None:
    for event in ("UPDATE", "DELETE"):
        add_guard(
            table="deliverables_retestpair",
            name=f"no_{event.lower()}",
            event=event,
            message="A test and retest pair never changes: keep a newer one.",
        )


def _declare_joins() -> None:
    for event in ("UPDATE", "DELETE"):
        add_guard(
            table="deliverables_platemap",
            name=f"no_{event.lower()}",
            event=event,
            message="A plate map never changes: lay another one.",
        )
