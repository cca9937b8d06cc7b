"""Invent the pictures of an object: captured when its duties asked for them, then decided about.

What is invented follows the duties that the rules have derived: a visit before the first
treatment, one after each, one in every time in which a surface was bare. Most pictures are filed;
some visits were missed, and the newest ones are still on their way.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from imaging_requests.demo.large.lives import Course
from imaging_requests.reckoning.records import record
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.terms import Verdict
from imaging_requests.requesting.duties import Want
from imaging_requests.requesting.models import Anchor

Key = tuple[str, str, str]

#: Shares of visits that left a view out: in a careful house and in a hasty year.
LEFT_OUT = (0.004,) * 17 + (0.06,) * 3
#: Objects whose newest pictures are still on their way; objects whose last treatment was not
#: followed by a visit yet; objects without any treatment that were never photographed.
FRESH = 0.1
BEHIND = 0.07
UNTOUCHED = 0.3
REDONE = 0.02
#: How long after its capture a picture is recorded, handed in and decided about.
TO_RECORD, TO_HAND_IN, TO_REVIEW = timedelta(hours=3), timedelta(hours=5), timedelta(hours=30)
VERDICTS = {
    "captured": None,
    "to_review": None,
    "sent_back": Verdict.SENT_BACK,
    "recalled": Verdict.RECALLED,
    "accepted": Verdict.ACCEPTED,
    "filed": Verdict.ACCEPTED,
}
#: Where the newest pictures of a fresh object stand.
FATES = ("captured", "to_review", "to_review", "sent_back", "recalled", "accepted", "accepted")


@record
@dataclass(frozen=True, slots=True)
class Visit:
    """One view captured at one instant."""

    want: Want
    at: datetime


@record
@dataclass(frozen=True, slots=True)
class Made:
    """One version of a picture with what was decided about it.

    `fate` is where it stands: captured, to_review, sent_back, recalled, accepted or filed.
    `chain_key` is the chain as the rules name it.
    """

    want: Want
    chain: uuid.UUID
    chain_key: str
    version: int
    at: datetime
    fate: str

    @property
    def recorded_at(self) -> datetime:
        """When its files had come in."""
        return self.at + TO_RECORD

    @property
    def handed_in_at(self) -> datetime | None:
        """When the photographer handed it in, or None."""
        return None if self.fate == "captured" else self.at + TO_HAND_IN

    @property
    def reviewed_at(self) -> datetime | None:
        """When somebody decided about it, or None."""
        return None if self.verdict is None else self.at + TO_REVIEW

    @property
    def verdict(self) -> Verdict | None:
        """What was decided last."""
        return VERDICTS[self.fate]


def photograph(
    wants: Sequence[Want],
    courses: Sequence[Course],
    dice: random.Random,
    *,
    first_at: datetime,
    now: datetime,
) -> list[Made]:
    """Invent the pictures that meet most of the duties, in the order in which they were made."""
    ends = [course.end for course in courses if course.end is not None]
    if not ends and dice.random() < UNTOUCHED:
        return []
    left_out = dice.choice(LEFT_OUT)
    until = min(now, max(ends)) if ends and dice.random() < BEHIND else now
    visits = [
        visit
        for visit in _visits(wants, courses, first_at, now)
        if visit.at < until and dice.random() > left_out
    ]
    newest = max((visit.at for visit in visits), default=first_at)
    is_fresh = dice.random() < FRESH
    made: list[Made] = []
    for visit in visits:
        chain = uuid.UUID(int=dice.getrandbits(128), version=4)
        key = str(chain)
        fate = "filed"
        if is_fresh and visit.at == newest:
            fate = dice.choice(FATES)
        elif dice.random() < REDONE:
            made.append(Made(visit.want, chain, key, 1, visit.at, "sent_back"))
            again = min(visit.at + timedelta(days=3), now - timedelta(hours=40))
            made.append(Made(visit.want, chain, key, 2, again, fate))
            continue
        made.append(Made(visit.want, chain, key, 1, visit.at, fate))
    return made


def _visits(
    wants: Sequence[Want], courses: Sequence[Course], first_at: datetime, now: datetime
) -> list[Visit]:
    taken: dict[Key, datetime] = {}
    visits: list[Visit] = []

    def capture(want: Want, at: datetime) -> None:
        taken[want.surface, want.technique, want.variant] = at
        visits.append(Visit(want, at))

    by_treatment: dict[int | None, list[Want]] = {}
    for want in wants:
        by_treatment.setdefault(want.as_of.treatment_id, []).append(want)
    for want in _one_of_each(wants):
        if want.surface.endswith(".1"):
            capture(want, first_at)
    for course in courses:
        for want in by_treatment.get(course.treatment.pk, ()):
            at = _asked_at(want, course, taken)
            if at is not None and at < now:
                capture(want, at)
    ends = [course.end for course in courses if course.end is not None]
    late = min(max(ends, default=first_at) + timedelta(days=45), now - timedelta(days=3))
    for want in by_treatment.get(None, ()):
        if (want.surface, want.technique, want.variant) not in taken:
            capture(want, late)
    return sorted(visits, key=lambda visit: visit.at)


def _one_of_each(wants: Iterable[Want]) -> Iterable[Want]:
    found: dict[Key, Want] = {}
    for want in wants:
        found.setdefault((want.surface, want.technique, want.variant), want)
    return found.values()


def _asked_at(want: Want, course: Course, taken: dict[Key, datetime]) -> datetime | None:
    """When the visit for a treatment's view took place, or None where none was needed."""
    kind = want.as_of.kind
    if kind == Anchor.BT:
        is_known = (want.surface, want.technique, want.variant) in taken
        return None if is_known or course.start is None else course.start - timedelta(days=5)
    if kind == Anchor.AT:
        return None if course.end is None else course.end + timedelta(days=8)
    steps = {step.pk: step for step in course.steps}
    if kind == Anchor.WIN and want.as_of.event_id is not None:
        opened = steps[want.as_of.event_id].finished_at
        return None if opened is None else opened + timedelta(days=1)
    after = next((step for step in course.steps if step.step == want.as_of.step), None)
    if after is None or after.finished_at is None:
        return None
    return after.finished_at + timedelta(days=1)


def pictures_of(made: Iterable[Made], photographer: int) -> tuple[truth.Picture, ...]:
    """Return pictures as the rules read them."""
    by = str(photographer)
    return tuple(
        truth.Picture(
            chain=each.chain_key,
            version=each.version,
            recorded_at=each.recorded_at,
            surface=each.want.surface,
            technique=each.want.technique,
            variant=each.want.variant,
            captured_at=each.at,
            px_per_mm=each.want.making.px_per_mm,
            coverage=1.0,
            complete=True,
            handed_in_at=each.handed_in_at,
            photographer=by,
        )
        for each in made
    )
