"""A draft of the rules tried on the whole house: the duties and truths that would follow from it.

Everything is reckoned by the code behind the pages (`requesting.derivation`, `reckoning.truth`),
once with the rules in force and once with the draft in their place. Nothing is stored: changes of
owed views are only compared, and their outcome is laid into the case file in memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from imaging_requests.collection.models import Entry
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.gather.duties import catalogues_of, demand_ref
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.rules import Derived, derive_object
from imaging_requests.protocols.rules import Definition
from imaging_requests.reckoning.shots.protocol import Protocol
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.owing import seen_at
from imaging_requests.reckoning.truth.triggers import TriggerTable
from imaging_requests.reckoning.truth.words import Speech
from imaging_requests.requesting.anchors import anchor_of
from imaging_requests.requesting.changes import Change, read_stored
from imaging_requests.requesting.derivation import duties_of
from imaging_requests.requesting.duties import Pin, ViewKey, Want
from imaging_requests.requesting.material import Material, gather_material
from imaging_requests.requesting.models import Demand, OwedView


@dataclass(frozen=True, kw_only=True)
class Side:
    """One object under one set of rules: what is owed, how, and what then holds.

    `wants` are the duties that protocols and treatments ask for, `keys` says which duty each view
    of the moment is.
    """

    derived: Derived
    wants: Mapping[ViewKey, Want]
    keys: Mapping[str, ViewKey]


@dataclass(frozen=True, kw_only=True)
class Tried:
    """One object under the rules in force, and with the draft in their place."""

    object_id: int
    now: Side
    then: Side


def try_draft(object_ids: Sequence[int], draft: Definition, *, now: datetime) -> list[Tried]:
    """Reckon some objects with and without a draft; the number of queries is fixed."""
    ids = sorted(set(object_ids))
    material = gather_material(ids, now)
    cases = gather_cases(ids)
    speech = speech_for(ids)
    with_draft = {pk: _under(each, draft) for pk, each in material.items()}
    tables, later_cases = speech.tables, cases
    if isinstance(draft, TriggerTable):
        tables = {**tables, draft.version: draft}
        later_cases = {pk: under_table(case, draft) for pk, case in cases.items()}
    before = _laid_in(material, cases, now)
    after = _laid_in(with_draft, later_cases, now)
    later_speech = replace(speech, tables=tables)
    return [
        Tried(
            object_id=pk,
            now=_side(before[pk], speech, now),
            then=_side(after[pk], later_speech, now),
        )
        for pk in ids
        if pk in before and pk in after
    ]


def under_table(case: truth.ObjectCase, table: TriggerTable) -> truth.ObjectCase:
    """Return a case file as if every event had been recorded under a table that has its row."""
    return replace(
        case,
        published=(),
        events=tuple(
            replace(event, table_version=table.version) if event.row in table.rows else event
            for event in case.events
        ),
    )


def _under(material: Material, draft: Definition) -> Material:
    """Put a draft in the place of the version it follows."""
    known = material.known
    if isinstance(draft, Protocol):
        others = tuple(pin for pin in known.pins if pin.protocol.id != draft.id)
        entries = tuple(
            sorted(pk for pin in known.pins if pin.protocol.id == draft.id for pk in pin.entry_ids)
        )
        pins = (*others, Pin(protocol=draft, entry_ids=entries)) if entries else others
        return replace(material, known=replace(known, pins=pins))
    if not isinstance(draft, TriggerTable) or not material.courses:
        return material
    first = material.courses[0]
    case = under_table(first.case, draft)
    tables = {**first.tables, draft.version: draft}
    moment = look(case, tables, t=first.now, u=first.now)
    moments = {first.now: moment}
    return replace(
        material,
        known=replace(known, surfaces=seen_at(moment.surfaces)),
        moment=moment,
        courses=tuple(
            replace(course, case=case, tables=tables, moments=moments)
            for course in material.courses
        ),
    )


Laid = tuple[truth.ObjectCase, Mapping[ViewKey, Want], Mapping[str, ViewKey]]


def _laid_in(
    material: Mapping[int, Material], cases: Mapping[int, truth.ObjectCase], now: datetime
) -> dict[int, Laid]:
    """Work out what would be stored for each object, and lay it into its case file."""
    stored = read_stored(list(material))
    of_entry = _entry_catalogues(material.values())
    own = catalogues_of(list(material))
    found: dict[int, Laid] = {}
    for pk, each in material.items():
        duties = duties_of(each)
        change = Change(stored=stored, now=now)
        change.compare(each, duties)
        new = {id(view): f"new-{place}" for place, view in enumerate(change.new_views)}
        keys = {
            str(view.pk): key
            for key, view in (*stored.in_force.get(pk, {}).items(), *stored.ended.items())
            if view.object_id == pk
        }
        keys |= {new[id(view)]: _key(view) for view in change.new_views}
        counting = (c.treatment for c in each.courses if c.treatment.counts_for_catalogue)
        counted = _Counted(
            of_entry=of_entry,
            own=own.get(pk, ()),
            treatments=frozenset(treatment.pk for treatment in counting),
        )
        case = _changed(cases[pk], change, new, counted, now)
        found[pk] = (case, duties.wants, keys)
    return found


def _key(view: OwedView) -> ViewKey:
    return (view.object_id, view.surface, view.technique, view.variant, view.anchor_key)


@dataclass(frozen=True, kw_only=True)
class _Counted:
    """For which catalogues the demands of one object count."""

    of_entry: Mapping[int, str]
    own: Sequence[str]
    treatments: frozenset[int]

    def of_demand(self, demand: Demand) -> Sequence[str]:
        """An entry's demand counts for its catalogue, a treatment's for all of the object's."""
        if demand.entry_id is not None:
            return [self.of_entry[demand.entry_id]]
        return self.own if demand.treatment_id in self.treatments else ()


def _entry_catalogues(material: Iterable[Material]) -> Mapping[int, str]:
    """Return the catalogue of each entry whose protocol asks for some objects."""
    entries = {pk for each in material for pin in each.known.pins for pk in pin.entry_ids}
    found = Entry.objects.filter(pk__in=entries).values_list("pk", "catalogue_id")
    return {pk: str(catalogue) for pk, catalogue in found}


def _changed(
    case: truth.ObjectCase,
    change: Change,
    new: Mapping[int, str],
    counted: _Counted,
    now: datetime,
) -> truth.ObjectCase:
    """Lay changes of owed views, demands, rules and waivers into a case file."""

    def name(view: OwedView) -> str:
        return new.get(id(view)) or str(view.pk)

    remade = {str(pk): view for pk, view in change.changed_views.items()}
    views = tuple(
        replace(
            view,
            px_per_mm=remade[view.key].px_per_mm,
            tolerance=remade[view.key].tolerance_percent / 100,
            min_coverage=remade[view.key].min_coverage_percent / 100,
        )
        if view.key in remade
        else view
        for view in case.views
    ) + tuple(_true_view(view, name(view), now) for view in change.new_views)
    over = {f"d-{pk}-" for pk in change.over_demands}
    demands = tuple(d for d in case.demands if d.key[: d.key.rindex("-") + 1] not in over)
    for place, demand in enumerate(change.new_demands):
        demands += _true_demands(
            place, demand, name(demand.owed_view), counted.of_demand(demand), now
        )
    gone = {f"a-{pk}-" for pk in change.over_rules}
    rules = tuple(r for r in case.not_applicable if r.key[: r.key.rindex("-") + 1] not in gone)
    own = change.stored.in_force.get(int(case.object_id), {}).values()
    place_of = {name(view): view for view in (*own, *change.new_views)}
    rules += tuple(
        truth.NotApplicable(
            key=f"a-new-{number}-{key}",
            recorded_at=now,
            view=key,
            starts_at=now,
            reason=rule.reason,
            by_rule=True,
        )
        for number, rule in enumerate(change.new_rules)
        for key, view in place_of.items()
        if (view.face, view.technique, view.variant) == (rule.face, rule.technique, rule.variant)
    )
    ended = {f"w-{waiver.pk}" for waiver in change.lapsed}
    return replace(
        case,
        views=views,
        demands=demands,
        not_applicable=rules,
        waivers=tuple(w for w in case.waivers if w.key not in ended),
    )


def _true_view(view: OwedView, key: str, now: datetime) -> truth.OwedView:
    return truth.OwedView(
        key=key,
        recorded_at=now,
        surface=view.surface,
        technique=view.technique,
        variant=view.variant,
        anchor=anchor_of(view),
        px_per_mm=view.px_per_mm,
        tolerance=view.tolerance_percent / 100,
        min_coverage=view.min_coverage_percent / 100,
    )


def _true_demands(
    place: int, demand: Demand, view: str, catalogues: Sequence[str], now: datetime
) -> tuple[truth.Demand, ...]:
    """A new demand as the rules of truth read it, once for each catalogue it counts for."""
    return tuple(
        truth.Demand(
            key=f"d-new{place}-{catalogue or ''}",
            recorded_at=now,
            view=view,
            kind=demand.source,
            starts_at=now,
            ref=demand_ref(demand.entry_id, demand.protocol_line),
            catalogue=catalogue,
            preferred=demand.preferred,
        )
        for catalogue in catalogues or (None,)
    )


def _side(laid: Laid, speech: Speech, now: datetime) -> Side:
    case, wants, keys = laid
    return Side(derived=derive_object(case, speech=speech, now=now), wants=wants, keys=keys)


def ahead(moment: Moment) -> tuple[truth.Event, ...]:
    """Return the steps that are planned or under way, in the order of work."""
    steps = [
        event
        for event in moment.events
        if event.ended_at is None and event.dropped_at is None and event.treatment
    ]
    return tuple(sorted(steps, key=lambda event: (event.treatment or "", event.step or 0)))
