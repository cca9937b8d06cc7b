"""Words for techniques, faces, statuses, anchors, events and dates.

>>> from zoneinfo import ZoneInfo
>>> from datetime import UTC, datetime
>>> speech = Speech({}, ZoneInfo("Europe/London"), {})
>>> speech.day(datetime(2026, 6, 30, 23, 30, tzinfo=UTC))
'1 Jul 2026'
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from functools import lru_cache

from .facts import Event, OwedView, Picture
from .terms import CLEANED, Anchor, AnchorKind, Status, face_of
from .triggers import Tables

TECHNIQUE_WORDS = {
    "VF": "Visible light (flash)",
    "VC": "Visible light (continuous)",
    "RK": "Raking light",
    "UV": "UV",
    "IR": "Infrared",
    "XR": "X-ray",
}
FACE_WORDS = {"F": "the front", "B": "the back", "E": "the edges", "T": "the whole object"}
DIRECTION_WORDS = {
    "L": "from the left",
    "R": "from the right",
    "T": "from the top",
    "B": "from below",
}
PREFERRED_WORDS = {CLEANED: "the cleaned state, before retouching"}
STATUS_WORDS = {
    Status.REPLACED: "replaced",
    Status.NOT_APPLICABLE: "not applicable",
    Status.WAIVED: "waived",
    Status.FILED: "filed",
    Status.ACCEPTED: "accepted",
    Status.LOST: "lost",
    Status.UNDECIDED: "undecided",
    Status.TO_REVIEW: "to review",
    Status.SENT_BACK: "sent back",
    Status.CAPTURED: "captured",
    Status.RECALLED: "recalled",
    Status.PLANNED: "planned",
    Status.BLOCKED: "blocked",
    Status.OUT_OF_DATE: "out of date",
    Status.OPEN: "open",
}


@dataclass(frozen=True, slots=True)
class Speech:
    """How to say things: the trigger tables, the studio's zone, and words for keys."""

    tables: Tables
    zone: tzinfo
    names: Mapping[str, str]

    def name(self, key: str) -> str:
        """The word for a key, or the key itself."""
        return self.names.get(key, key)

    def day(self, instant: datetime) -> str:
        """``20 Feb 2026`` in the studio's zone."""
        return _day(instant, self.zone)

    def event(self, event: Event) -> str:
        """What was done: the conservator's own label, or the row's words."""
        return event.label or self.tables[event.table_version].row(event.row).said

    def dated(self, event: Event) -> str:
        """What was done, and when it ended."""
        if event.ended_at is None:
            return self.event(event)
        done = self.event(event)
        joint = "" if done.endswith(" on") else " on"
        return f"{done}{joint} {self.day(event.ended_at)}"


_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@lru_cache(maxsize=4096)
def _day(instant: datetime, zone: tzinfo) -> str:
    """A day in words, worked out once: most things of an object happened on a few days."""
    local = instant.astimezone(zone)
    return f"{local.day} {_MONTHS[local.month - 1]} {local.year}"


def name_view(view: OwedView | Picture) -> str:
    """``UV of the front``, ``Raking light from the left of the back``, ``X-ray``."""
    return _name_view(view.technique, view.surface, view.variant)


@lru_cache(maxsize=4096)
def _name_view(technique: str, surface: str, variant: str) -> str:
    """A view in words, worked out once: a house has a few dozen kinds of views."""
    words = TECHNIQUE_WORDS.get(technique, technique)
    if variant:
        words = f"{words} {DIRECTION_WORDS.get(variant, f'({variant})')}"
    face = face_of(surface)
    if face == "T":
        return words
    words = f"{words} of {FACE_WORDS[face]}"
    if surface not in (face, f"{face}.1"):
        words = f"{words} ({surface})"
    return words


def view_words(technique: str, face: str, variant: str = "", surface: str = "") -> str:
    """What a view is called everywhere: ``Raking light from the left of the front, detail 2``.

    >>> view_words("UV", "F"), view_words("XR", "T"), view_words("VF", "B", "", "B.2")
    ('UV of the front', 'X-ray', 'Visible light (flash) of the back (B.2)')
    >>> view_words("RK", "F", "L detail 2")
    'Raking light from the left of the front, detail 2'
    """
    words = TECHNIQUE_WORDS.get(technique, technique)
    first, _, rest = variant.partition(" ")
    has_direction = technique == "RK" and first in DIRECTION_WORDS
    detail = rest.strip() if has_direction else variant
    if has_direction:
        words = f"{words} {DIRECTION_WORDS[first]}"
    if face != "T":
        words = f"{words} of {FACE_WORDS.get(face, face)}"
        if surface not in ("", face, f"{face}.1"):
            words = f"{words} ({surface})"
    return f"{words}, {detail}" if detail else words


def name_anchor(anchor: Anchor, speech: Speech) -> str:
    """``as it is now``, ``before treatment T2``, ``while B.1 can be seen`` …"""
    treatment = speech.name(anchor.treatment or "")
    phase = f", phase {anchor.phase}" if (anchor.phase or 1) > 1 else ""
    if anchor.kind is AnchorKind.CUR:
        return "as it is now"
    if anchor.kind is AnchorKind.BT:
        return f"before treatment {treatment}{phase}"
    if anchor.kind is AnchorKind.DT:
        return f"after step {anchor.step} of treatment {treatment}"
    if anchor.kind is AnchorKind.AT:
        return f"after treatment {treatment}{phase}"
    if anchor.kind is AnchorKind.WIN:
        return f"while {anchor.surface} can be seen"
    assert anchor.instant is not None
    return f"as of {speech.day(anchor.instant)}"


def list_events(events: Sequence[Event], speech: Speech) -> str:
    """``varnish removed on 20 Feb 2026 and retouching on 3 Mar 2026``."""
    said = [speech.dated(event) for event in events]
    if not said:
        return "an earlier change"
    if len(said) == 1:
        return said[0]
    return f"{', '.join(said[:-1])} and {said[-1]}"


def capital(text: str) -> str:
    """The text with its first letter in upper case."""
    return text[:1].upper() + text[1:]


def inside(view: str) -> str:
    """A view's name as it stands inside a sentence."""
    return view if view.startswith(("UV", "X-ray")) else view[:1].lower() + view[1:]
