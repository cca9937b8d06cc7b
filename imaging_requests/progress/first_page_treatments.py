"""Answers of first pages about treatments: gates, decisions, and what treatments undid."""

from __future__ import annotations

from datetime import date, datetime

from django.db.models import Count, F, Min, Q
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.progress.answers import ROWS, Row, Section, count, day
from imaging_requests.progress.gate_page import gates_of_treatments
from imaging_requests.progress.models import ViewStatus
from imaging_requests.protocols.queries import periods
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.requesting.words import numbers_of, view_words
from imaging_requests.treatments.models import (
    DecisionCase,
    Intervention,
    InterventionState,
    TimesProposal,
    Treatment,
    TreatmentState,
)

DEBT = (Status.OUT_OF_DATE, Status.UNDECIDED)


def own_treatments(user: User, now: datetime) -> Section:
    """The conservator's treatments with the next step of each."""
    treatments = list(
        Treatment.objects.filter(
            conservator=user,
            state__in=(TreatmentState.PLANNED, TreatmentState.UNDER_WAY, TreatmentState.PAUSED),
        )
        .prefetch_related("interventions")
        .order_by(F("planned_from").asc(nulls_last=True), "pk")[:ROWS]
    )
    gates = gates_of_treatments(treatments)
    numbers = numbers_of([treatment.object_id for treatment in treatments])
    rows = [
        Row(
            text=f"{numbers[treatment.object_id]}: {treatment}",
            href=reverse("progress:treatment", args=[treatment.pk]),
            note=f"{treatment.get_state_display().lower()}"
            + (f", from {treatment.planned_from:%-d %b %Y}" if treatment.planned_from else "")
            + f". Next step may start: {gates[treatment.pk]['gate']}.",
        )
        for treatment in treatments
    ]
    shut = [each for each in treatments if gates[each.pk]["is_shut"]]
    return Section(
        answer=_may_not_start(shut, numbers)
        if shut
        else f"{count(len(rows), 'treatment')} of yours planned or under way",
        is_pressing=bool(shut),
        rows=rows,
        empty="You have no treatment planned. Open an object to plan one.",
        more_label="All treatments",
        more_href=reverse("progress:treatments"),
    )


def _may_not_start(shut: list[Treatment], numbers: dict[int, str]) -> str:
    if len(shut) == 1:
        return f"{shut[0].code} of {numbers[shut[0].object_id]} may not go on yet"
    return f"{len(shut)} treatments of yours may not go on yet"


def own_decisions(user: User, now: datetime) -> Section:
    """Questions that wait for this conservator."""
    cases = list(
        DecisionCase.objects.filter(assigned_to=user, state=DecisionCase.State.OPEN).order_by(
            "opened_at"
        )[: ROWS + 1]
    )
    numbers = numbers_of([case.object_id for case in cases])
    rows = [
        Row(
            text=f"{numbers[case.object_id]}: "
            f"{view_words(case.technique, case.face, case.variant)}",
            href=f"{reverse('progress:decisions')}#case-{case.pk}",
            note=f"proposal: {case.get_proposal_display().lower()}, "
            f"open since {day(case.opened_at)}",
            status=Status.UNDECIDED,
        )
        for case in cases[:ROWS]
    ]
    return Section(
        answer=f"{count(len(cases), 'older picture')} "
        f"{'waits' if len(cases) <= 1 else 'wait'} for your decision",
        rows=rows,
        empty="No decision waits for you.",
        more_label="Decisions",
        more_href=reverse("progress:decisions"),
        is_pressing=bool(cases),
    )


def steps_ahead(user: User, now: datetime) -> Section:
    """Treatment steps planned soon, as far ahead as the studio looks."""
    ahead = periods(now).steps_ahead
    until: date = timezone.localdate(now + ahead)
    soon = Intervention.objects.filter(state=InterventionState.PLANNED, planned_on__lte=until)
    total = soon.aggregate(total=Count("treatment", distinct=True))["total"]
    # Whether a gate is shut is worked out from the object's whole history, so only for the first.
    first = list(
        Treatment.objects.filter(interventions__in=soon)
        .annotate(next_on=Min("interventions__planned_on", filter=Q(interventions__in=soon)))
        .select_related("conservator")
        .prefetch_related("interventions")
        .order_by("next_on", "pk")[:ROWS]
    )
    numbers = numbers_of([treatment.object_id for treatment in first])
    gates = gates_of_treatments(first)
    rows = [
        Row(
            text=f"{numbers[treatment.object_id]}: {treatment}",
            href=reverse("progress:treatment", args=[treatment.pk]),
            note=f"planned for {treatment.next_on:%-d %b %Y}, {treatment.conservator}. "
            f"May start: {gates[treatment.pk]['gate']}.",
        )
        for treatment in first
    ]
    shut = sum(gate["is_shut"] for gate in gates.values())
    said = f"{count(shut, 'gate')} {'is' if shut == 1 else 'are'} shut" if shut else ""
    if said and total > ROWS:
        said = f"of the first {ROWS} {said}"
    return Section(
        answer=f"{count(total, 'treatment')} "
        f"{'has' if total <= 1 else 'have'} a step planned within {ahead.days} days"
        + (f", {said}" if said else ""),
        is_pressing=bool(shut),
        rows=rows,
        empty=f"No treatment step is planned for the next {ahead.days} days.",
        more_label="Treatments",
        more_href=reverse("progress:treatments"),
    )


def proposed_times(user: User, now: datetime) -> Section:
    """Corrected times that wait for a second signature."""
    waiting = TimesProposal.objects.filter(state=TimesProposal.State.OPEN)
    total = waiting.count()
    first = list(
        waiting.select_related("intervention__treatment", "proposed_by").order_by(
            "proposed_at", "pk"
        )[:ROWS]
    )
    numbers = numbers_of([proposal.intervention.object_id for proposal in first])
    rows = [
        Row(
            text=f"{numbers[proposal.intervention.object_id]}: {proposal.intervention}",
            href=reverse("progress:treatment", args=[proposal.intervention.treatment_id])
            + f"#proposal-{proposal.pk}",
            note=f"{proposal.proposed_by}, since {day(proposal.proposed_at)}"
            + ("; the step has changed since" if proposal.is_stale else ""),
        )
        for proposal in first
    ]
    return Section(
        answer=f"{count(total, 'correction')} of a step’s times "
        f"{'waits' if total <= 1 else 'wait'} for a second signature",
        rows=rows,
        empty="No corrected times wait for your countersignature.",
        is_pressing=bool(rows),
    )


def debt(user: User, now: datetime) -> Section:
    """What treatments have made untrue or doubtful."""
    views = (
        ViewStatus.objects.filter(status__in=DEBT, is_present=True)
        .select_related("owed_view")
        .order_by("status", "object_id")
    )
    total = views.count()
    first = list(views[:ROWS])
    numbers = numbers_of([view.object_id for view in first])
    rows = [
        Row(
            text=f"{numbers[view.object_id]}: "
            + view_words(view.owed_view.technique, view.owed_view.face, view.owed_view.variant),
            href=reverse("progress:object", args=[view.object_id]),
            note=view.why,
            status=view.status,
        )
        for view in first
    ]
    return Section(
        answer=f"{count(total, 'picture')} no longer true, or waiting for a decision"
        if total
        else "Every picture is still true",
        rows=rows,
        empty="No treatment has made a picture untrue.",
        is_pressing=bool(rows),
    )


def lost_for_good(user: User, now: datetime) -> Section:
    """Views that can never be made again."""
    views = list(
        ViewStatus.objects.filter(status=Status.LOST)
        .select_related("owed_view")
        .order_by("is_present", "object_id")[:ROWS]
    )
    numbers = numbers_of([view.object_id for view in views])
    return Section(
        answer=f"{count(len(views), 'view')} lost for good",
        rows=[
            Row(
                text=f"{numbers[view.object_id]}: "
                + view_words(view.owed_view.technique, view.owed_view.face, view.owed_view.variant),
                href=reverse("progress:object", args=[view.object_id]),
                note=view.why,
                status=view.status,
            )
            for view in views
        ],
        empty="Nothing has been lost.",
    )
