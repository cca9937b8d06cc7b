"""Pure decisions of the intake: life cycles, names, and when a card may be formatted."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from imaging_requests.intake.models import ArrivalState, FrameState
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.names import CONTROL, ReceivedName

NAME_MOST = 255
UNKEPT = re.compile("[\x00\ud800-\udfff]")

#: What may become of an offered file; a refused one may be given up, so that it counts no more.
ARRIVAL_STEPS: Mapping[str, frozenset[str]] = {
    ArrivalState.ARRIVING: frozenset(
        {ArrivalState.RECEIVED, ArrivalState.REFUSED, ArrivalState.GIVEN_UP}
    ),
    ArrivalState.RECEIVED: frozenset(
        {ArrivalState.CHECKED, ArrivalState.ALREADY_HERE, ArrivalState.REFUSED}
    ),
    ArrivalState.CHECKED: frozenset(),
    ArrivalState.ALREADY_HERE: frozenset(),
    ArrivalState.REFUSED: frozenset({ArrivalState.GIVEN_UP}),
    ArrivalState.GIVEN_UP: frozenset(),
}

#: Where a frame may go. Every place can be taken back; nothing is ever deleted.
FRAME_STEPS: Mapping[str, frozenset[str]] = {
    FrameState.RECEIVED: frozenset({FrameState.WAITING, FrameState.PLACED}),
    FrameState.WAITING: frozenset({FrameState.PLACED, FrameState.SET_ASIDE}),
    FrameState.PLACED: frozenset({FrameState.WAITING}),
    FrameState.SET_ASIDE: frozenset({FrameState.WAITING}),
}
FRAME_REFUSALS: Mapping[str, str] = {
    FrameState.PLACED: "is placed already. Take it back first",
    FrameState.SET_ASIDE: "is set aside as a spare. Take it back first",
    FrameState.WAITING: "lies on the sorting table already",
    FrameState.RECEIVED: "has not been read yet. Wait until its picture is made",
}
UNDER_WAY = (ArrivalState.ARRIVING, ArrivalState.RECEIVED)


def demand_arrival_step(name: str, *, before: str, after: str) -> None:
    """Refuse a step that the life of an arrival does not know."""
    if after in ARRIVAL_STEPS[ArrivalState(before)]:
        return
    raise IllegalStep(
        f"{name} has had its answer already: {ArrivalState(before).label.lower()}.",
        code="intake.arrival_step",
        data={"before": before, "after": after},
    )


def demand_frame_step(name: str, *, before: str, after: str) -> None:
    """Refuse a step that the life of a frame does not know."""
    if after in FRAME_STEPS[FrameState(before)]:
        return
    raise IllegalStep(
        f"{name} {FRAME_REFUSALS[FrameState(before)]}.",
        code="intake.frame_step",
        data={"before": before, "after": after},
    )


def demand_taken(name: str, *, state: str) -> None:
    """Refuse to take back a frame that nobody has put anywhere."""
    if state in (FrameState.PLACED, FrameState.SET_ASIDE):
        return
    raise IllegalStep(
        f"{name} {FRAME_REFUSALS[FrameState(state)]}.",
        code="intake.frame_step",
        data={"before": state},
    )


def written_out(name: str) -> str:
    """Return a name that every database keeps: U+0000 and bytes that are no text in brackets.

    A byte of a name that is not UTF-8 reaches Python as U+DC80 to U+DCFF (PEP 383).
    """
    return UNKEPT.sub(_in_brackets, name)


def _in_brackets(found: re.Match[str]) -> str:
    number = ord(found.group())
    return f"[0x{number - 0xDC00:02X}]" if 0xDC80 <= number <= 0xDCFF else f"[U+{number:04X}]"


def clean_name(offered: str) -> ReceivedName:
    """Return a file's name as it was received; it is data and leads nowhere.

    Before a slash stand folders: no system has one in a name. A backslash or a line break may be
    part of one and is kept. A `ReceivedName` writes out line breaks and what turns the order when
    it is shown. What no database keeps, U+0000 and bytes that are no text, is written out in the
    name.

    >>> clean_name(b"caf\\xe9.tif".decode("utf-8", "surrogateescape"))
    'caf[0xE9].tif'
    """
    own = offered.rpartition("/")[2]
    if not CONTROL.sub("", own).strip(" ."):
        raise DomainError(
            "This file has no name.", code="intake.no_name", next_step="Give it one and try again."
        )
    name = written_out(own)
    if len(name) > NAME_MOST:
        stem, dot, ending = name.rpartition(".")
        name = f"{stem[: NAME_MOST - len(ending) - 1]}{dot}{ending}" if stem else name[:NAME_MOST]
    return ReceivedName(name)


@dataclass(frozen=True, slots=True)
class DropCount:
    """How the files of one drop stand.

    `under_way`: not yet answered. `unproven`: answered, but not good in two places.
    `unread`: proven, but not yet opened to the last pixel. `broken`: opened and found not whole.
    `spare_broken`: not whole either, but copied again from the card since and set aside.
    """

    offered: int
    under_way: int
    refused: int
    unproven: int
    unread: int
    broken: int
    spare_broken: int = 0


@dataclass(frozen=True, slots=True)
class CardAnswer:
    """Whether the card may be formatted, in a sentence."""

    is_safe: bool
    sentence: str


def may_format(count: DropCount) -> CardAnswer:
    """Say whether the card may be formatted; only after two proven copies of everything.

    >>> may_format(DropCount(2, 0, 0, 0, 0, 0)).sentence[:36]
    'You may format the card: all 2 files'
    """
    if not count.offered:
        return CardAnswer(False, "Nothing has arrived yet. Keep the card as it is.")
    obstacles = [
        (count.under_way, "still on the way or not yet proven"),
        (count.refused, "refused; see the reason beside each, and copy it again from the card"),
        (count.unproven, "not proven in two places"),
        (count.broken, "found not to be whole; copy it again from the card"),
        (count.unread, "proven in two places, but not yet opened to the last pixel"),
    ]
    found = [f"{_files(number)} {what}" for number, what in obstacles if number]
    if found:
        return CardAnswer(False, f"Do not format the card yet: {'; '.join(found)}.")
    return CardAnswer(True, f"You may format the card: {_proven_words(count)}")


def _proven_words(count: DropCount) -> str:
    is_one = count.offered == 1
    files = "the one file" if is_one else f"all {_files(count.offered)}"
    who = f"{files} of this drop {'is' if is_one else 'are'}"
    if not count.spare_broken:
        opens = "opens" if is_one else "open"
        return (
            f"{who} proven in two places and {opens} completely. Files on the card that are not in "
            "this list are not."
        )
    one_broken = count.spare_broken == 1
    return (
        f"{who} proven in two places. {_files(count.spare_broken)} "
        f"{'does' if one_broken else 'do'} not open completely, {'was' if one_broken else 'were'} "
        f"copied again from the card, and {'is' if one_broken else 'are'} set aside as "
        f"{'a spare' if one_broken else 'spares'}. Files on the card that are not in this list are "
        "not kept."
    )


def _files(number: int) -> str:
    return "1 file" if number == 1 else f"{number:,} files"
