"""The pictures a decision is about: the one in question, and the same view after the event.

What a person may not see is kept back with its reason. A fixed number of queries for any number of
questions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.pictures.access import decisions
from imaging_requests.pictures.rules import Decision, Seen
from imaging_requests.progress.look.shown_pictures import LOOKED_AT, PLANES
from imaging_requests.progress.pictures import small_pictures
from imaging_requests.progress.policies import LOOK
from imaging_requests.treatments.models import DecisionCase


@dataclass(frozen=True, kw_only=True)
class CasePicture:
    """One of the two pictures of a question, as the page shows it."""

    label: str
    alt: str
    src: str
    width: int
    height: int
    is_tone_stretched: bool
    taken_on: str
    none_because: str
    href: str


@dataclass(frozen=True, kw_only=True)
class CasePictures:
    """Both pictures of a question, and where to look at them together."""

    before: CasePicture
    after: CasePicture | None
    look_href: str
    compare_href: str
    compare_words: str
    nothing_after: str

    @property
    def shown(self) -> list[CasePicture]:
        """The pictures there are, the one in question first."""
        return [each for each in (self.before, self.after) if each is not None]


def pictures_of_cases(cases: Sequence[DecisionCase], *, user: User) -> dict[int, CasePictures]:
    """Return the pictures of each question, by its primary key."""
    rows = list(_rows(cases))
    chosen = {case.pk: _chosen(case, rows) for case in cases}
    wanted = {row.pk: row for pair in chosen.values() for row in pair if row is not None}
    sights = decisions(user, wanted.values(), now=timezone.now())
    small = small_pictures(wanted.values())
    may_look = may(user, LOOK)

    def shown(row: Deliverable, label: str) -> CasePicture:
        is_hidden = sights[row.pk].seen is Seen.NOTHING
        thumb = small[row.pk]
        return CasePicture(
            label=label,
            alt=f"{row}, {label.lower()}",
            src="" if is_hidden else thumb.src,
            width=thumb.width,
            height=thumb.height,
            is_tone_stretched=thumb.is_tone_stretched,
            taken_on=_taken(row),
            none_because=_why_none(sights[row.pk], is_hidden=is_hidden),
            href="" if is_hidden else thumb.href,
        )

    found = {}
    for case in cases:
        before, after = chosen[case.pk]
        is_open = [
            row is not None and may_look and sights[row.pk].seen is not Seen.NOTHING
            for row in (before, after)
        ]
        found[case.pk] = CasePictures(
            before=shown(before, "In question") if before else _GONE,
            after=shown(after, "Afterwards") if after else None,
            look_href=_look(before) if before and is_open[0] else "",
            compare_href=_look(before, after) if before and after and all(is_open) else "",
            compare_words=f"Compare with the picture of {_day(after.captured_at)}" if after else "",
            nothing_after="" if after else "No picture of this view was made afterwards.",
        )
    return found


_GONE = CasePicture(
    label="In question",
    alt="",
    src="",
    width=0,
    height=0,
    is_tone_stretched=False,
    taken_on="",
    none_because="It is not accepted any more: it was recalled or sent back.",
    href="",
)


def _rows(cases: Sequence[DecisionCase]) -> Sequence[Deliverable]:
    """Return the pictures in question, and all of the same objects that may stand beside them."""
    return list(
        Deliverable.objects.filter(
            Q(chain__in={case.chain for case in cases}, state=DeliverableState.ACCEPTED)
            | Q(
                object__in={case.object_id for case in cases},
                technique__in={case.technique for case in cases},
                state__in=LOOKED_AT,
            )
        )
        .select_related("cover")
        .order_by("captured_at", "version", "pk")
    )


def _chosen(
    case: DecisionCase, rows: Sequence[Deliverable]
) -> tuple[Deliverable | None, Deliverable | None]:
    before = None
    for row in rows:
        if row.chain == case.chain and row.state == DeliverableState.ACCEPTED:
            before = row
    ended_at = _ended(case)
    if before is None or ended_at is None:
        return before, None
    by_state: dict[str, Deliverable] = {}
    for row in rows:
        if _view(row) == _view(before) and row.captured_at > ended_at:
            by_state[row.state] = row
    accepted = by_state.get(DeliverableState.ACCEPTED)
    return before, accepted or by_state.get(DeliverableState.TO_REVIEW)


def _view(row: Deliverable) -> tuple[object, ...]:
    return row.object_id, row.technique, row.face, row.surface, row.variant, row.detail_mm


def _ended(case: DecisionCase) -> datetime | None:
    if case.incident is not None:
        return case.incident.occurred_at
    return case.intervention.finished_at if case.intervention is not None else None


def _day(instant: datetime) -> str:
    return f"{studio_time(instant):%-d %b %Y}"


def _taken(row: Deliverable) -> str:
    waits = "" if row.state == DeliverableState.ACCEPTED else ", waits for its review"
    return f"{_day(row.captured_at)}{waits}"


def _why_none(sight: Decision, *, is_hidden: bool) -> str:
    return sight.because if is_hidden else "Its small picture is not made yet."


def _look(*rows: Deliverable) -> str:
    """Return where pictures are looked at, one over the other at the same spot."""
    pairs = [("face", PLANES[rows[0].face])]
    pairs += [("mode", "side")] if len(rows) > 1 else []
    pairs += [("p", str(row.pk)) for row in rows]
    return f"{reverse('progress:look', args=[rows[0].object_id])}?{urlencode(pairs)}"
