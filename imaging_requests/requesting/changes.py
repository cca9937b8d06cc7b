"""The difference between the duties that are stored and those that are wanted, and its writing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.status import has_lapsed
from imaging_requests.requesting import outlook
from imaging_requests.requesting.anchors import anchor_of
from imaging_requests.requesting.duties import DemandKey, Duties, Known, NotWanted, ViewKey, Want
from imaging_requests.requesting.material import Material
from imaging_requests.requesting.models import (
    Anchor,
    Demand,
    LineState,
    NotApplicable,
    OwedView,
    Waiver,
)
from imaging_requests.requesting.specs import Making
from imaging_requests.treatments.models import TreatmentState

NOBODY_ASKS = "No protocol, treatment or request asks for it any more."
SURFACE_CHANGED = "Another surface lies at this face now."
_MAKING = ("px_per_mm", "tolerance_percent", "min_coverage_percent", "spec")
_CHANGED = (*_MAKING, "due_on", "ended_at", "end_reason")


def view_key(view: OwedView) -> ViewKey:
    """What makes a stored view the same duty as a want."""
    return (view.object_id, view.surface, view.technique, view.variant, view.anchor_key)


def _demand_key(demand: Demand) -> DemandKey:
    return (
        demand.source,
        demand.entry_id,
        demand.protocol_line,
        demand.treatment_id,
        demand.preferred,
    )


def _is_wish(demand: Demand) -> bool:
    """Whether a person still asks. A wish for the catalogue goes on when it is fulfilled: the
    view counts for the entry; any other wish is over then, so that a later treatment does not
    make a debt of it."""
    line = demand.request_line
    return line is not None and (
        line.state != LineState.FULFILLED or line.request.counts_for_catalogue
    )


@dataclass(frozen=True, kw_only=True)
class Stored:
    """Rows of some objects as they are in the database."""

    in_force: Mapping[int, Mapping[ViewKey, OwedView]]
    ended: Mapping[ViewKey, OwedView]
    demands: Mapping[int, list[Demand]]
    not_applicable: Mapping[int, list[NotApplicable]]
    waivers: Mapping[int, Waiver]
    captured: frozenset[int]


def read_stored(object_ids: list[int]) -> Stored:
    """Read the rows that a derivation compares with, in a fixed number of queries."""
    in_force: dict[int, dict[ViewKey, OwedView]] = defaultdict(dict)
    ended: dict[ViewKey, OwedView] = {}
    for view in OwedView.objects.filter(object_id__in=object_ids).order_by("pk"):
        if view.ended_at is None:
            in_force[view.object_id][view_key(view)] = view
        else:
            ended[view_key(view)] = view
    demands: dict[int, list[Demand]] = defaultdict(list)
    live = Demand.objects.filter(owed_view__object_id__in=object_ids, until=None).select_related(
        "request_line__request"
    )
    for demand in live:
        demands[demand.owed_view_id].append(demand)
    not_applicable: dict[int, list[NotApplicable]] = defaultdict(list)
    for row in NotApplicable.objects.filter(object_id__in=object_ids, until=None):
        not_applicable[row.object_id].append(row)
    waivers = Waiver.objects.filter(owed_view__object_id__in=object_ids, ended_at=None)
    plans = outlook.plans_of([view.pk for views in in_force.values() for view in views.values()])
    return Stored(
        in_force=in_force,
        ended=ended,
        demands=demands,
        not_applicable=not_applicable,
        waivers={waiver.owed_view_id: waiver for waiver in waivers},
        captured=frozenset(pk for pk, plan in plans.items() if plan.is_captured),
    )


@dataclass(kw_only=True)
class Change:
    """What has to be written; filled object by object, stored at once."""

    stored: Stored
    now: datetime
    new_views: list[OwedView] = field(default_factory=list)
    changed_views: dict[int, OwedView] = field(default_factory=dict)
    new_demands: list[Demand] = field(default_factory=list)
    over_demands: list[int] = field(default_factory=list)
    new_rules: list[NotApplicable] = field(default_factory=list)
    over_rules: list[int] = field(default_factory=list)
    lapsed: list[Waiver] = field(default_factory=list)

    def compare(self, material: Material, duties: Duties) -> None:
        """Note what has to change for one object."""
        object_id = material.known.object_id
        views = dict(self.stored.in_force.get(object_id, {}))
        for key, want in duties.wants.items():
            self._meet(want, views.pop(key, None) or self._revived(key))
        for view in views.values():
            self._unwanted(view, material, duties)
        self._rules(object_id, duties.not_applicable)
        self._waivers(material)

    def _revived(self, key: ViewKey) -> OwedView | None:
        """A view that had ended and is wanted again keeps its row and its waivers."""
        view = self.stored.ended.get(key)
        if view is not None:
            view.ended_at, view.end_reason = None, ""
            self.changed_views[view.pk] = view
        return view

    def _meet(self, want: Want, view: OwedView | None) -> None:
        if view is None:
            view = _new_view(want, self.now)
            self.new_views.append(view)
            live: list[Demand] = []
        else:
            self._remake(view, want.making)
            if view.due_on != want.due_on:
                view.due_on = want.due_on
                self.changed_views[view.pk] = view
            live = self.stored.demands.get(view.pk, [])
        known = {_demand_key(demand) for demand in live}
        for demand in live:
            if not _is_wish(demand) and _demand_key(demand) not in want.demands:
                self.over_demands.append(demand.pk)
        new = sorted(want.demands - known, key=str)
        for source, entry_id, line, treatment_id, preferred in new:
            self.new_demands.append(
                Demand(
                    owed_view=view,
                    source=source,
                    entry_id=entry_id,
                    protocol_line=line,
                    treatment_id=treatment_id,
                    preferred=preferred,
                    since=self.now,
                )
            )

    def _remake(self, view: OwedView, making: Making) -> None:
        """Take over new numbers, unless the picture is made and only a measurement changed."""
        if all(getattr(view, name) == getattr(making, name) for name in _MAKING):
            return
        is_same_rule = view.spec.get("origin") == making.spec["origin"]
        if view.pk in self.stored.captured and is_same_rule:
            return
        for name in _MAKING:
            setattr(view, name, getattr(making, name))
        self.changed_views[view.pk] = view

    def _unwanted(self, view: OwedView, material: Material, duties: Duties) -> None:
        """End what protocols and treatments asked; the view stays while a request asks."""
        kept = []
        for demand in self.stored.demands.get(view.pk, []):
            if _is_wish(demand) or self._outlives(demand, view, material):
                kept.append(demand)
            else:
                self.over_demands.append(demand.pk)
        if not kept:
            view.ended_at = self.now
            view.end_reason = _why_over(view, material.known, duties)
            self.changed_views[view.pk] = view
        elif any(_is_wish(demand) for demand in kept):
            self._remake(view, _making_of_wish(view, material.known))

    def _outlives(self, demand: Demand, view: OwedView, material: Material) -> bool:
        """A picture made before a treatment that was then dropped stays owed, and so stays."""
        return (
            view.anchor == Anchor.BT
            and view.pk in self.stored.captured
            and any(
                course.treatment.pk == demand.treatment_id
                and course.treatment.state == TreatmentState.DROPPED
                for course in material.courses
            )
        )

    def _rules(self, object_id: int, wanted: Mapping[tuple[str, str, str], NotWanted]) -> None:
        """Write what rules take out; what a person decided, or insists on, is left alone."""
        asked = {
            (view.technique, view.face, view.variant)
            for view in self.stored.in_force.get(object_id, {}).values()
            for demand in self.stored.demands.get(view.pk, [])
            if _is_wish(demand)
        }
        to_write = {place: rule for place, rule in wanted.items() if place not in asked}
        for row in self.stored.not_applicable.get(object_id, []):
            place = (row.technique, row.face, row.variant)
            if not row.rule:
                to_write.pop(place, None)
                continue
            rule = to_write.get(place)
            if rule is not None and (row.rule, row.reason) == (rule.rule, rule.reason):
                del to_write[place]
            else:
                self.over_rules.append(row.pk)
        self.new_rules += [
            NotApplicable(
                object_id=object_id,
                technique=technique,
                face=face,
                variant=variant,
                rule=rule.rule,
                reason=rule.reason,
                since=self.now,
            )
            for (technique, face, variant), rule in to_write.items()
        ]

    def _waivers(self, material: Material) -> None:
        """End waivers whose date has come, or whose view a later event made out of date."""
        for view in self.stored.in_force.get(material.known.object_id, {}).values():
            waiver = self.stored.waivers.get(view.pk)
            if waiver is None:
                continue
            if waiver.lapses_at is not None and waiver.lapses_at <= self.now:
                waiver.ended_at = waiver.lapses_at
                waiver.end_reason = "Its date was reached."
            elif has_lapsed(material.moment, _true_view(view), _true_waiver(waiver)):
                waiver.ended_at = self.now
                waiver.end_reason = "A later treatment step changed what the view would show."
            else:
                continue
            self.lapsed.append(waiver)

    def store(self) -> None:
        """Write everything noted, in as few statements as the database allows."""
        OwedView.objects.bulk_create(self.new_views)
        OwedView.objects.bulk_update(self.changed_views.values(), _CHANGED, batch_size=500)
        if self.over_demands:
            Demand.objects.filter(pk__in=self.over_demands).update(until=self.now)
        Demand.objects.bulk_create(self.new_demands)
        if self.over_rules:
            NotApplicable.objects.filter(pk__in=self.over_rules).update(until=self.now)
        NotApplicable.objects.bulk_create(self.new_rules)
        Waiver.objects.bulk_update(self.lapsed, ["ended_at", "end_reason"])


def _new_view(want: Want, now: datetime) -> OwedView:
    return OwedView(
        object_id=want.object_id,
        face=want.face,
        surface=want.surface,
        technique=want.technique,
        variant=want.variant,
        anchor=want.as_of.kind,
        anchor_key=want.as_of.key,
        treatment_id=want.as_of.treatment_id,
        anchor_phase=want.as_of.phase,
        anchor_step=want.as_of.step,
        anchor_event_id=want.as_of.event_id,
        px_per_mm=want.making.px_per_mm,
        tolerance_percent=want.making.tolerance_percent,
        min_coverage_percent=want.making.min_coverage_percent,
        spec=want.making.spec,
        due_on=want.due_on,
        created_at=now,
    )


def _making_of_wish(view: OwedView, known: Known) -> Making:
    """How a view that only people ask for is made, from the facts of today."""
    detail = None
    if view.detail_mm is not None:
        detail = {
            "name": view.variant,
            "region_mm": view.detail_mm,
            "px_per_mm": view.px_per_mm,
        }
    return known.making_for(view.technique, view.face, view.variant, detail)


def _why_over(view: OwedView, known: Known, duties: Duties) -> str:
    rule = duties.not_applicable.get((view.technique, view.face, view.variant))
    if rule is not None:
        return f"Not applicable: {rule.reason}"[:160]
    if view.anchor == Anchor.CUR and view.surface != known.surface(view.face):
        return SURFACE_CHANGED
    return NOBODY_ASKS


def _true_view(view: OwedView) -> truth.OwedView:
    return truth.OwedView(
        key=str(view.pk),
        recorded_at=view.created_at,
        surface=view.surface,
        technique=view.technique,
        variant=view.variant,
        anchor=anchor_of(view),
        px_per_mm=view.px_per_mm,
        tolerance=view.tolerance_percent / 100,
        min_coverage=view.min_coverage_percent / 100,
    )


def _true_waiver(waiver: Waiver) -> truth.Waiver:
    return truth.Waiver(
        key=f"w-{waiver.pk}",
        recorded_at=waiver.recorded_at,
        view=str(waiver.owed_view_id),
        granted_at=waiver.granted_at,
        lapses_at=waiver.lapses_at,
    )
