"""Pages of corrections: what is being put right, whom it reached, who has confirmed."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.deliverables import actions, corrections, policies
from imaging_requests.deliverables.forms import CloseForm, ConfirmForm
from imaging_requests.deliverables.models import Correction, CorrectionNotice
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires, why_not
from imaging_requests.people.requests import signed_in
from imaging_requests.requesting.words import numbers_of

PER_PAGE = 50


@requires(policies.READ_DELIVERABLES)
@require_safe
def corrections_list(request: HttpRequest) -> HttpResponse:
    """List corrections, open ones first."""
    page = Paginator(corrections.listing(), PER_PAGE).get_page(request.GET.get("page"))
    numbers = numbers_of([row.deliverable.object_id for row in page])
    context = {
        "page": page,
        "rows": [
            {
                "row": row,
                "number": numbers[row.deliverable.object_id],
                "told": row.told,  # type: ignore[attr-defined]
                "waiting": row.told - row.confirmed,  # type: ignore[attr-defined]
            }
            for row in page
        ],
        "open": Correction.objects.filter(closed_at=None).count(),
    }
    return render(request, "deliverables/corrections.html", context)


@requires(policies.READ_DELIVERABLES)
@require_http_methods(["GET", "POST"])
def correction(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one correction; the lead can close it without another picture."""
    row = get_object_or_404(corrections.with_notices(), pk=pk)
    user = signed_in(request)
    form = CloseForm(request.POST or None, initial={"read_version": row.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            actions.close_correction(actor=user, correction_id=pk, **form.cleaned_data)
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The correction is closed.")
            return redirect("deliverables:correction", pk=pk)
    objects = [row.deliverable.object_id]
    objects += [row.meant_object_id] if row.meant_object_id is not None else []
    numbers = numbers_of(objects)
    context = {
        "row": row,
        "number": numbers[row.deliverable.object_id],
        "meant": numbers.get(row.meant_object_id) if row.meant_object_id else "",
        "notices": [
            {
                "row": notice,
                "who": notice.delivery.recipient if notice.delivery else notice.user,
                "may_confirm": not why_not(user, policies.CONFIRM_CORRECTION, notice),
                "is_own": notice.user_id == user.pk,
            }
            for notice in row.notices.all()
        ],
        "form": form,
        "close_not_because": why_not(user, policies.CLOSE_CORRECTION, row),
    }
    status = 422 if form.errors else 200
    return render(request, "deliverables/correction.html", context, status=status)


@requires(policies.CONFIRM_CORRECTION)
@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm that a correction was read."""
    notice = get_object_or_404(CorrectionNotice, pk=pk)
    form = ConfirmForm(request.POST)
    words = form.cleaned_data["words"] if form.is_valid() else ""
    try:
        actions.confirm_notice(actor=signed_in(request), notice_id=pk, words=words)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "Confirmed.")
    return redirect("deliverables:correction", pk=notice.correction_id)
