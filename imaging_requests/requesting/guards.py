"""What the database refuses about duties, wishes and what people signed about them."""

from __future__ import annotations

from imaging_requests.people.guards import add_guard, keep

WORDS = {
    "owedview": "A view is never deleted: it ends.",
    "demand": "A demand is never deleted: it ends.",
    "request": "A request that was filed is never deleted: withdraw it.",
    "requestline": "A line that was filed is never deleted: withdraw it.",
    "waiver": "A waiver is never deleted: end it.",
    "waiverproposal": "A proposal is never deleted: refuse it.",
    "notapplicable": "A ruling is never deleted: end it.",
    "gapstatement": "A gap statement is never deleted: end it.",
}

#: The text that makes a duty unique says no more and no less than the columns of its anchor. Which
#: of the windows of a treatment it is stands in the text only.
ANCHOR_TEXT = (
    "CASE "
    "WHEN NEW.anchor = 'CUR' THEN NEW.anchor_key = 'CUR' "
    "WHEN NEW.anchor IN ('BT', 'AT') THEN NEW.anchor_key = NEW.anchor || ':' || NEW.treatment_id "
    "|| CASE WHEN NEW.anchor_phase > 1 THEN '/' || NEW.anchor_phase ELSE '' END "
    "WHEN NEW.anchor = 'DT' THEN "
    "NEW.anchor_key = 'DT:' || NEW.treatment_id || ':' || NEW.anchor_step "
    "WHEN NEW.anchor = 'WIN' THEN NEW.anchor_event_id IS NOT NULL "
    "AND (NEW.anchor_key LIKE 'WIN:_.%:' || NEW.treatment_id "
    "OR (RTRIM(NEW.anchor_key, '0123456789') LIKE 'WIN:_.%:' || NEW.treatment_id || '/' "
    "AND NEW.anchor_key NOT LIKE '%/')) "
    "WHEN NEW.anchor = 'FIX' THEN SUBSTR(NEW.anchor_key, 1, 4) = 'FIX:' "
    "END"
)


def declare() -> None:
    """Declare the guards of this room."""
    for name, words in WORDS.items():
        keep(f"requesting_{name}", words)
    for event in ("INSERT", "UPDATE"):
        add_guard(
            table="requesting_owedview",
            name=f"says_its_anchor_at_{event.lower()}",
            event=event,
            message="The anchor of a view and the text of it say the same.",
            when=f"NOT COALESCE({ANCHOR_TEXT}, FALSE)",
        )
