"""What an unmet view waits for, and who can move it; what a shut gate says."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from .gate import Gate, GateState, Missing
from .status import ReasonCode, ViewStatus
from .terms import Status
from .words import STATUS_WORDS, Speech, inside, name_anchor, name_view

LEAD = "imaging lead"
PHOTOGRAPHER = "photographer"
CONSERVATOR = "conservator"
HEAD = "department head"
REGISTRAR = "registrar"
KEEPER = "system keeper"


@dataclass(frozen=True, slots=True)
class Wait:
    """What is waited for, the roles that can move it, and until when if that is known."""

    what: str
    who: tuple[str, ...]
    until: datetime | None = None


_WAITS = {
    Status.ACCEPTED: ("being sealed in a package", (LEAD,)),
    Status.LOST: ("a signed gap statement", (HEAD,)),
    Status.UNDECIDED: ("a decision whether the picture is still true", (CONSERVATOR,)),
    Status.TO_REVIEW: ("a review", (LEAD,)),
    Status.SENT_BACK: ("a better picture", (PHOTOGRAPHER,)),
    Status.CAPTURED: ("being handed in for review", (PHOTOGRAPHER,)),
    Status.RECALLED: ("a corrected picture", (PHOTOGRAPHER, LEAD)),
    Status.PLANNED: ("its session", (PHOTOGRAPHER,)),
    Status.OUT_OF_DATE: ("a place in a session", (LEAD,)),
    Status.OPEN: ("a place in a session", (LEAD,)),
}


def wait_of(status: ViewStatus) -> Wait | None:
    """What a view waits for; ``None`` if nothing is owed any more."""
    if status.is_resolved:
        return None
    code = status.reason.code
    until = status.reason.until
    if code is ReasonCode.OBJECT_AWAY:
        return Wait("the object's return", (REGISTRAR,), until)
    if code in (ReasonCode.SURFACE_HIDDEN, ReasonCode.SURFACE_TO_COME):
        return Wait("a step that lets the surface be seen", (CONSERVATOR,), until)
    if code is ReasonCode.STATE_TO_COME:
        return Wait("the state it is owed for", (CONSERVATOR,), until)
    if code is ReasonCode.COPIES_MISSING:
        return Wait("verified copies of its files", (KEEPER,))
    if code is ReasonCode.FILES_AWAITED:
        return Wait("its files", (PHOTOGRAPHER,))
    what, who = _WAITS[status.status]
    return Wait(what, who, until)


def usual_waits() -> dict[Status, str]:
    """What a view of each status waits for as a rule, and who can move it.

    >>> usual_waits()[Status.OPEN]
    'a place in a session; the imaging lead can move it'
    """
    return {status: f"{what}; {_who(who)} can move it" for status, (what, who) in _WAITS.items()}


def say_wait(status: ViewStatus, speech: Speech) -> str:
    """``Waits for a review; the imaging lead can move it.``"""
    wait = wait_of(status)
    if wait is None:
        return "Waits for nothing."
    until = f" (until {speech.day(wait.until)})" if wait.until is not None else ""
    return f"Waits for {wait.what}{until}; {_who(wait.who)} can move it."


def _who(roles: tuple[str, ...]) -> str:
    return " or ".join(f"the {role}" for role in roles)


def say_missing(missing: Missing, speech: Speech) -> str:
    """Which view is missing, how it stands, and whether it can ever be made again."""
    view = missing.status.view
    steps = ", ".join(speech.event(step) for step in missing.steps)
    note = f" ({missing.note})" if missing.note else ""
    text = (
        f"{name_view(view)} {name_anchor(view.anchor, speech)}{note} is "
        f"{STATUS_WORDS[missing.status.status]}; needed because of: {steps}."
    )
    if missing.lost:
        anchors = ", ".join(name_anchor(each.view.anchor, speech) for each in missing.lost)
        text += f" It is lost {anchors}, but this one is still possible and would do."
    if missing.bared_by is not None:
        text += f" It comes to light with “{speech.event(missing.bared_by)}”, which is under way."
    text += _ruled_out(missing, speech)
    if missing.status.status is Status.WAIVED:
        return f"{text} It is waived with one signature; as a last look it needs a second one."
    if missing.is_last_look:
        text += " It can never be made again afterwards; a waiver needs conservator and lead."
    return text


def _ruled_out(missing: Missing, speech: Speech) -> str:
    """Why a ruling that one person can make does not open the gate."""
    status = missing.status.status
    if status is Status.NOT_APPLICABLE:
        return " That it does not apply is no reason to lose a last look."
    if status is not Status.REPLACED:
        return ""
    other = missing.in_place
    if other is None:
        return " Nothing that is still owed stands in its place."
    name = inside(name_view(other.view))
    if other.status in (Status.ACCEPTED, Status.FILED, Status.WAIVED, Status.NOT_APPLICABLE):
        return f" In its place stands {name}, which does not show what is lost."
    return (
        f" In its place stands {name}, which is {STATUS_WORDS[other.status]} "
        f"{name_anchor(other.view.anchor, speech)}."
    )


def _met_by(gate: Gate) -> str:
    """How the views that a gate asks for are met: accepted or waived, and by which ruling."""
    found = {status.status for status in gate.needed}
    ways = ["accepted", "waived"]
    if Status.NOT_APPLICABLE in found:
        ways.append("not applicable")
    if Status.REPLACED in found:
        ways.append("replaced by one that is")
    return f"{', '.join(ways[:-1])} or {ways[-1]}"


def say_gate(gate: Gate, speech: Speech) -> str:
    """The answer to "may this step start?" in one or two sentences."""
    row = speech.tables[gate.event.table_version].row(gate.event.row)
    if gate.state is GateState.OPEN:
        return (
            f"“{row.name}” may start: every view that its documentation asks for is "
            f"{_met_by(gate)}."
        )
    names = ", ".join(inside(name_view(missing.status.view)) for missing in gate.missing)
    count = len(gate.missing)
    lacking = f"{count} view{'s are' if count > 1 else ' is'} missing: {names}."
    if gate.state is GateState.SHUT:
        return f"“{row.name}” may not start yet; {lacking}"
    return f"“{row.name}” was started in an emergency; {lacking}"
