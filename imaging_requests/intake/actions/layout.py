"""Ask for the frames of a drop to be laid out on its shot lines."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import Q

from imaging_requests.intake import jobs
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Arrival, ArrivalState, Drop, FrameState, Job
from imaging_requests.intake.rules import UNDER_WAY

SORT = "sort"
PERCENT = 100
ANSWERED = (ArrivalState.CHECKED, ArrivalState.ALREADY_HERE)


def is_restless(drop_id: int) -> bool:
    """Tell whether files of a drop are still on their way or not yet read."""
    unread = Q(state__in=ANSWERED, frame__state=FrameState.RECEIVED, frame__read_at=None)
    return Arrival.objects.filter(Q(state__in=UNDER_WAY) | unread, drop=drop_id).exists()


def ask_for_layout(drop_ids: Iterable[int]) -> None:
    """Ask inside the caller's transaction: at once when all is read, else in a moment."""
    for drop_id in sorted(set(drop_ids)):
        pause_s = _pause_s(drop_id) if is_restless(drop_id) else 0
        jobs.enqueue(SORT, drop_id, again=True, pause_s=pause_s)


def _pause_s(drop_id: int) -> float:
    """Return how long to gather news of a restless drop: longer for a large one.

    The last layout says how long the next one will take; receiving must not starve for it.
    """
    numbers = background()
    files = Arrival.objects.filter(drop=drop_id).count()
    by_size_s = numbers.sorting_pause_s * (1 + files // numbers.sorting_files_per_pause)
    last = Job.objects.filter(key=f"{SORT}:{drop_id}").values_list("result", flat=True).first()
    took_s = float((last or {}).get("took_s", 0))
    return max(by_size_s, took_s * PERCENT / numbers.sorting_share_percent)


def ask_for_neighbours(session_ids: Iterable[int], *, except_drop: int = 0) -> None:
    """Ask for drops of sessions whose waiting frames may see fewer free places now."""
    waiting = Q(arrivals__state__in=ANSWERED, arrivals__frame__state=FrameState.WAITING)
    drops = Drop.objects.filter(waiting, session__in=list(session_ids)).exclude(pk=except_drop)
    ask_for_layout(drops.values_list("pk", flat=True))


def ask_for_layout_of(frame_id: int) -> None:
    """Ask for every drop in which a frame came and still looks for its place."""
    drops = Drop.objects.filter(
        arrivals__frame=frame_id,
        arrivals__state__in=ANSWERED,
        arrivals__frame__state__in=(FrameState.RECEIVED, FrameState.WAITING),
    )
    ask_for_layout(drops.values_list("pk", flat=True))
