"""Decisions about requests and duties that need no database: what may follow what, and why not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from enum import StrEnum

from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.reckoning.shots.protocol import DIRECTIONS
from imaging_requests.requesting.models import FACES, LineState, Technique


class LineStep(StrEnum):
    """What can happen to a line of a request."""

    AGREE = "agree"
    DECLINE = "decline"
    WITHDRAW = "withdraw"
    FULFIL = "fulfil"


_LINE_STEPS: Mapping[tuple[LineState, LineStep], LineState] = {
    (LineState.SUBMITTED, LineStep.AGREE): LineState.AGREED,
    (LineState.SUBMITTED, LineStep.DECLINE): LineState.DECLINED,
    (LineState.SUBMITTED, LineStep.WITHDRAW): LineState.WITHDRAWN,
    (LineState.AGREED, LineStep.WITHDRAW): LineState.WITHDRAWN,
    (LineState.AGREED, LineStep.FULFIL): LineState.FULFILLED,
}

_DONE_WORDS = {
    LineState.SUBMITTED: "is waiting for the lead",
    LineState.AGREED: "was agreed already",
    LineState.DECLINED: "was declined",
    LineState.FULFILLED: "is fulfilled",
    LineState.WITHDRAWN: "was withdrawn",
}


def next_state(state: str, step: LineStep) -> LineState:
    """The state of a line after a step; a step the table does not know is refused in words."""
    now = LineState(state)
    following = _LINE_STEPS.get((now, step))
    if following is None:
        raise IllegalStep(
            f"This line {_DONE_WORDS[now]}, so it cannot be changed like this any more.",
            code=f"requesting.line_{step}",
            next_step="Load the page again to see where it stands.",
        )
    return following


def steps_from(state: str) -> frozenset[LineStep]:
    """The steps that are open from a state."""
    return frozenset(step for (now, step) in _LINE_STEPS if now == state)


def stay_sentence(*, stayed: int, total: int) -> str:
    """What a withdrawal leaves behind, in words.

    >>> stay_sentence(stayed=3, total=5)
    '3 of 5 shots stay for others.'
    >>> stay_sentence(stayed=0, total=1)
    'The shot is not owed any more.'
    """
    if total == 0:
        return "No shot was owed for it yet."
    if stayed == 0:
        return "The shot is not owed any more." if total == 1 else "None of the shots stays."
    if stayed == total:
        return "The shot stays for others." if total == 1 else f"All {total} shots stay for others."
    return f"{stayed} of {total} shots {'stays' if stayed == 1 else 'stay'} for others."


def check_view(technique: str, face: str, direction: str, *, number: str) -> None:
    """Refuse a combination that cannot be photographed."""
    if technique not in Technique.values or face not in dict(FACES):
        raise DomainError(
            f"There is no technique “{technique}” on a face “{face}”.",
            code="requesting.no_such_view",
            next_step="Choose both from the lists.",
        )
    if (technique == Technique.XR) != (face == "T"):
        raise DomainError(
            f"An X-ray goes through the whole object, and nothing else does; for {number} "
            f"{technique} was asked on face {face}.",
            code="requesting.no_such_view",
            next_step="Ask for X-rays of the whole object, for other techniques of a face.",
        )
    if technique == Technique.RK and direction not in DIRECTIONS:
        raise DomainError(
            f"Raking light needs the side it comes from, and for {number} none is chosen.",
            code="requesting.no_direction",
            next_step="Choose left, right, top or bottom, as seen by somebody facing that face.",
        )
    if technique != Technique.RK and direction:
        raise DomainError(
            "Only raking light has a direction.",
            code="requesting.no_direction",
            next_step="Leave the direction empty.",
        )


def check_detail(
    detail_mm: Sequence[float] | None,
    px_per_mm: float | None,
    *,
    face_mm: tuple[float | None, float | None],
) -> tuple[float, float, float, float] | None:
    """Return the rectangle of a detail as (x, y, width, height) in mm, or refuse it in words.

    The rectangle must lie on the face, as far as the size of the face (width, height) is known.
    A detail needs its density, and a density without a detail says nothing.
    """
    if detail_mm is None:
        if px_per_mm is not None:
            raise _refused(
                "A density of its own belongs to a detail, and no detail is drawn.",
                "Draw the region, or leave the density empty.",
            )
        return None
    if len(detail_mm) != 4:
        raise _refused(
            "A detail needs four numbers: left, top, width and height in millimetres.",
            "Fill in all four, or none.",
        )
    x, y, width, height = (float(value) for value in detail_mm)
    if width <= 0 or height <= 0 or x < 0 or y < 0:
        raise _refused(
            "The region must be wider and higher than 0 mm and start on the face.",
            "Left and top are measured from the top left corner of the face.",
        )
    face_width, face_height = face_mm
    if face_width is not None and x + width > face_width + _ROUNDING_MM:
        raise _refused(
            f"The region ends at {x + width:g} mm from the left, but the face is "
            f"{face_width:g} mm wide.",
            "Make the region narrower or move it to the left.",
        )
    if face_height is not None and y + height > face_height + _ROUNDING_MM:
        raise _refused(
            f"The region ends at {y + height:g} mm from the top, but the face is "
            f"{face_height:g} mm high.",
            "Make the region lower or move it up.",
        )
    if px_per_mm is None:
        raise _refused(
            "A detail needs the density wanted, in pixels per millimetre.",
            "Say how fine it must be; the whole face usually has 6 to 24 px/mm.",
        )
    return x, y, width, height


#: A drawn edge may pass the measured edge by a rounding of the drawing.
_ROUNDING_MM = 0.5


def _refused(message: str, next_step: str) -> DomainError:
    return DomainError(message, code="requesting.detail", next_step=next_step)


def check_wish(*, lines: int, why: str, wanted_by: date | None, today: date) -> None:
    """Refuse a request that says nothing, gives no reason, or wants the past."""
    if lines == 0:
        raise DomainError(
            "No picture is chosen, so there is nothing to ask for.",
            code="requesting.no_lines",
            next_step="Choose at least one object, one technique and one face.",
        )
    if not why.strip():
        raise DomainError(
            "The request does not say what the pictures are needed for.",
            code="requesting.no_reason",
            next_step="One sentence is enough: it decides what is made first.",
        )
    if wanted_by is not None and wanted_by < today:
        raise DomainError(
            f"The pictures are wanted by {wanted_by:%-d %b %Y}, which has passed.",
            code="requesting.past_date",
            next_step="Give a day to come, or leave the date empty.",
        )


def check_replacement(links: Mapping[int, int], view_id: int, by_id: int) -> None:
    """Refuse a replacement that would lead back to where it starts.

    `links` are the replacements in force, replaced view to replacing view.
    """
    at: int | None = by_id
    while at is not None:
        if at == view_id:
            raise DomainError(
                "A view cannot be replaced by itself, directly or in a circle.",
                code="requesting.replacement_circle",
                next_step="Choose a view that does not lead back to this one.",
            )
        at = links.get(at)


def check_waiver(
    *,
    granter_id: int,
    granter_roles: frozenset[str],
    co_signer_id: int | None,
    co_signer_roles: frozenset[str],
    is_last_look: bool,
) -> None:
    """Refuse a waiver without the signatures that it needs.

    An ordinary waiver is the lead's. A last look, a view that can never be made again, is given
    up only by a conservator and the lead together: two different people, one of each.
    """
    if not is_last_look:
        if "lead" not in granter_roles:
            raise DomainError(
                "An ordinary waiver is signed by the imaging lead.",
                code="requesting.waiver_needs_lead",
                next_step="Propose it; the lead sees it in the waiver book.",
            )
        return
    if co_signer_id is None or co_signer_id == granter_id:
        raise DomainError(
            "This view can never be made again, so two different people give it up: "
            "a conservator and the imaging lead.",
            code="requesting.waiver_needs_two",
            next_step="Propose it; it takes force when the second of the two has signed.",
        )
    pairs = ((granter_roles, co_signer_roles), (co_signer_roles, granter_roles))
    if not any("lead" in one and "conservator" in other for one, other in pairs):
        raise DomainError(
            "Of the two who give up a last look one is the imaging lead and one a conservator.",
            code="requesting.waiver_needs_both_roles",
            next_step="Ask the one who is missing to sign.",
        )
