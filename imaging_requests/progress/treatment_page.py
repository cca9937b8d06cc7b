"""What the pages of treatments show: steps, gate, what each step changes, decisions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django import forms
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.people.policies import may, why_not
from imaging_requests.progress.acts_times import proposal_sentences
from imaging_requests.progress.case_pictures import pictures_of_cases
from imaging_requests.progress.emergencies import Emergency, emergency_words
from imaging_requests.progress.gate_page import gate_context
from imaging_requests.progress.gates import (
    StepEffects,
    effects_of,
    event_of,
    next_step,
    say_bared,
    say_surfaces,
)
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.settle import settle
from imaging_requests.progress.shown import shown_views
from imaging_requests.progress.treatment_forms import (
    Act,
    Refused,
    VersionForm,
    act_on,
    acts_on_case,
    hand_on_treatment,
    local_minute,
)
from imaging_requests.progress.windows_part import window_notices
from imaging_requests.reckoning.truth.decisions import cases_after
from imaging_requests.reckoning.truth.duties import consequences
from imaging_requests.reckoning.truth.moment import Moment, is_running, look
from imaging_requests.reckoning.truth.words import Speech, capital, inside, name_view
from imaging_requests.requesting.words import numbers_of, view_words
from imaging_requests.treatments.actions import STEP_FIELDS
from imaging_requests.treatments.forms import (
    DecideForm,
    EmergencyForm,
    FinishForm,
    ReasonForm,
    StartForm,
    StepForm,
    TimesForm,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    Intervention,
    InterventionState,
    TimesProposal,
    Treatment,
    TreatmentState,
)
from imaging_requests.treatments.policies import (
    COMPLETE_EMERGENCY,
    COUNTERSIGN_TIMES,
    DECIDE,
    TREAT,
)
from imaging_requests.treatments.queries import conservators, witnesses


def step_acts(
    step: Intervention,
    *,
    user: User,
    gate: dict[str, Any] | None,
    is_next: bool,
    is_open: bool,
    refused: Refused | None,
) -> list[Act]:
    """Return what may be done to a step; `is_open`: its treatment is not paused and not over."""
    gate_is_open = gate is None or bool(gate["is_open"])
    version = {"read_version": step.row_version}
    now = local_minute(timezone.now())
    acts: list[Act] = []
    if step.state == InterventionState.PLANNED:
        if is_next:
            start = StartForm(
                actor=user, gate_is_open=gate_is_open, initial={**version, "started_at": now}
            )
            act = act_on("start", step, start, refused, is_shut=not gate_is_open)
            lost = () if gate is None else tuple(capital(e["loss"]) for e in gate["missing"])
            acts.append(replace(act, loses=lost))
        edit = StepForm(now=timezone.now(), initial={**version, **planned_values(step)})
        acts.append(act_on("edit", step, edit, refused))
        acts.append(act_on("drop", step, ReasonForm(initial=version), refused))
    if step.state == InterventionState.STARTED:
        finish = FinishForm(initial={**version, "finished_at": now})
        acts.append(act_on("finish", step, finish, refused))
    if step.state in (InterventionState.STARTED, InterventionState.FINISHED):
        times = {
            "started_at": local_minute(step.started_at),
            "finished_at": local_minute(step.finished_at),
        }
        acts.append(
            act_on("correct", step, TimesForm(step=step, initial={**version, **times}), refused)
        )
        if getattr(step, "override", None) is None and is_open:
            acts.append(act_on("take-back", step, ReasonForm(initial=version), refused))
    return acts


def planned_values(step: Intervention) -> dict[str, Any]:
    """Return what is planned of a step as its form takes it."""
    values = {name: getattr(step, name) for name in STEP_FIELDS}
    return {**values, "exposure_until": local_minute(step.exposure_until)}


def proposals_of(
    treatment: Treatment, *, user: User, refused: Refused | None, now: datetime
) -> dict[int, list[dict[str, Any]]]:
    """Lay out proposed times by step: those that wait, with their forms, and the last answer."""
    rows = (
        TimesProposal.objects.filter(intervention__treatment=treatment)
        .exclude(state=TimesProposal.State.REPLACED)
        .select_related("intervention__treatment", "proposed_by", "decided_by")
        .order_by("proposed_at", "pk")
    )
    newest = {row.intervention_id: row for row in rows}
    return {step: [_proposal(row, user, refused, now)] for step, row in newest.items()}


def _proposal(
    row: TimesProposal, user: User, refused: Refused | None, now: datetime
) -> dict[str, Any]:
    is_open = row.state == TimesProposal.State.OPEN
    is_stale = is_open and row.is_stale
    not_because = why_not(user, COUNTERSIGN_TIMES, row) if is_open else ""
    acts: list[Act] = []
    if is_open and not not_because:
        version = {"read_version": row.row_version}
        if not is_stale:
            acts.append(act_on("countersign", row, VersionForm(initial=version), refused))
        acts.append(act_on("decline", row, ReasonForm(initial=version), refused))
    return {
        "row": row,
        "is_open": is_open,
        "is_stale": is_stale,
        "not_because": not_because,
        "changes": proposal_sentences(row, now=now) if is_open and not is_stale else row.changes,
        "forms": acts,
    }


def emergency_acts(
    step: Intervention, *, user: User, refused: Refused | None, now: datetime
) -> tuple[Emergency | None, list[Act]]:
    """Return what is known of a step's emergency start, and the form for what it owes."""
    override = getattr(step, "override", None)
    if override is None:
        return None, []
    found = emergency_words(override, now)
    is_back = refused is not None and (refused.name, refused.subject_id) == ("emergency", step.pk)
    if not (found.lacking or is_back) or not may(user, COMPLETE_EMERGENCY, override):
        return found, []
    form = EmergencyForm(witnesses=witnesses(override.conservator), lacking=found.lacking)
    act = act_on("emergency", step, form, refused)
    return found, [replace(act, action=reverse("progress:emergency", args=[step.pk]), is_open=True)]


def treatment_acts(treatment: Treatment, *, refused: Refused | None, now: datetime) -> list[Act]:
    """Return what may be done to the treatment itself now."""
    version = {"read_version": treatment.row_version}
    state = treatment.state
    acts: list[Act] = []
    if state not in (TreatmentState.SIGNED_OFF, TreatmentState.DROPPED):
        acts.append(act_on("add", treatment, StepForm(now=now, initial=version), refused))
    if state == TreatmentState.FINISHED:
        acts.append(act_on("sign-off", treatment, VersionForm(initial=version), refused))
    if state == TreatmentState.UNDER_WAY:
        acts.append(act_on("pause", treatment, ReasonForm(initial=version), refused))
    if state == TreatmentState.PAUSED:
        acts.append(act_on("resume", treatment, VersionForm(initial=version), refused))
    if state == TreatmentState.PLANNED:
        acts.append(act_on("drop-treatment", treatment, ReasonForm(initial=version), refused))
    return acts


def _finished_effects(moment: Moment, step: Intervention, speech: Speech) -> StepEffects:
    event = event_of(moment, step)
    if event is None or event.key not in moment.index:
        return StepEffects()
    found = consequences(moment, event.key)
    untrue = dict.fromkeys(inside(name_view(picture)) for picture in found.out_of_date)
    asked = dict.fromkeys(
        inside(name_view(case.picture)) for case in cases_after(moment, event.key)
    )
    return StepEffects(
        makes_untrue=capital(", ".join(untrue)),
        asks=capital(", ".join(asked)),
        hides=say_surfaces(found.hidden),
        ends=say_surfaces(found.gone),
        bares="; ".join(
            say_bared(each.surface, until=each.closes_at, hidden_by=None, speech=speech)
            for each in found.windows
        ),
    )


def _effects(
    moment: Moment, steps: Sequence[Intervention], speech: Speech
) -> dict[int, StepEffects]:
    """What each step of a treatment did, or will do with those before it done."""
    own = {step.pk: event_of(moment, step) for step in steps}
    keys = {event.key for event in own.values() if event is not None}
    elsewhere = [
        event
        for event in moment.events
        if event.key not in keys and is_running(event, moment.t) and event.key not in moment.index
    ]
    ahead = [
        event
        for state in (InterventionState.STARTED, InterventionState.PLANNED)
        for step in steps
        if step.state == state and (event := own[step.pk]) is not None
    ]
    to_come = effects_of(moment, [*elsewhere, *ahead], speech) if ahead else {}
    found: dict[int, StepEffects] = {}
    for step in steps:
        event = own[step.pk]
        if step.state == InterventionState.FINISHED:
            found[step.pk] = _finished_effects(moment, step, speech)
        else:
            found[step.pk] = to_come.get(event.key if event else "", StepEffects())
    return found


def case_rows(
    cases: Sequence[DecisionCase],
    *,
    user: User,
    people: Sequence[User],
    refused: Refused | None = None,
) -> list[dict[str, Any]]:
    """Lay decision cases out with their picture and, for whom it concerns, the forms.

    `people` are the conservators among whom a question can be handed on.
    """
    pictures = pictures_of_cases(cases, user=user)
    numbers = numbers_of([case.object_id for case in cases])
    rows = []
    for case in cases:
        may_decide = case.state == DecisionCase.State.OPEN and may(user, DECIDE, case)
        form: forms.Form | None = None
        if may_decide:
            form = DecideForm(initial={"read_version": case.row_version}, prefix="")
            if refused is not None and (refused.name, refused.subject_id) == ("decide", case.pk):
                form = refused.form
            form.auto_id = f"decide-{case.pk}-%s"
        rows.append(
            {
                "row": case,
                "number": numbers[case.object_id],
                "object_href": reverse("progress:object", args=[case.object_id]),
                "words": view_words(case.technique, case.face, case.variant),
                "pictures": pictures[case.pk],
                "verdicts": list(case.verdicts.all()),
                "form": form,
                "acts": acts_on_case(case, user=user, people=people, refused=refused),
                "action": reverse("progress:decide", args=[case.pk]),
            }
        )
    return rows


def astray(refused: Refused | None, shown: Iterable[forms.Form | None]) -> Refused | None:
    """Return what was refused if its form is not on the page any more.

    Somebody else has taken the step meanwhile, so nothing is left to send; the reason must be read
    all the same.
    """
    if refused is None or any(form is refused.form for form in shown):
        return None
    return refused


def treatment_context(
    treatment: Treatment, *, user: User, refused: Refused | None = None
) -> dict[str, Any]:
    """Gather the page of one treatment; its object is settled first."""
    now = timezone.now()
    settle([treatment.object_id], now=now)
    speech = speech_for([treatment.object_id])
    case = gather_cases([treatment.object_id])[treatment.object_id]
    moment = look(case, speech.tables, t=now, u=now)
    steps = list(
        treatment.interventions.select_related(
            "override__witness", "override__conservator"
        ).order_by("step")
    )
    following = next_step(steps)
    gate = gate_context(moment, following, speech) if following else None
    effects = _effects(moment, steps, speech)
    may_treat = may(user, TREAT, treatment)
    cases = list(
        DecisionCase.objects.filter(intervention__treatment=treatment)
        .select_related("assigned_to", "intervention", "incident")
        .prefetch_related("verdicts__by")
        .order_by("-state", "pk")
    )
    number = numbers_of([treatment.object_id])[treatment.object_id]
    views = [view for view in shown_views([treatment.object_id]) if not view.is_present]
    step_forms = {
        step.pk: step_acts(
            step,
            user=user,
            gate=gate,
            is_next=step == following,
            is_open=treatment.state in (TreatmentState.UNDER_WAY, TreatmentState.FINISHED),
            refused=refused,
        )
        if may_treat
        else []
        for step in steps
    }
    emergencies = {
        step.pk: emergency_acts(step, user=user, refused=refused, now=now) for step in steps
    }
    for pk, (_, owed) in emergencies.items():
        step_forms[pk] = [*owed, *step_forms[pk]]
    treatment_forms = treatment_acts(treatment, refused=refused, now=now) if may_treat else []
    people = list(conservators())
    treatment_forms += hand_on_treatment(treatment, user=user, people=people, refused=refused)
    proposals = proposals_of(treatment, user=user, refused=refused, now=now)
    questions = case_rows(cases, user=user, people=people, refused=refused)
    acts = [act for each in step_forms.values() for act in each] + treatment_forms
    acts += [act for rows in proposals.values() for row in rows for act in row["forms"]]
    acts += [act for row in questions for act in row["acts"]]
    on_page = [*(act.form for act in acts), *(row["form"] for row in questions)]
    return {
        "astray": astray(refused, on_page),
        "treatment": treatment,
        "number": number,
        "answer": _answer(treatment, steps, following, gate, speech),
        "sub": f"{treatment.title}, {treatment.object.title}",
        "crumbs": [
            {"label": "Treatments", "href": reverse("progress:treatments")},
            {"label": number, "href": reverse("progress:object", args=[treatment.object_id])},
        ],
        "gate": gate,
        "windows": window_notices(moment, speech, treatment_id=treatment.pk),
        "steps": [
            {
                "row": step,
                "name": _row_name(step, moment, speech),
                "judged_by": _judged_by(step, moment),
                "does": effects[step.pk],
                "emergency": emergencies[step.pk][0],
                "forms": step_forms[step.pk],
                "proposals": proposals.get(step.pk, ()),
            }
            for step in steps
        ],
        "treatment_forms": treatment_forms,
        "cases": questions,
        "views": [view for view in views if treatment.code in view.anchor or "seen" in view.anchor],
        "about": _about(treatment),
    }


def _row_name(step: Intervention, moment: Moment, speech: Speech) -> str:
    event = event_of(moment, step)
    table = speech.tables[event.table_version] if event else next(iter(speech.tables.values()))
    return table.row(step.type_row).name


def _judged_by(step: Intervention, moment: Moment) -> str:
    """Say which version of the trigger table counts for a step."""
    event = event_of(moment, step)
    if event is None or step.state == InterventionState.DROPPED:
        return ""
    when = "in force when it began" if step.started_at else "the one in force until it begins"
    return f"Trigger table version {event.table_version} counts, {when}."


def _answer(
    treatment: Treatment,
    steps: Sequence[Intervention],
    following: Intervention | None,
    gate: dict[str, Any] | None,
    speech: Speech,
) -> str:
    running = [step for step in steps if step.state == InterventionState.STARTED]
    if treatment.state == TreatmentState.SIGNED_OFF:
        return f"{treatment.code} is signed off"
    if treatment.state == TreatmentState.DROPPED:
        return f"{treatment.code} was dropped"
    if running:
        return f"{treatment.code}: step {running[0].step} is under way"
    if following is None:
        if not steps:
            return f"{treatment.code} has no step yet"
        if all(step.state == InterventionState.DROPPED for step in steps):
            return f"{treatment.code}: every step was dropped, and no other is planned"
        return f"{treatment.code}: every step is done"
    if gate is not None and not gate["is_open"]:
        missing = gate["missing"]
        what = (
            f"{inside(missing[0]['words'])} is"
            if len(missing) == 1
            else f"{len(missing)} views are"
        )
        return f"{treatment.code}: step {following.step} may not start yet, {what} missing"
    return f"{treatment.code}: step {following.step} may start"


def _about(treatment: Treatment) -> list[dict[str, Any]]:
    planned = " to ".join(
        f"{day:%-d %b %Y}" for day in (treatment.planned_from, treatment.planned_to) if day
    )
    return [
        {"label": "Conservator", "value": str(treatment.conservator)},
        {"label": "Stands", "value": treatment.get_state_display()},
        {"label": "Planned", "value": planned or "no dates yet"},
        {"label": "Documented by", "value": _scope_words(treatment.scope)},
        {
            "label": "Counts for the catalogue",
            "value": "yes" if treatment.counts_for_catalogue else "no",
        },
    ]


def _scope_words(scope: Iterable[Sequence[Any]]) -> str:
    words = []
    for item in scope:
        technique, _, direction = str(item[0]).partition("-")
        words.append(view_words(technique, str(item[1]), direction))
    return "; ".join(words) or "nothing"
