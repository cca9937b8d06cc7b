"""Lines that were shot and whose files have not come.

Files and pictures are known further out. The room of intake says how many files lie on lines, the
room of pictures which lines have no picture yet; until they have registered, no file is known.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping

from django.db.models import Q, QuerySet

from imaging_requests.campaigns.models import SessionState, ShotLine, ShotLineState

Narrow = Callable[[QuerySet[ShotLine]], QuerySet[ShotLine]]
Counted = Callable[[Collection[int]], Mapping[int, int]]

#: Sessions whose plan holds a view until it is shot.
PLANNED_IN = (SessionState.DRAFT, SessionState.CONFIRMED, SessionState.RUNNING)

_without_picture: list[Narrow] = []
_placed: list[Counted] = []


def tell_without_picture(narrow: Narrow) -> None:
    """Register who can narrow lines to those of which no picture was begun."""
    _without_picture[:] = [narrow]


def tell_placed(counted: Counted) -> None:
    """Register who counts the files that lie on lines, with one query."""
    _placed[:] = [counted]


def nothing_came() -> QuerySet[ShotLine]:
    """Lines that were shot and of which no picture was begun: their files are still to come."""
    lines = ShotLine.objects.filter(state=ShotLineState.DONE).exclude(
        session__state=SessionState.CANCELLED
    )
    for narrow in _without_picture:
        lines = narrow(lines)
    return lines


def holding() -> QuerySet[ShotLine]:
    """Lines that hold their views: planned in an open session, or shot and waiting for files."""
    return ShotLine.objects.filter(
        Q(state=ShotLineState.PLANNED, session__state__in=PLANNED_IN)
        | Q(pk__in=nothing_came().order_by().values("pk"))
    )


def awaited_of(lines: Iterable[ShotLine]) -> dict[int, int]:
    """How many files each line that was shot still waits for; one query, none without such."""
    shot = {line.pk: line for line in lines if line.state == ShotLineState.DONE}
    placed: dict[int, int] = {}
    for counted in _placed if shot else ():
        placed.update(counted(shot.keys()))
    return {pk: max(line.expected_files - placed.get(pk, 0), 0) for pk, line in shot.items()}


def has_files(line: ShotLine) -> bool:
    """Whether any file lies on a line."""
    return any(counted([line.pk]).get(line.pk) for counted in _placed)


def files_words(number: int) -> str:
    """``3 files awaited``.

    >>> files_words(1), files_words(3)
    ('1 file awaited', '3 files awaited')
    """
    return f"{number} file{'' if number == 1 else 's'} awaited"
