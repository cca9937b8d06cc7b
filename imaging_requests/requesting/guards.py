"""What the database refuses about duties, wishes and what people signed about them."""

from __future__ import annotations

from imaging_requests.people.guards import keep_what_has_events

WORDS = {
    "owedview": "A view with an event is never deleted: it ends.",
    "request": "A request that was filed is never deleted: withdraw it.",
    "requestline": "A line that was filed is never deleted: withdraw it.",
    "waiver": "A waiver is never deleted: end it.",
    "waiverproposal": "A proposal is never deleted: refuse it.",
    "notapplicable": "A ruling is never deleted: end it.",
    "gapstatement": "A gap statement is never deleted: end it.",
}


def declare() -> None:
    """Declare the guards of this room."""
    for name, words in WORDS.items():
        keep_what_has_events(f"requesting_{name}", f"requesting.{name}", words)
