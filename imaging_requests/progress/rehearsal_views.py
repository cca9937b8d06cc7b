"""The page's act of rehearsing a draft of the rules."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in
from imaging_requests.progress.rehearsal_work import rehearse as rehearse_draft
from imaging_requests.protocols.forms import VersionStepForm
from imaging_requests.protocols.models import Rehearsal
from imaging_requests.protocols.policies import REHEARSE
from imaging_requests.protocols.queries import version


@requires(REHEARSE)
@require_POST
def rehearse(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Work out what a draft would change, at once or in the background."""
    row = version(kind, pk)
    form = VersionStepForm(request.POST)
    read_version = form.cleaned_data["read_version"] if form.is_valid() else 0
    try:
        asked = rehearse_draft(
            actor=signed_in(request), kind=kind, pk=row.pk, read_version=read_version
        )
    except DomainError as error:
        messages.error(request, str(error))
    else:
        said = (
            "The rehearsal is done. Read below what the draft would change."
            if asked.state == Rehearsal.State.MADE
            else "The rehearsal is being worked out in the background. Load this page in a while."
        )
        messages.success(request, said)
    return redirect(f"{reverse('protocols:version', args=[kind, pk])}#rehearsal")
