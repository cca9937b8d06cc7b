"""The short text in the code of a slate: what it says, and the digits that prove it.

    SLATE1:S12:L345:BFO-100413:T20260417120501:31

Version, session, shot line, camera body, time in UTC to the second, two check digits. ``B`` and
``T`` may be empty: a slate printed on paper cannot know when it will be photographed. Only the 45
characters of the alphanumeric mode of ISO/IEC 18004 occur, which keeps the code coarse and so
readable from far away.

The check digits are those of ISO/IEC 7064, MOD 97-10: every character before them is written as
its place in the alphabet with two digits (``0`` is 00, ``A`` is 10, ``:`` is 44), and the whole
number with the check digits behind it leaves the remainder 1 when divided by 97. All single errors
and all exchanges of neighbours change the remainder.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime

VERSION = "SLATE1"
ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
BODY_MOST = 24
TIME = "%Y%m%d%H%M%S"
_TEXT = re.compile(
    VERSION + r":S(?P<session>\d{1,9}):L(?P<line>\d{1,9}):B(?P<body>[^:]{0,24})"
    r":T(?P<time>(?:\d{14})?):(?P<check>\d\d)"
)


@dataclass(frozen=True, slots=True)
class Slate:
    """What a slate says. ``shown_at`` is aware, to the second; None on paper."""

    session_id: int
    line_id: int
    body_serial: str = ""
    shown_at: datetime | None = None


def mod_97(digits: str) -> int:
    """Return the remainder of a decimal number of any length when divided by 97.

    The example is the published one of ISO 13616 (GB82 WEST 1234 5698 7654 32, rearranged).

    >>> mod_97("3214282912345698765432161182")
    1
    """
    remainder = 0
    for digit in digits:
        remainder = (remainder * 10 + int(digit)) % 97
    return remainder


def check_digits(text: str) -> str:
    """Return the two digits that follow a text of the alphabet.

    >>> check_digits("SLATE1:S12:L345:B:T:")
    '96'

    Raises:
        ValueError: A character is not in the alphabet.
    """
    number = "".join(f"{ALPHABET.index(character):02}" for character in text)
    return f"{98 - mod_97(number + '00'):02}"


def plain_serial(serial: str) -> str:
    """Return a serial number as a slate can carry it: capitals, without colons, cut at 24.

    >>> plain_serial("fo-100413")
    'FO-100413'
    """
    kept = (each for each in serial.upper() if each in ALPHABET and each != ":")
    return "".join(kept).strip()[:BODY_MOST]


def slate_text(slate: Slate) -> str:
    """Write a slate as the text of its code.

    >>> from datetime import UTC, datetime
    >>> slate_text(Slate(12, 345, "FO-1", datetime(2026, 4, 17, 12, 5, 1, tzinfo=UTC)))
    'SLATE1:S12:L345:BFO-1:T20260417120501:38'

    Raises:
        ValueError: The time has no zone, or a number is negative or too long.
    """
    at = slate.shown_at
    if at is not None and at.tzinfo is None:
        raise ValueError("The time on a slate needs a zone.")
    if not (0 <= slate.session_id < 10**9 and 0 <= slate.line_id < 10**9):
        raise ValueError("The numbers on a slate have one to nine digits.")
    time = at.astimezone(UTC).strftime(TIME) if at is not None else ""
    body = plain_serial(slate.body_serial)
    said = f"{VERSION}:S{slate.session_id}:L{slate.line_id}:B{body}:T{time}:"
    return said + check_digits(said)


def read_slate_text(text: str) -> Slate | None:
    """Read the text of a code; None if it is no slate of ours or its check digits do not fit.

    >>> read_slate_text("SLATE1:S12:L345:B:T:96")
    Slate(session_id=12, line_id=345, body_serial='', shown_at=None)
    >>> read_slate_text("SLATE1:S13:L345:B:T:96") is None
    True
    """
    found = _TEXT.fullmatch(text)
    if found is None or any(character not in ALPHABET for character in text):
        return None
    if not text.isascii() or check_digits(text[:-2]) != found["check"]:
        return None
    try:
        at = datetime.strptime(found["time"], TIME).replace(tzinfo=UTC) if found["time"] else None
    except ValueError:
        return None
    return Slate(int(found["session"]), int(found["line"]), found["body"], at)
