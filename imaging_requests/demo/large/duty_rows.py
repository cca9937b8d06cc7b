"""Write down what an object is owed: its views, who demands them, what does not apply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from imaging_requests.collection.models import CollectionObject, ObjectFacts
from imaging_requests.demo.large import rows as tables
from imaging_requests.demo.large.ground import Memory, Rules, pins_of, recall
from imaging_requests.demo.large.rows import Rows
from imaging_requests.demo.large.subjects import Owed, Subject
from imaging_requests.demo.large.unsaved import Unsaved
from imaging_requests.progress.gather.duties import demand_ref
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.terms import Anchor as TrueAnchor
from imaging_requests.requesting.changes import NOBODY_ASKS
from imaging_requests.requesting.derivation import duties_of
from imaging_requests.requesting.duties import DemandKey, Duties, Want
from imaging_requests.requesting.material import Material, material_of
from imaging_requests.requesting.models import Anchor, Demand
from imaging_requests.treatments.events import event_key

_object = Unsaved(CollectionObject)

#: How long after it came into an entry an object that left was taken out again.
STAYED = timedelta(days=400)


def duties_for(
    subject: Subject,
    facts: ObjectFacts,
    *,
    protocols: dict[int, list[int]],
    rules: Rules,
    memory: Memory,
    now: datetime,
) -> tuple[Duties, Material]:
    """Derive what an object is owed, by the rules that the program itself uses."""
    material = material_of(
        _object(id=subject.pk, kind=subject.of.kind),
        facts=facts,
        settings=rules.settings,
        pins=pins_of(protocols, rules),
        treatments=[course.treatment for course in subject.courses],
        steps=[step for course in subject.courses for step in course.steps],
        published=rules.published,
        now=now,
    )
    known = recall(material.known, subject.of.index, memory)
    return duties_of(replace(material, known=known)), material


def owe(
    subject: Subject, duties: Duties, rows: Rows, *, memory: Memory, added_at: datetime
) -> None:
    """Write the views that are owed now, with their demands."""
    recorded = {course.treatment.pk: course.treatment.recorded_at for course in subject.courses}
    for want in duties.wants.values():
        since = recorded.get(want.as_of.treatment_id or 0, added_at)
        owed = Owed(rows.key(tables.VIEWS), want)
        subject.owed.append(owed)
        _view_row(owed, rows, spec=memory.text_of(want.making), since=since)
        for demand in _in_order(want.demands):
            _demand_row(subject, owed, demand, rows, since=recorded.get(demand[3] or 0, added_at))
        subject.note("views", _true_view(owed, since))
    for (technique, face, variant), rule in duties.not_applicable.items():
        rows.add(
            tables.NOT_APPLICABLE,
            rows.key(tables.NOT_APPLICABLE),
            subject.pk,
            face,
            technique,
            variant,
            rule.rule,
            rule.reason,
            added_at,
        )


def owed_once(
    subject: Subject, duties: Duties, rows: Rows, *, memory: Memory, added_at: datetime
) -> None:
    """Write the views that an entry asked for until the object left it."""
    ended_at = added_at + STAYED
    for want in duties.wants.values():
        if want.as_of.kind != Anchor.CUR:
            continue
        owed = Owed(rows.key(tables.VIEWS), want, is_ended=True)
        spec = memory.text_of(want.making)
        _view_row(owed, rows, spec=spec, since=added_at, ended_at=ended_at)
        for demand in _in_order(want.demands):
            _demand_row(subject, owed, demand, rows, since=added_at, until=ended_at)
        subject.note("views", _true_view(owed, added_at))


def _in_order(demands: set[DemandKey]) -> Sequence[DemandKey]:
    """The demands of a view in an order that is always the same; most views have one."""
    return tuple(demands) if len(demands) == 1 else sorted(demands, key=str)


def _view_row(
    owed: Owed, rows: Rows, *, spec: str, since: datetime, ended_at: datetime | None = None
) -> None:
    want = owed.want
    rows.add(
        tables.VIEWS,
        owed.pk,
        want.object_id,
        want.face,
        want.surface,
        want.technique,
        want.variant,
        str(want.as_of.kind),
        want.as_of.treatment_id,
        want.as_of.phase,
        want.as_of.step,
        want.as_of.event_id,
        want.as_of.key,
        want.making.px_per_mm,
        want.making.tolerance_percent,
        want.making.min_coverage_percent,
        spec,
        want.due_on,
        since,
        ended_at,
        NOBODY_ASKS if ended_at is not None else "",
    )


def _demand_row(
    subject: Subject,
    owed: Owed,
    demand: DemandKey,
    rows: Rows,
    *,
    since: datetime,
    until: datetime | None = None,
) -> None:
    source, entry_id, line, treatment_id, preferred = demand
    pk = rows.key(tables.DEMANDS)
    rows.add(
        tables.DEMANDS,
        pk,
        owed.pk,
        str(source),
        entry_id,
        line,
        treatment_id,
        None,
        preferred,
        since,
        until,
    )
    if entry_id is not None:
        counted: Sequence[str | None] = [
            str(entry.catalogue) for entry in subject.entries if entry.pk == entry_id
        ]
    else:
        counted = subject.catalogues or [None]
    for catalogue in counted:
        begun = truth.Demand(
            key=f"d-{pk}-{catalogue or ''}",
            recorded_at=since,
            view=str(owed.pk),
            kind=str(source),
            starts_at=since,
            ref=demand_ref(entry_id, line),
            catalogue=catalogue,
            preferred=preferred,
        )
        subject.note("demands", begun)
        if until is not None:
            subject.note("demands", replace(begun, recorded_at=until, ends_at=until))


def ask_too(subject: Subject, owed: Owed, line_id: int, rows: Rows, *, since: datetime) -> None:
    """Let an agreed line of a request ask for a view as well."""
    pk = rows.key(tables.DEMANDS)
    source = str(Demand.Source.REQUEST)
    rows.add(tables.DEMANDS, pk, owed.pk, source, None, "", None, line_id, "", since, None)
    subject.note(
        "demands",
        truth.Demand(
            key=f"d-{pk}-",
            view=str(owed.pk),
            kind=source,
            starts_at=since,
            recorded_at=since,
        ),
    )


def _true_view(owed: Owed, since: datetime) -> truth.OwedView:
    want = owed.want
    return truth.OwedView(
        key=str(owed.pk),
        recorded_at=since,
        surface=want.surface,
        technique=want.technique,
        variant=want.variant,
        anchor=_true_anchor(want),
        px_per_mm=want.making.px_per_mm,
        tolerance=want.making.tolerance_percent / 100,
        min_coverage=want.making.min_coverage_percent / 100,
    )


def _true_anchor(want: Want) -> TrueAnchor:
    as_of = want.as_of
    treatment = str(as_of.treatment_id)
    if as_of.kind == Anchor.BT:
        return TrueAnchor.before(treatment, phase=as_of.phase)
    if as_of.kind == Anchor.AT:
        return TrueAnchor.after(treatment, phase=as_of.phase)
    if as_of.kind == Anchor.DT:
        return TrueAnchor.during(treatment, step=as_of.step or 0)
    if as_of.kind == Anchor.WIN:
        opened_by = event_key(as_of.event_id) if as_of.event_id else None
        return TrueAnchor.in_window(as_of.key.split(":")[1], opened_by=opened_by)
    return TrueAnchor.current()
