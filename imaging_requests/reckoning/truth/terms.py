"""The closed lists of words that the facts and the answers use.

>>> face_of("B.2"), face_of("T.1")
('B', 'T')
>>> Anchor.before("T2").kind
<AnchorKind.BT: 'BT'>
>>> [status.value for status in Status][:3]
['replaced', 'not_applicable', 'waived']
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from ..records import record

FRONT = "F"
BACK = "B"
EDGES = "E"
THROUGH = "T"
INTAKE_LAYERS = ("F.1", "B.1", "E.1", "T.1")
#: The state that retouching starts from; the trigger table's last looks call it so too.
CLEANED = "cleaned"


class AnchorKind(StrEnum):
    """As of which state a view is owed."""

    CUR = "CUR"
    BT = "BT"
    DT = "DT"
    AT = "AT"
    WIN = "WIN"
    FIX = "FIX"


class Verdict(StrEnum):
    """What a reviewer did with a picture version; the latest one counts."""

    ACCEPTED = "accepted"
    SENT_BACK = "sent_back"
    RECALLED = "recalled"


class Validity(StrEnum):
    """What a conservator decided about a picture chain after an event."""

    VALID = "valid"
    OUT_OF_DATE = "out_of_date"


class Effect(StrEnum):
    """What an event does to a picture of a view (a cell of the trigger table)."""

    OUT = "O"
    VALID = "V"
    ASK_OUT = "D+"
    ASK_VALID = "D-"
    HIDDEN = "H"
    NEW = "N"


class Carry(StrEnum):
    """Whether a picture speaks for a state."""

    OK = "OK"
    UNDECIDED = "UNDEC"
    OUT = "OUT"


class Status(StrEnum):
    """The fifteen statuses of an owed view, in the order in which they are tried.

    The first match wins; to review, sent back and captured share one place.
    """

    REPLACED = "replaced"
    NOT_APPLICABLE = "not_applicable"
    WAIVED = "waived"
    FILED = "filed"
    ACCEPTED = "accepted"
    LOST = "lost"
    UNDECIDED = "undecided"
    TO_REVIEW = "to_review"
    SENT_BACK = "sent_back"
    CAPTURED = "captured"
    RECALLED = "recalled"
    PLANNED = "planned"
    BLOCKED = "blocked"
    OUT_OF_DATE = "out_of_date"
    OPEN = "open"


class Why(StrEnum):
    """Why a view that is not met is (still, or again) owed."""

    NEVER_MADE = "never_made"
    OUT_OF_DATE = "out_of_date"
    UNDECIDED = "undecided"
    RECALLED = "recalled"
    SPEC_RAISED = "spec_raised"


class Grade(StrEnum):
    """How far a catalogue entry is documented."""

    FULL = "full"
    FULL_WAIVED = "full_with_waivers"
    GAP = "gap_signed"
    IN_PROGRESS = "in_progress"
    NOT_STARTED = "not_started"


def face_of(surface: str) -> str:
    """Face letter of a surface code: ``F.1`` → ``F``; edges ``E``, X-ray ``T`` (through)."""
    return surface[0]


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """As of which state a view is owed; build it with the named constructors.

    ``phase`` narrows BT and AT to one phase of a treatment. ``window`` is the key of the event
    that opened the visible interval of ``surface``, or ``None`` for the one since intake.
    """

    kind: AnchorKind
    treatment: str | None = None
    phase: int | None = None
    step: int | None = None
    surface: str | None = None
    window: str | None = None
    instant: datetime | None = None

    @classmethod
    def current(cls) -> Anchor:
        """The state in force now."""
        return cls(kind=AnchorKind.CUR)

    @classmethod
    def before(cls, treatment: str, *, phase: int | None = None) -> Anchor:
        """The state just before the first intervention of the treatment started."""
        return cls(kind=AnchorKind.BT, treatment=treatment, phase=phase)

    @classmethod
    def during(cls, treatment: str, *, step: int) -> Anchor:
        """The state after a numbered step of the treatment."""
        return cls(kind=AnchorKind.DT, treatment=treatment, step=step)

    @classmethod
    def after(cls, treatment: str, *, phase: int | None = None) -> Anchor:
        """The state after the last intervention of the treatment."""
        return cls(kind=AnchorKind.AT, treatment=treatment, phase=phase)

    @classmethod
    def in_window(cls, surface: str, *, opened_by: str | None = None) -> Anchor:
        """Any state during one visible interval of a surface.

        For a view of the edges or an X-ray, ``surface`` may be the view's own: the interval is
        then found by the event that opened it.
        """
        return cls(kind=AnchorKind.WIN, surface=surface, window=opened_by)

    @classmethod
    def at(cls, instant: datetime) -> Anchor:
        """The state in force at a fixed instant."""
        return cls(kind=AnchorKind.FIX, instant=instant)
