"""What is there already for a wish: duties in force, who asks for them, pictures that are true."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from imaging_requests.requesting import outlook
from imaging_requests.requesting.duties import direction_of
from imaging_requests.requesting.models import (
    Anchor,
    Demand,
    LineState,
    NotApplicable,
    OwedView,
    RequestLine,
)

#: Two drawings of one region differ by what a hand differs by.
SAME_REGION_MM = 0.5

Region = Sequence[float] | None


@dataclass(frozen=True, kw_only=True)
class WishedView:
    """One picture that a person wishes for.

    `direction` is L, R, T or B for raking light. A detail has its rectangle as left, top, width
    and height in millimetres of the face and its own density. `entry_id` names the entry through
    which the object was chosen. `insists_because` says why the picture is wanted although there
    is a true one, or although a rule says that it does not apply.
    """

    object_id: int
    technique: str
    face: str
    direction: str = ""
    detail_mm: tuple[float, float, float, float] | None = None
    px_per_mm: float | None = None
    entry_id: int | None = None
    insists_because: str = ""


@dataclass(frozen=True, kw_only=True)
class Overlap:
    """What is there for one wish."""

    view: OwedView | None = None
    demands: tuple[Demand, ...] = ()
    standing: outlook.Standing | None = None
    plan: outlook.Plan | None = None
    not_applicable: NotApplicable | None = None
    waiting: tuple[RequestLine, ...] = ()

    @property
    def is_here(self) -> bool:
        """Whether a true picture meets the wish already."""
        return self.standing is not None and self.standing.is_met

    @property
    def needs_insisting(self) -> bool:
        """Whether the wish makes work only if the asker says why."""
        return self.is_here or self.not_applicable is not None

    @property
    def askers(self) -> tuple[str, ...]:
        """Who asks already, each once, in words."""
        return tuple(
            dict.fromkeys(
                [asker(demand) for demand in self.demands]
                + [f"{line.request.requester} ({line.request.number})" for line in self.waiting]
            )
        )


def asker(demand: Demand) -> str:
    """Who stands behind a demand, in words."""
    if demand.entry is not None:
        return f"catalogue entry {demand.entry.number}"
    if demand.treatment is not None:
        return f"treatment {demand.treatment.code}"
    if demand.request_line is not None:
        request = demand.request_line.request
        return f"{request.requester} ({request.number})"
    return demand.get_source_display()


def same_region(one: Region, other: Region) -> bool:
    """Whether two rectangles mean the same region; none means the whole face."""
    if one is None or other is None:
        return one is None and other is None
    return all(abs(float(a) - float(b)) <= SAME_REGION_MM for a, b in zip(one, other, strict=True))


def serves(view: OwedView | RequestLine, wish: WishedView) -> bool:
    """Whether a duty, or another wish, is for the same picture."""
    return (
        view.object_id == wish.object_id
        and view.technique == wish.technique
        and view.face == wish.face
        and (direction_of(view.technique, view.variant) or "") == wish.direction
        and same_region(view.detail_mm, wish.detail_mm)
        and (wish.px_per_mm is None or (view.px_per_mm or 0) >= wish.px_per_mm)
    )


def find_overlaps(wishes: Sequence[WishedView]) -> list[Overlap]:
    """What is there for each wish, in a fixed number of queries."""
    ids = {wish.object_id for wish in wishes}
    views: dict[int, list[OwedView]] = defaultdict(list)
    for view in OwedView.objects.filter(
        object_id__in=ids, anchor=Anchor.CUR, ended_at=None
    ).order_by("pk"):
        views[view.object_id].append(view)
    waiting: dict[int, list[RequestLine]] = defaultdict(list)
    for line in RequestLine.objects.filter(
        object_id__in=ids, state=LineState.SUBMITTED
    ).select_related("request__requester"):
        waiting[line.object_id].append(line)
    rules: dict[int, list[NotApplicable]] = defaultdict(list)
    for rule in NotApplicable.objects.filter(object_id__in=ids, until=None):
        rules[rule.object_id].append(rule)
    found = [
        next((view for view in views[wish.object_id] if serves(view, wish)), None)
        for wish in wishes
    ]
    met = [view.pk for view in found if view is not None]
    demands, standings, plans = demands_of(met), outlook.standing_of(met), outlook.plans_of(met)
    return [
        Overlap(
            view=view,
            demands=tuple(demands[view.pk]) if view else (),
            standing=standings.get(view.pk) if view else None,
            plan=plans.get(view.pk) if view else None,
            not_applicable=None if view else _rule_against(rules[wish.object_id], wish),
            waiting=tuple(line for line in waiting[wish.object_id] if serves(line, wish)),
        )
        for wish, view in zip(wishes, found, strict=True)
    ]


def demands_of(view_ids: Iterable[int]) -> defaultdict[int, list[Demand]]:
    """The live demands of views, with whoever stands behind them."""
    found: defaultdict[int, list[Demand]] = defaultdict(list)
    rows = Demand.objects.filter(owed_view_id__in=list(view_ids), until=None).select_related(
        "entry", "treatment", "request_line__request__requester"
    )
    for demand in rows:
        found[demand.owed_view_id].append(demand)
    return found


def _rule_against(rules: Iterable[NotApplicable], wish: WishedView) -> NotApplicable | None:
    for rule in rules:
        if (rule.technique, rule.face, rule.variant) == (
            wish.technique,
            wish.face,
            wish.direction,
        ):
            return rule
    return None
