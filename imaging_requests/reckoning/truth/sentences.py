"""One plain sentence for every reason why a view has its status, one more on a preferred state.

Dates are given in the studio's zone; keys of treatments, sessions and views are replaced by the
words that :class:`.words.Speech` knows for them.
"""

from __future__ import annotations

from collections.abc import Callable

from .preferring import Better, Stand
from .status import DECIDED, Reason, ReasonCode, ViewStatus
from .terms import CLEANED, Status
from .words import PREFERRED_WORDS, Speech, capital, inside, list_events, name_anchor, name_view

_Sentence = Callable[[str, ViewStatus, Speech], str]


def explain(status: ViewStatus, speech: Speech) -> str:
    """One sentence that says why the view has its status, and one on its preferred state."""
    view = name_view(status.view)
    said = _SENTENCES[status.reason.code](view, status, speech)
    return said if status.better is None else f"{said} {_better(status, status.better, speech)}"


_PREFERRED = PREFERRED_WORDS[CLEANED]
_HOW_FAR = {
    Status.ACCEPTED: "is accepted and not yet in a sealed package",
    Status.UNDECIDED: "may show it; a conservator has not decided yet",
    Status.TO_REVIEW: "waits for a reviewer",
    Status.SENT_BACK: "was sent back by the reviewer",
    Status.CAPTURED: "has not been handed in for review yet",
    Status.RECALLED: "was accepted and later recalled",
}


def _better(status: ViewStatus, better: Better, speech: Speech) -> str:
    """Which state is preferred, and whether its picture was made, can be made, or is lost."""
    where = "" if better.anchor is None else f", {name_anchor(better.anchor, speech)}"
    state = f"{_PREFERRED}{where}"
    if better.stand is Stand.MET:
        return f"It shows the preferred state: {state}."
    is_met = status.status in (Status.FILED, Status.ACCEPTED)
    known = "It counts as second best; preferred" if is_met else "Preferred"
    if better.stand is Stand.NONE:
        return f"{known} is {state}, which no treatment has or plans."
    return f"{known} is {state}: {_how_it_stands(better, speech)}."


def _how_it_stands(better: Better, speech: Speech) -> str:
    if better.stand is Stand.TO_COME:
        due = f", planned for {speech.day(better.until)}" if better.until is not None else ""
        return f"still to come{due}"
    if better.stand is Stand.SHOT:
        assert better.picture is not None
        assert better.status is not None
        return (
            f"a picture, captured on {speech.day(better.picture.captured_at)}, "
            f"{_HOW_FAR[better.status]}"
        )
    none = "no picture of it was accepted"
    if better.stand is Stand.POSSIBLE:
        if better.status is Status.BLOCKED:
            return f"{none}; it lasts, but cannot be got at now"
        return f"{none}; one can be made {say_until(better, speech)}"
    since = list_events(better.events, speech)
    if better.stand is Stand.LOST:
        return f"{none}, and it is lost since {since}"
    return f"{none}, and since {since} a new one shows it only if a conservator decides so"


def say_until(better: Better, speech: Speech) -> str:
    """Until when a preferred state lasts: ``until “retouching”, planned for 5 May 2026``."""
    if not better.events:
        return "as long as no step changes it; none is planned"
    when = f", planned for {speech.day(better.until)}" if better.until is not None else ""
    return f"until “{speech.event(better.events[0])}”{when}"


def _unstopped(words: str) -> str:
    """What a person wrote, without the full stop that our own sentence brings."""
    return words.strip().removesuffix(".")


def _changed(view: str, status: ViewStatus, speech: Speech) -> str:
    judged = ", as a conservator decided" if status.reason.word == DECIDED else ""
    causes = capital(list_events(status.reason.events, speech))
    return f"{causes} changed {inside(view)}{judged}."


def _case_open(view: str, status: ViewStatus, speech: Speech) -> str:
    causes = list_events(status.reason.events, speech)
    return f"{capital(causes)} may have changed {inside(view)}; a conservator has not decided yet."


def _captured_on(status: ViewStatus, speech: Speech) -> str:
    picture = status.reason.picture
    return f", captured on {speech.day(picture.captured_at)}," if picture is not None else ""


def _filed(view: str, status: ViewStatus, speech: Speech) -> str:
    if status.better is not None:
        return f"{view}{_captured_on(status, speech)} is filed."
    return f"{view}{_captured_on(status, speech)} is filed and speaks for this state."


def _accepted(view: str, status: ViewStatus, speech: Speech) -> str:
    return f"{view}{_captured_on(status, speech)} is accepted; it is not yet in a sealed package."


def _copies_missing(view: str, status: ViewStatus, speech: Speech) -> str:
    return (
        f"{view}{_captured_on(status, speech)} is accepted and in a sealed package; enough "
        "verified copies of its files are missing."
    )


def _gone(view: str, status: ViewStatus, speech: Speech) -> str:
    anchor = name_anchor(status.view.anchor, speech)
    return (
        f"{view} {anchor} was never recorded, and the surface is gone since "
        f"{list_events(status.reason.events, speech)}."
    )


def _closed(view: str, status: ViewStatus, speech: Speech) -> str:
    anchor = name_anchor(status.view.anchor, speech)
    if not status.reason.events:
        return f"{view} {anchor} was never recorded, and another surface covers it."
    return (
        f"{view} {anchor} was never recorded, and the surface cannot be seen since "
        f"{list_events(status.reason.events, speech)}."
    )


def _changed_for_good(view: str, status: ViewStatus, speech: Speech) -> str:
    anchor = name_anchor(status.view.anchor, speech)
    return (
        f"{view} {anchor} was never recorded, and {list_events(status.reason.events, speech)} "
        "changed it for good."
    )


def _begun(view: str, status: ViewStatus, speech: Speech) -> str:
    anchor = name_anchor(status.view.anchor, speech)
    assert status.reason.until is not None
    return (
        f"{view} {anchor} was never recorded, and the treatment began on "
        f"{speech.day(status.reason.until)}; what is captured since does not show the state before."
    )


def _planned(view: str, status: ViewStatus, speech: Speech) -> str:
    on = f" on {speech.day(status.reason.until)}" if status.reason.until is not None else ""
    return f"{view} is planned in session {speech.name(status.reason.word)}{on}."


def _files_awaited(view: str, status: ViewStatus, speech: Speech) -> str:
    reason = status.reason
    on = f" on {speech.day(reason.until)}" if reason.until is not None else ""
    files = "1 file is" if reason.files == 1 else f"{reason.files} files are"
    return f"{view} was shot{on}; {files} awaited."


def _away(view: str, status: ViewStatus, speech: Speech) -> str:
    return (
        f"{view} cannot be made: the object is {status.reason.word or 'away'}"
        f"{_until(status.reason, speech)}."
    )


def _hidden(view: str, status: ViewStatus, speech: Speech) -> str:
    reason = status.reason
    since = f" since {list_events(reason.events, speech)}" if reason.events else ""
    return f"{view} cannot be made: surface {reason.word} is hidden{since}{_until(reason, speech)}."


def _surface_to_come(view: str, status: ViewStatus, speech: Speech) -> str:
    reason = status.reason
    return f"{view} cannot be made: surface {reason.word} is not there{_until(reason, speech)}."


def _until(reason: Reason, speech: Speech) -> str:
    if reason.until is None:
        return ", with no end known"
    return f" until {speech.day(reason.until)}"


def _state_to_come(view: str, status: ViewStatus, speech: Speech) -> str:
    anchor = name_anchor(status.view.anchor, speech)
    until = status.reason.until
    due = f", planned for {speech.day(until)}" if until is not None else ""
    return f"{view} is owed {anchor}; that state is still to come{due}."


def _spec_raised(view: str, status: ViewStatus, speech: Speech) -> str:
    picture = status.reason.picture
    assert picture is not None
    return (
        f"{view}{_captured_on(status, speech)} has {picture.px_per_mm:g} px/mm and covers "
        f"{picture.coverage * 100:.1f} %; {status.view.px_per_mm:g} px/mm and "
        f"{status.view.min_coverage * 100:g} % are asked for now."
    )


def _replaced(view: str, status: ViewStatus, speech: Speech) -> str:
    other = status.reason.other
    if other is None:
        return f"{view} was replaced by a view that nobody owes any more."
    return f"{view} was replaced by {inside(name_view(other))} {name_anchor(other.anchor, speech)}."


def _never_made(view: str, status: ViewStatus, speech: Speech) -> str:
    return f"{view} {name_anchor(status.view.anchor, speech)} has not been made yet."


def _in_hand(words: str) -> _Sentence:
    def say(view: str, status: ViewStatus, speech: Speech) -> str:
        return f"{view}{_captured_on(status, speech)} {words}."

    return say


_SENTENCES: dict[ReasonCode, _Sentence] = {
    ReasonCode.REPLACED: _replaced,
    ReasonCode.NOT_APPLICABLE: lambda view, s, speech: (
        f"{view} does not apply: {_unstopped(s.reason.word) or 'a rule says so'}."
    ),
    ReasonCode.WAIVED: lambda view, s, speech: (
        f"{view} was waived: {_unstopped(s.reason.word) or 'no reason was written down'}"
        + (f"; the waiver lapses on {speech.day(s.reason.until)}." if s.reason.until else ".")
    ),
    ReasonCode.FILED: _filed,
    ReasonCode.ACCEPTED: _accepted,
    ReasonCode.COPIES_MISSING: _copies_missing,
    ReasonCode.SURFACE_GONE: _gone,
    ReasonCode.SURFACE_CLOSED: _closed,
    ReasonCode.CHANGED_FOR_GOOD: _changed_for_good,
    ReasonCode.TREATMENT_BEGUN: _begun,
    ReasonCode.CASE_OPEN: _case_open,
    ReasonCode.TO_REVIEW: _in_hand("waits for a reviewer"),
    ReasonCode.SENT_BACK: _in_hand("was sent back by the reviewer"),
    ReasonCode.CAPTURED: _in_hand("has not been handed in for review yet"),
    ReasonCode.RECALLED: _in_hand("was accepted and later recalled"),
    ReasonCode.PLANNED: _planned,
    ReasonCode.FILES_AWAITED: _files_awaited,
    ReasonCode.OBJECT_AWAY: _away,
    ReasonCode.SURFACE_HIDDEN: _hidden,
    ReasonCode.SURFACE_TO_COME: _surface_to_come,
    ReasonCode.CHANGED: _changed,
    ReasonCode.STATE_TO_COME: _state_to_come,
    ReasonCode.SPEC_RAISED: _spec_raised,
    ReasonCode.NEVER_MADE: _never_made,
}
