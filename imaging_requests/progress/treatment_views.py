"""Pages of treatments and decisions, and the acts that people send from them."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Model, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.models import User
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in
from imaging_requests.progress import acts, acts_times
from imaging_requests.progress.emergencies import OWED, lacking_of
from imaging_requests.progress.filters import TreatmentFilter
from imaging_requests.progress.gate_page import gates_of_treatments
from imaging_requests.progress.policies import SEE_TREATMENTS
from imaging_requests.progress.treatment_forms import Refused, VersionForm
from imaging_requests.progress.treatment_page import treatment_context
from imaging_requests.requesting.words import numbers_of
from imaging_requests.treatments import actions as treatment_actions
from imaging_requests.treatments.forms import (
    EmergencyForm,
    FinishForm,
    IncidentForm,
    ReasonForm,
    StartForm,
    StepForm,
    TimesForm,
    TreatmentForm,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    Intervention,
    TimesProposal,
    Treatment,
)
from imaging_requests.treatments.policies import (
    COMPLETE_EMERGENCY,
    PLAN_TREATMENT,
    RECORD_INCIDENT,
    TREAT,
)
from imaging_requests.treatments.queries import treatments as all_treatments
from imaging_requests.treatments.queries import witnesses

PER_PAGE = 25


@requires(SEE_TREATMENTS)
@require_safe
def treatments(request: HttpRequest) -> HttpResponse:
    """List treatments with the gate of their next step."""
    queryset = all_treatments().annotate(
        open_cases=Count(
            "interventions__decision_cases",
            filter=Q(interventions__decision_cases__state=DecisionCase.State.OPEN),
            distinct=True,
        )
    )
    found = TreatmentFilter(request.GET, queryset=queryset, request=request)
    page = Paginator(found.qs.order_by("planned_from", "pk"), PER_PAGE).get_page(
        request.GET.get("page")
    )
    rows = list(page.object_list)
    gates = gates_of_treatments(rows)
    numbers = numbers_of([row.object_id for row in rows])
    shut = sum(gate["is_shut"] for gate in gates.values())
    context = {
        "answer": f"{shut} gate{'s are' if shut != 1 else ' is'} shut"
        if shut
        else "No gate is shut",
        "filter": found,
        "page": page,
        "total": Treatment.objects.count(),
        "clear_href": request.path if request.GET else "",
        "rows": [
            {
                "treatment": row,
                "number": numbers[row.object_id],
                "open_cases": row.open_cases,
                **gates[row.pk],
            }
            for row in rows
        ],
    }
    return render(request, "progress/treatments.html", context)


@requires(SEE_TREATMENTS)
@require_safe
def treatment(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a treatment: may the next step start, what will each step change, what is to decide."""
    found = get_object_or_404(all_treatments(), pk=pk)
    context = treatment_context(found, user=signed_in(request))
    return render(request, "progress/treatment.html", context)


@requires(PLAN_TREATMENT)
@require_http_methods(["GET", "POST"])
def treatment_new(request: HttpRequest, object_pk: int) -> HttpResponse:
    """Plan a treatment of an object."""
    thing = get_object_or_404(CollectionObject, pk=object_pk)
    form = TreatmentForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            planned = treatment_actions.plan_treatment(
                actor=signed_in(request), object_id=thing.pk, **form.cleaned_data
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{planned.code} is planned. Add its steps now.")
            return redirect("progress:treatment", pk=planned.pk)
    context = {
        "form": form,
        "sub": f"{numbers_of([thing.pk])[thing.pk]}, {thing.title}",
        "answer": "Plan a treatment",
        "button": "Plan it",
    }
    return render(request, "progress/register.html", context, status=422 if form.errors else 200)


@requires(RECORD_INCIDENT)
@require_http_methods(["GET", "POST"])
def incident_new(request: HttpRequest, object_pk: int) -> HttpResponse:
    """Record that something happened to an object."""
    thing = get_object_or_404(CollectionObject, pk=object_pk)
    form = IncidentForm(request.POST or None)
    warnings: tuple[str, ...] = ()
    if request.method == "POST" and form.is_valid() and "seen" not in request.POST:
        warnings = acts.incident_sentences(
            thing.pk, occurred_at=form.cleaned_data["occurred_at"], now=timezone.now()
        )
    if warnings:
        _ask_again(form, request)
    elif request.method == "POST" and form.is_valid():
        values = dict(form.cleaned_data)
        try:
            acts.record_incident(
                actor=signed_in(request),
                object_id=thing.pk,
                assigned_to_id=values.pop("assigned_to").pk,
                **values,
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "Recorded. What it puts in doubt waits for a conservator.")
            return redirect("progress:object", pk=thing.pk)
    context = {
        "form": form,
        "sub": f"{numbers_of([thing.pk])[thing.pk]}, {thing.title}",
        "answer": "Record an incident",
        "button": "Record it",
        "warnings": warnings,
    }
    status = 422 if form.errors or warnings else 200
    return render(request, "progress/register.html", context, status=status)


#: What the version in a form belongs to, by the name of the act; all others belong to treatments.
SUBJECTS: dict[str, type[Model]] = {
    "emergency": Intervention,
    **dict.fromkeys(("start", "finish", "correct", "take-back", "edit", "drop"), Intervention),
    **dict.fromkeys(("countersign", "decline"), TimesProposal),
}


def _step_form(name: str, step: Intervention, request: HttpRequest) -> forms.Form:
    user = signed_in(request)
    if name == "start":
        return StartForm(request.POST, actor=user, gate_is_open=False)
    if name == "finish":
        return FinishForm(request.POST)
    if name == "correct":
        return TimesForm(request.POST, step=step)
    if name == "edit":
        return StepForm(request.POST, now=timezone.now())
    if name in ("drop", "take-back"):
        return ReasonForm(request.POST)
    raise Http404


def _exact(typed: datetime, now: datetime) -> datetime:
    """Return the present instant for a time typed as the present minute.

    Forms take minutes; a picture accepted some seconds ago must not count as too late.
    """
    return now if now - timedelta(minutes=1) < typed <= now else typed


def _kept(typed: datetime, recorded: datetime | None) -> datetime:
    """Return the recorded instant for a time left at its minute: the form shows no seconds."""
    if recorded is not None and typed == recorded.replace(second=0, microsecond=0):
        return recorded
    return typed


def _times_of(step: Intervention, values: dict[str, Any]) -> dict[str, Any]:
    """Return the times that a form gives a step; a start that it does not ask for stays."""
    typed = {name: values.get(name) for name in ("started_at", "finished_at")}
    kept = {
        name: _kept(instant, getattr(step, name)) if instant is not None else None
        for name, instant in typed.items()
    }
    return kept | {"started_at": kept["started_at"] or step.started_at}


def _run_step(name: str, user: User, step: Intervention, form: forms.Form) -> str:
    values = form.cleaned_data
    now = timezone.now()
    common: dict[str, Any] = {
        "actor": user,
        "intervention_id": step.pk,
        "read_version": values["read_version"],
    }
    if name == "start" and isinstance(form, StartForm):
        started_at = _exact(values["started_at"], now)
        acts.start_step(**common, started_at=started_at, emergency=form.emergency(), now=now)
        return f"Step {step.step} has started."
    if name == "finish":
        acts.finish_step(**common, finished_at=_exact(values["finished_at"], now), now=now)
        return f"Step {step.step} is finished. What it changed is marked everywhere."
    if name == "correct":
        acts_times.propose_step_times(
            **common,
            **_times_of(step, values),
            reason=values["reason"],
            now=now,
        )
        return (
            f"Other times for step {step.step} are proposed. Nothing changes until the imaging "
            "lead countersigns."
        )
    if name == "edit" and isinstance(form, StepForm):
        treatment_actions.edit_intervention(**common, **form.values())
        return f"The plan of step {step.step} is changed."
    if name == "take-back":
        treatment_actions.take_back_start(**common, reason=values["reason"])
        return f"Step {step.step} is planned again. Its start stays in the history as taken back."
    treatment_actions.drop_intervention(**common, reason=values["reason"])
    return f"Step {step.step} is dropped."


@requires(TREAT)
@require_POST
def step_act(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    """Start, finish, change or drop a step, propose other times for it, take its start back."""
    step = get_object_or_404(Intervention.objects.select_related("treatment"), pk=pk)
    form = _step_form(act, step, request)
    preview = _warnings(act, step, form, request)
    if form.is_valid() and not preview:
        try:
            said = _run_step(act, signed_in(request), step, form)
        except StaleWrite as error:
            return again(request, step.treatment_id, act, step.pk, form, error)
        except DomainError as error:
            return again(request, step.treatment_id, act, step.pk, form, error)
        messages.success(request, said)
        return redirect("progress:treatment", pk=step.treatment_id)
    return again(request, step.treatment_id, act, step.pk, form, None, warnings=preview)


@requires(COMPLETE_EMERGENCY)
@require_POST
def emergency(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what an emergency start owes: the name of its witness, where its record picture is."""
    step = get_object_or_404(
        Intervention.objects.select_related("override__conservator"),
        pk=pk,
        override__isnull=False,
    )
    override, treatment_id = step.override, step.treatment_id
    # What another window filled meanwhile stays in the form that was sent: nothing typed is lost.
    asked = tuple(name for name in OWED if name in request.POST) or lacking_of(override)
    form = EmergencyForm(request.POST, witnesses=witnesses(override.conservator), lacking=asked)
    if not form.is_valid():
        return again(request, treatment_id, "emergency", pk, form, None)
    named = form.cleaned_data.get("witness")
    try:
        treatment_actions.complete_emergency(
            actor=signed_in(request),
            override_id=override.pk,
            witness_id=named.pk if named is not None else None,
            record_picture=form.cleaned_data.get("record_picture", ""),
        )
    except DomainError as error:
        return again(request, treatment_id, "emergency", pk, form, error)
    messages.success(request, "Recorded with the emergency start.")
    return redirect("progress:treatment", pk=treatment_id)


def _warnings(
    act: str, step: Intervention, form: forms.Form, request: HttpRequest
) -> tuple[str, ...]:
    """List what corrected or backdated times change, once, before they are saved."""
    asks = act in ("start", "correct", "finish", "take-back")
    if not asks or not form.is_valid() or "seen" in request.POST:
        return ()
    if act == "take-back":
        nothing = {"started_at": None, "finished_at": None}
        return acts.correction_sentences(step, **nothing, now=timezone.now(), is_correction=True)
    times = _times_of(step, form.cleaned_data)
    started_at, finished_at = times["started_at"], times["finished_at"]
    if started_at and finished_at and finished_at < started_at:
        return ()  # refused when it is run; what it would change means nothing
    return acts.correction_sentences(
        step,
        **times,
        now=timezone.now(),
        is_correction=act == "correct",
    )


def _ask_again(form: forms.Form, request: HttpRequest) -> None:
    """Let a form be sent once more, now that what it changes was shown."""
    form.fields["seen"] = forms.BooleanField(widget=forms.HiddenInput, initial=True)
    form.data = {**request.POST.dict(), "seen": "yes"}


def again(
    request: HttpRequest,
    treatment_id: int,
    name: str,
    subject_id: int,
    form: forms.Form,
    error: DomainError | None,
    *,
    warnings: tuple[str, ...] = (),
) -> HttpResponse:
    """Show the treatment again with the form that was refused, nothing of it lost."""
    differences: tuple[tuple[str, str, str], ...] = ()
    status = 422
    if error is not None:
        field = error.data.get("field")
        form.add_error(field if field in form.fields else None, str(error))
        status = error.status
    if isinstance(error, StaleWrite):
        differences = tuple(error.differences)
        form.data = {**request.POST.dict(), "read_version": _version_now(name, subject_id)}
    if warnings:
        _ask_again(form, request)
    found = get_object_or_404(all_treatments(), pk=treatment_id)
    refused = Refused(
        name=name,
        subject_id=subject_id,
        form=form,
        differences=differences,
        warnings=warnings,
        reason=error.message if error is not None else "",
    )
    context = treatment_context(found, user=signed_in(request), refused=refused)
    return render(request, "progress/treatment.html", context, status=status)


def _version_now(name: str, subject_id: int) -> int:
    version: int = (
        SUBJECTS.get(name, Treatment)
        ._default_manager.values_list("row_version", flat=True)
        .get(pk=subject_id)
    )
    return version


def _treatment_form(name: str, request: HttpRequest) -> forms.Form:
    if name == "add":
        return StepForm(request.POST, now=timezone.now())
    if name in ("pause", "drop-treatment"):
        return ReasonForm(request.POST)
    if name in ("sign-off", "resume"):
        return VersionForm(request.POST)
    raise Http404


def _run_treatment(name: str, user: User, found: Treatment, form: forms.Form) -> str:
    common: dict[str, Any] = {
        "actor": user,
        "treatment_id": found.pk,
        "read_version": form.cleaned_data["read_version"],
    }
    if name == "add" and isinstance(form, StepForm):
        step = treatment_actions.add_intervention(**common, **form.values())
        return f"Step {step.step} is planned."
    if name == "pause":
        treatment_actions.pause_treatment(**common, reason=form.cleaned_data["reason"])
        return f"{found.code} is paused."
    if name == "drop-treatment":
        treatment_actions.drop_treatment(**common, reason=form.cleaned_data["reason"])
        return f"{found.code} is dropped."
    if name == "resume":
        treatment_actions.resume_treatment(**common)
        return f"{found.code} goes on."
    treatment_actions.sign_off_treatment(**common)
    return f"{found.code} is signed off."


@requires(TREAT)
@require_POST
def treatment_act(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    """Add a step, pause, resume, drop or sign off."""
    found = get_object_or_404(Treatment, pk=pk)
    form = _treatment_form(act, request)
    if not form.is_valid():
        return again(request, pk, act, pk, form, None)
    try:
        said = _run_treatment(act, signed_in(request), found, form)
    except DomainError as error:
        return again(request, pk, act, pk, form, error)
    messages.success(request, said)
    return redirect("progress:treatment", pk=pk)
