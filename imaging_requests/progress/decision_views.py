"""Pages of questions about older pictures: answered, asked again, handed to somebody else."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from imaging_requests.people.counting import noun_of
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in
from imaging_requests.progress.policies import SEE_TREATMENTS
from imaging_requests.progress.treatment_forms import Refused
from imaging_requests.progress.treatment_page import astray, case_rows
from imaging_requests.progress.treatment_views import PER_PAGE, again
from imaging_requests.treatments import actions as treatment_actions
from imaging_requests.treatments.forms import DecideForm, ReasonForm, ReassignForm
from imaging_requests.treatments.models import DecisionCase, Treatment
from imaging_requests.treatments.policies import DECIDE, REASSIGN, REOPEN_CASE
from imaging_requests.treatments.queries import cases as all_cases
from imaging_requests.treatments.queries import conservators


@requires(SEE_TREATMENTS)
@require_safe
def decisions(request: HttpRequest) -> HttpResponse:
    """Show the questions about older pictures, one's own open ones first."""
    return decisions_page(request)


def decisions_page(
    request: HttpRequest, refused: Refused | None = None, status: int = 200
) -> HttpResponse:
    """Lay out the open questions, or those that were answered, with what came back refused."""
    user = signed_in(request)
    is_decided = request.GET.get("show") == "decided"
    if is_decided:
        queue = all_cases().filter(state=DecisionCase.State.CLOSED).order_by("-opened_at", "-pk")
        mine = ""
    else:
        own = all_cases().filter(state=DecisionCase.State.OPEN, assigned_to=user)
        queue = own if own.exists() else all_cases().filter(state=DecisionCase.State.OPEN)
        mine = " of yours" if queue is own else ""
        queue = queue.order_by("opened_at", "pk")
    page = Paginator(queue, PER_PAGE).get_page(request.GET.get("page"))
    count = page.paginator.count
    rows = list(page.object_list)
    if refused is not None and refused.name != "decide":
        rows = [*all_cases().filter(pk=refused.subject_id), *rows]
        rows = list({row.pk: row for row in rows}.values())
    cases = case_rows(rows, user=user, people=list(conservators()), refused=refused)
    on_page = [row["form"] for row in cases] + [act.form for row in cases for act in row["acts"]]
    here = reverse("progress:decisions")
    context = {
        "answer": f"{count or 'No'} {noun_of(count, 'decision')}{mine} "
        f"{noun_of(count, 'is', 'are')} {'made' if is_decided else 'open'}",
        "sub": "Is an older picture still true after what was done to the object?",
        "actions": [{"label": "The open ones", "href": here}]
        if is_decided
        else [{"label": "Those that are made", "href": f"{here}?show=decided"}],
        "is_decided": is_decided,
        "cases": cases,
        "astray": astray(refused, on_page),
        "page": page,
    }
    return render(request, "progress/decisions.html", context, status=status)


@requires(DECIDE)
@require_POST
def decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer one question with a verdict and its reason."""
    case = get_object_or_404(DecisionCase, pk=pk)
    form = DecideForm(request.POST)
    status, reason = 422, ""
    if form.is_valid():
        try:
            treatment_actions.decide_case(actor=signed_in(request), case_id=pk, **form.cleaned_data)
        except DomainError as error:
            form.add_error(None, str(error))
            status, reason = error.status, error.message
        else:
            messages.success(request, "Decided. The statuses follow from it.")
            return redirect("progress:decisions")
    return decisions_page(request, Refused("decide", case.pk, form, reason=reason), status)


@requires(REOPEN_CASE)
@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask an answered question again."""
    form = ReasonForm(request.POST)
    return _case_act(request, pk, "reopen", form, "Reopened. It waits for an answer again.")


@requires(REASSIGN)
@require_POST
def hand_on(request: HttpRequest, pk: int) -> HttpResponse:
    """Give an open question to another conservator."""
    form = ReassignForm(request.POST, people=list(conservators()))
    return _case_act(request, pk, "hand-on", form, "Handed on. Both conservators are told.")


def _case_act(
    request: HttpRequest, pk: int, name: str, form: forms.Form, said: str
) -> HttpResponse:
    case = get_object_or_404(DecisionCase, pk=pk)
    action = treatment_actions.reopen_case if name == "reopen" else treatment_actions.reassign_case
    status, reason = 422, ""
    differences: tuple[tuple[str, str, str], ...] = ()
    if form.is_valid():
        try:
            action(actor=signed_in(request), case_id=pk, **form.cleaned_data)
        except DomainError as error:
            form.add_error(error.data.get("field"), str(error))
            status, reason = error.status, error.message
            if isinstance(error, StaleWrite):
                case.refresh_from_db()
                differences = tuple(error.differences)
                form.data = {**request.POST.dict(), "read_version": case.row_version}
        else:
            messages.success(request, said)
            return redirect("progress:decisions")
    refused = Refused(name, pk, form, differences=differences, reason=reason)
    return decisions_page(request, refused, status)


@requires(REASSIGN)
@require_POST
def treatment_reassign(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a treatment with its open questions to another conservator."""
    treatment = get_object_or_404(Treatment, pk=pk)
    form = ReassignForm(request.POST, people=list(conservators()))
    if not form.is_valid():
        return again(request, pk, "reassign", pk, form, None)
    try:
        given = treatment_actions.reassign_treatment(
            actor=signed_in(request), treatment_id=pk, **form.cleaned_data
        )
    except DomainError as error:
        return again(request, pk, "reassign", pk, form, error)
    messages.success(
        request, f"{treatment.code} is {given.conservator.name}'s now, with its open questions."
    )
    return redirect("progress:treatment", pk=pk)
