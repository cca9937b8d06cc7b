"""Ask how much of a picture somebody sees now; many pictures in a fixed number of queries.

Every answer with pixels in it asks here at the moment it is given: thumbnails, sheets, regions,
manifests, lists for people from outside, comparisons. `decisions` is for lists, `decision` for one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Max, Min, Q, QuerySet
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    Package,
    Review,
)
from imaging_requests.deliverables.shown import day
from imaging_requests.intake.models import Frame
from imaging_requests.people.models import User
from imaging_requests.people.policies import OUTSIDE
from imaging_requests.pictures.models import Grant, Restriction
from imaging_requests.pictures.numbers import access_numbers
from imaging_requests.pictures.rules import (
    SEEN_BY_NAME,
    Decision,
    Given,
    Limit,
    Seen,
    Shown,
    decide,
    next_change,
)

STUDIO_ALONE = "The studio alone sees it in full."
Families = Mapping[int, tuple[int, ...]]


def families(object_ids: Iterable[int]) -> Families:
    """Return each object with all it is part of, and with records merged into any of these.

    One query for each step up; almost all objects are no part of anything.
    """
    wanted = set(object_ids)
    whole_of: dict[int, int | None] = {}
    doubles: dict[int, list[int]] = defaultdict(list)
    pending = set(wanted)
    while pending:
        rows = CollectionObject.objects.filter(Q(pk__in=pending) | Q(merged_into__in=pending))
        found = list(rows.values_list("pk", "part_of", "merged_into"))
        for pk, part_of, merged_into in found:
            if merged_into in pending:
                doubles[merged_into].append(pk)
            whole_of[pk] = part_of
        pending = {part_of for _, part_of, _ in found if part_of} - whole_of.keys()
    return {pk: tuple(_upward(pk, whole_of, doubles)) for pk in wanted}


def _upward(
    pk: int, whole_of: Mapping[int, int | None], doubles: Mapping[int, list[int]]
) -> list[int]:
    seen: list[int] = []
    pending = [pk]
    while pending:
        here = pending.pop(0)
        if here in seen:
            continue
        seen.append(here)
        pending += doubles.get(here, [])
        whole = whole_of.get(here)
        if whole is not None:
            pending.append(whole)
    return seen


def restrictions_in_force(object_ids: Iterable[int], now: datetime) -> QuerySet[Restriction]:
    """Return what is in force on objects themselves; ask with a family for what they inherit."""
    return (
        Restriction.objects.filter(object__in=list(object_ids), lifted_at=None, since__lte=now)
        .filter(Q(until=None) | Q(until__gt=now))
        .select_related("set_by")
    )


def _limits(object_ids: Iterable[int]) -> list[Limit]:
    rows = Restriction.objects.filter(object__in=list(object_ids), lifted_at=None)
    return [
        Limit(
            kind=row.kind,
            words=f"{row.get_kind_display()}: {row.reason}",
            object_id=row.object_id,
            surface=row.surface,
            chain=row.chain,
            techniques=frozenset(row.techniques),
            since=row.since,
            until=row.until,
            lifted_at=row.lifted_at,
        )
        for row in rows
    ]


def _grants(user: User) -> list[Given]:
    if not user.has_role(*OUTSIDE):
        return []
    return [
        Given(
            object_id=row.object_id,
            seen=SEEN_BY_NAME[row.sight],
            since=row.since,
            until=row.until,
            ended_at=row.ended_at,
        )
        for row in Grant.objects.filter(person=user, ended_at=None)
    ]


@dataclass(slots=True)
class _Facts:
    """What is known of one subject before its family is."""

    object_ids: set[int]
    surfaces: set[str]
    techniques: set[str]
    chains: set[UUID]
    is_accepted: bool
    is_frame: bool = False
    recalled: frozenset[int] = frozenset()

    @classmethod
    def of(cls, row: Any, *, is_frame: bool = False) -> _Facts:
        return cls(
            {row.object_id},
            {row.face, row.surface},
            {row.technique},
            {row.chain},
            row.state == DeliverableState.ACCEPTED,
            is_frame,
            frozenset({row.pk} if row.state == DeliverableState.RECALLED else ()),
        )

    def add(self, other: _Facts) -> None:
        """Take in another picture that the same frame serves; the strictest counts for both.

        A frame counts as recalled when all its pictures are: desk work may mend the first with it.
        """
        is_all = self.recalled and other.recalled
        self.recalled = self.recalled | other.recalled if is_all else frozenset()
        self.object_ids |= other.object_ids
        self.surfaces |= other.surfaces
        self.techniques |= other.techniques
        self.chains |= other.chains
        self.is_accepted = self.is_accepted and other.is_accepted

    def shown(self, families: Families, recalls: Mapping[int, str]) -> Shown:
        objects = [pk for each in sorted(self.object_ids) for pk in families.get(each, ())]
        return Shown(
            objects=tuple(dict.fromkeys(objects)),
            surfaces=frozenset(self.surfaces),
            techniques=frozenset(self.techniques),
            chains=frozenset(self.chains),
            is_accepted=self.is_accepted,
            is_frame=self.is_frame,
            recalled_because=next((recalls[pk] for pk in sorted(self.recalled)), ""),
        )


def _recalls(facts: Iterable[_Facts]) -> dict[int, str]:
    """Say of each recalled picture when and why it was recalled; no query without any."""
    wanted = {pk for each in facts for pk in each.recalled}
    if not wanted:
        return {}
    said = dict.fromkeys(wanted, f"This picture was recalled. {STUDIO_ALONE}")
    rows = Review.objects.filter(deliverable__in=wanted, verdict=Review.Verdict.RECALLED)
    for pk, note, at in rows.order_by("pk").values_list("deliverable", "note", "recorded_at"):
        why = note.strip().rstrip(".")
        said[pk] = f"This picture was recalled on {day(at)}: {why}. {STUDIO_ALONE}"
    return said


def _frame_facts(frame_ids: Sequence[int]) -> dict[int, _Facts]:
    """Return what frames are of: their pictures, or where they lie if they belong to none."""
    found: dict[int, _Facts] = {}
    seats = DeliverableFrame.objects.filter(frame__in=frame_ids).select_related("deliverable")
    for seat in seats:
        facts = _Facts.of(seat.deliverable, is_frame=True)
        if seat.frame_id in found:
            found[seat.frame_id].add(facts)
        else:
            found[seat.frame_id] = facts
    alone = [pk for pk in frame_ids if pk not in found]
    if alone:
        rows = Frame.objects.filter(pk__in=alone).values_list(
            "pk", "shot_line__object", "shot_line__face", "shot_line__technique"
        )
        for pk, object_id, face, technique in rows:
            found[pk] = _Facts(
                {object_id} - {None}, {face} - {None}, {technique} - {None}, set(), False, True
            )
    return found


def _decide_all(
    user: User, facts: Mapping[int, _Facts], now: datetime
) -> tuple[dict[int, Decision], datetime | None]:
    """Decide about all subjects, and say when the clock alone may change that."""
    related = families(pk for each in facts.values() for pk in each.object_ids)
    limits = _limits({pk for family in related.values() for pk in family})
    recalls = _recalls(facts.values())
    grants = _grants(user)
    table = access_numbers().table
    found = {
        pk: decide(
            user.roles,
            each.shown(related, recalls),
            limits=limits,
            grants=grants,
            now=now,
            table=table,
        )
        for pk, each in facts.items()
    }
    return found, next_change(limits, grants, now)


def decisions(
    user: User, rows: Iterable[Deliverable], *, now: datetime | None = None
) -> dict[int, Decision]:
    """Return how much the person sees of each picture, by its primary key; few queries."""
    facts = {row.pk: _Facts.of(row) for row in rows}
    return _decide_all(user, facts, now or timezone.now())[0] if facts else {}


def frame_decisions(
    user: User, frame_ids: Iterable[int], *, now: datetime | None = None
) -> dict[int, Decision]:
    """Return how much the person sees of each frame, by its primary key."""
    facts = _frame_facts(list(frame_ids))
    return _decide_all(user, facts, now or timezone.now())[0] if facts else {}


def decision(user: User, subject: Deliverable | Frame, *, now: datetime | None = None) -> Decision:
    """Return how much the person sees of one picture or frame now."""
    return decision_until(user, subject, now=now)[0]


def decision_until(
    user: User, subject: Deliverable | Frame, *, now: datetime | None = None
) -> tuple[Decision, datetime | None]:
    """Return the same, and the instant at which the clock alone may change it."""
    facts = (
        {subject.pk: _Facts.of(subject)}
        if isinstance(subject, Deliverable)
        else _frame_facts([subject.pk])
    )
    found, until = _decide_all(user, facts, now or timezone.now())
    return found[subject.pk], until


def kept_back(package: Package, user: User | None, now: datetime) -> list[str]:
    """Return why a recipient may not have pictures of a package, a sentence for each; for handing.

    Who has no account here has no role either, and gets nothing that a restriction covers.
    """
    rows = [item.deliverable for item in package.items.select_related("deliverable__object")]
    if user is not None:
        found = decisions(user, rows, now=now)
        return [f"{row}: {found[row.pk].because}" for row in rows if found[row.pk].seen < Seen.FULL]
    facts = {row.pk: _Facts.of(row) for row in rows}
    related = families(pk for each in facts.values() for pk in each.object_ids)
    recalls = _recalls(facts.values())
    limits = [
        limit
        for limit in _limits({pk for family in related.values() for pk in family})
        if limit.holds_at(now)
    ]
    shown = {pk: each.shown(related, recalls) for pk, each in facts.items()}
    return [
        f"{row}: {words}"
        for row in rows
        for words in (
            *(f"{each.words.rstrip('.')}." for each in limits if each.covers(shown[row.pk])),
            *([shown[row.pk].recalled_because] if shown[row.pk].recalled_because else []),
        )
    ]


def tiles_along(subject: Deliverable | Frame) -> int:
    """Return of how many tiles in a row or column a frame is one; 1 for a whole picture.

    A small picture of one tile shows as much as one of the whole that is so many times larger.
    """
    if isinstance(subject, Deliverable):
        return 1
    pictures = DeliverableFrame.objects.filter(frame=subject).values("deliverable")
    spread = DeliverableFrame.objects.filter(deliverable__in=pictures).aggregate(
        across=Max("tile_x") - Min("tile_x") + 1, down=Max("tile_y") - Min("tile_y") + 1
    )
    return max(spread["across"] or 1, spread["down"] or 1)


def is_small(subject: Deliverable | Frame, longest_px: int) -> bool:
    """Tell whether so long a side of this subject is a small picture."""
    most_px = access_numbers().small_px
    return longest_px <= most_px and longest_px * tiles_along(subject) <= most_px


def why_hidden(user: User, subject: Any, longest_px: int) -> str:
    """Return why the person may not see a picture so large, or an empty string; for the policies.

    Who sees small pictures only gets none whose longest side is more than that of a small one.
    """
    found = decision(user, subject)
    if found.seen is Seen.FULL or (found.seen is Seen.SMALL and is_small(subject, longest_px)):
        return ""
    return found.because


def why_frames_hidden(user: User, frame_ids: Sequence[int]) -> dict[int, str]:
    """Return why the person sees nothing at all of frames, by key; a fixed number of queries."""
    found = frame_decisions(user, frame_ids)
    return {pk: each.because for pk, each in found.items() if each.seen is Seen.NOTHING}
