"""What the database refuses about duties, wishes and what people signed about them."""

from __future__ import annotations

from imaging_requests.people.guards import keep

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


def declare() -> None:
    """Declare the guards of this room."""
    for name, words in WORDS.items():
        keep(f"requesting_{name}", words)
