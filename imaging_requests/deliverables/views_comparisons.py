"""What changed between two pictures: asking for it, looking at it, vouching for a retest."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from imaging_requests.deliverables import actions, policies
from imaging_requests.deliverables.forms import RetestForm
from imaging_requests.deliverables.models import Comparison, Deliverable
from imaging_requests.deliverables.pages_comparisons import comparison_context
from imaging_requests.intake import hidden
from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import demand, requires
from imaging_requests.people.requests import signed_in, whole_number


@requires(policies.COMPARE)
@require_POST
def compare_new(request: HttpRequest) -> HttpResponse:
    """Ask what changed between two pictures."""
    numbers = [whole_number(each) or 0 for each in request.POST.getlist("p")[:2]]
    pictures = [get_object_or_404(Deliverable, pk=number) for number in numbers]
    if len(pictures) < 2:
        raise Http404("Two pictures are needed.")
    try:
        made = actions.ask_for_comparison(
            actor=signed_in(request), one_id=pictures[0].pk, other_id=pictures[1].pk
        )
    except DomainError as error:
        messages.error(request, str(error))
        return redirect("deliverables:deliverable", pk=pictures[0].pk)
    return redirect("deliverables:comparison", pk=made.pk)


@requires(policies.READ_DELIVERABLES)
@require_safe
def comparison(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what changed between two pictures, or why that cannot be told."""
    return _page(request, _row(request, pk), RetestForm())


@requires(policies.READ_DELIVERABLES)
@require_safe
def picture(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Send the drawn comparison; its sentence is part of the picture."""
    row = _found(pk)
    longest_px = max(row.width_px, row.height_px)
    for each in (row.before, row.after):
        if (closed := hidden.refusal(request, each, longest_px=longest_px)) is not None:
            return closed
    path = Path(settings.DERIVED_DIR) / row.picture
    if not row.picture or not path.is_file():
        raise Http404("This comparison is not drawn.")
    answer = FileResponse(path.open("rb"), content_type="image/png")
    answer["ETag"] = f'"{row.recipe[:32]}"'
    answer["Cache-Control"] = "private, no-cache"
    return answer


@requires(policies.VOUCH_RETEST)
@require_POST
def retest(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the pair as a test and retest pair of its station."""
    row = _row(request, pk)
    form = RetestForm(request.POST)
    if form.is_valid():
        try:
            made = actions.vouch_retest(
                actor=signed_in(request), comparison_id=pk, note=form.cleaned_data["note"]
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                f"Kept: differences under {made.floor:.1f} {made.unit} are noise at this station.",
            )
            return redirect("deliverables:comparison", pk=pk)
    return _page(request, row, form)


def _found(pk: int) -> Comparison:
    return get_object_or_404(
        Comparison.objects.select_related(
            "before__object", "after", "before__shot_line__session", "after__shot_line__session"
        ),
        pk=pk,
    )


def _row(request: HttpRequest, pk: int) -> Comparison:
    row = _found(pk)
    for each in (row.before, row.after):
        demand(signed_in(request), SEE_PICTURES, each)
    return row


def _page(request: HttpRequest, row: Comparison, form: RetestForm) -> HttpResponse:
    context: dict[str, Any] = comparison_context(row, user=signed_in(request), form=form)
    status = 422 if form.errors else 200
    return render(request, "deliverables/comparison.html", context, status=status)
