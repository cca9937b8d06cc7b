"""Countersigning and declining proposed times of a step."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in
from imaging_requests.progress import acts_times
from imaging_requests.progress.treatment_forms import VersionForm
from imaging_requests.progress.treatment_views import again
from imaging_requests.treatments import actions as treatment_actions
from imaging_requests.treatments.forms import ReasonForm
from imaging_requests.treatments.models import TimesProposal
from imaging_requests.treatments.policies import COUNTERSIGN_TIMES


@requires(COUNTERSIGN_TIMES)
@require_POST
def times_act(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    """Countersign or decline proposed times of a step."""
    proposal = get_object_or_404(TimesProposal.objects.select_related("intervention"), pk=pk)
    if act not in ("countersign", "decline"):
        raise Http404
    form = (VersionForm if act == "countersign" else ReasonForm)(request.POST)
    treatment_id = proposal.intervention.treatment_id
    if not form.is_valid():
        return again(request, treatment_id, act, pk, form, None)
    common: dict[str, Any] = {
        "actor": signed_in(request),
        "proposal_id": pk,
        "read_version": form.cleaned_data["read_version"],
    }
    step = proposal.intervention.step
    try:
        if act == "countersign":
            acts_times.countersign_step_times(**common)
            said = f"Countersigned. The times of step {step} are corrected."
        else:
            treatment_actions.decline_times(**common, reason=form.cleaned_data["reason"])
            said = f"Declined. Step {step} keeps the times on record."
    except DomainError as error:
        return again(request, treatment_id, act, pk, form, error)
    messages.success(request, said)
    return redirect("progress:treatment", pk=treatment_id)
