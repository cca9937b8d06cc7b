"""What the database refuses about steps of treatments and the records about them."""

from __future__ import annotations

from imaging_requests.people.guards import add_guard, keep

APPEND_ONLY = {
    "treatments_interventionrecord": "What was recorded of the times of a step never changes.",
    "treatments_decisionverdict": "An answer to a question never changes: a later one follows.",
}
KEPT = {
    "treatment": "A treatment is never deleted: drop it.",
    "intervention": "A step is never deleted: drop it.",
    "incident": "An incident is never deleted.",
    "emergencyoverride": "An emergency start is never deleted: two people answer for it.",
    "decisioncase": "A question is never deleted: answer it.",
    "timesproposal": "A proposal of other times is never deleted: decline it.",
}
OVERLAPS = (
    "NEW.started_at IS NOT NULL AND NOT NEW.combined AND EXISTS ("
    "SELECT 1 FROM treatments_intervention AS other WHERE other.id {differs} NEW.id "
    "AND other.object_id = NEW.object_id AND other.face = NEW.face AND NOT other.combined "
    "AND other.started_at IS NOT NULL "
    "AND (NEW.finished_at IS NULL OR other.started_at < NEW.finished_at) "
    "AND (other.finished_at IS NULL OR NEW.started_at < other.finished_at))"
)


def declare() -> None:
    """Declare the guards of this room."""
    for table, message in APPEND_ONLY.items():
        for event in ("UPDATE", "DELETE"):
            add_guard(table=table, name=f"no_{event.lower()}", event=event, message=message)
    for event in ("INSERT", "UPDATE"):
        add_guard(
            table="treatments_intervention",
            name=f"alone_at_{event.lower()}",
            event=event,
            message="Two steps overlap on one face of this object and neither is combined.",
            when=OVERLAPS,
        )
    add_guard(
        table="treatments_timesproposal",
        name="decided_stays",
        event="UPDATE",
        message="Proposed times that were decided never change: propose others.",
        when="OLD.state <> 'open'",
    )
    for name, words in KEPT.items():
        keep(f"treatments_{name}", words)
