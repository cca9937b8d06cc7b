"""Pages of the review queue, of one picture, and of packages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.deliverables import actions, pages, policies, queries, sheets
from imaging_requests.deliverables.filters import ReviewFilter
from imaging_requests.deliverables.forms import (
    AcceptForm,
    HandInForm,
    LoneWorkForm,
    RecallForm,
    RefuseForm,
    StartAgainForm,
    VersionForm,
    WordsForm,
)
from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.deliverables.owed import Owed, owed_by
from imaging_requests.intake import hidden
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.policies import may, requires, why_not
from imaging_requests.people.requests import signed_in

PER_PAGE = 50


@requires(policies.READ_REVIEWS)
@require_safe
def reviews(request: HttpRequest) -> HttpResponse:
    """List what waits for review, the oldest first."""
    now = timezone.now()
    queue = queries.review_queue()
    found = ReviewFilter(request.GET, queryset=queue, request=request)
    page = Paginator(found.qs, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "filter": found,
        "page": page,
        "rows": pages.queue_rows(page.object_list, now),
        "shown": page.paginator.count,
        "total": queue.count() if request.GET else page.paginator.count,
        "clear_href": request.path if request.GET else "",
        "may_allow": may(request.user, policies.ALLOW_LONE_WORK),
    }
    return render(request, "deliverables/reviews.html", context)


@requires(policies.READ_REVIEWS)
@require_http_methods(["GET", "POST"])
def review(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a picture with its checks and facts, and take a reviewer's decision."""
    row = pages.picture(pk)
    owed = owed_by(row) if row.state == DeliverableState.TO_REVIEW else []
    accepting, refusing = _review_forms(request, row, owed)
    chosen = refusing if request.POST.get("decision") == "send_back" else accepting
    if request.method == "POST" and chosen.is_valid():
        try:
            said = _decide(request, row, chosen)
        except DomainError as error:
            _refuse(chosen, error)
            row = pages.picture(pk)
        else:
            following = queries.next_in_queue(row)
            messages.success(request, f"{said} {'Next in the queue:' if following else ''}".strip())
            return _on_to(following)
    context = pages.review_context(
        row, user=signed_in(request), frame=request.GET.get("frame", ""), now=timezone.now()
    )
    context |= {"owed": owed, "accepting": accepting, "refusing": refusing, "chosen": chosen}
    status = 422 if chosen.errors else 200
    return render(request, "deliverables/review.html", context, status=status)


def _review_forms(
    request: HttpRequest, row: Deliverable, owed: Sequence[Owed]
) -> tuple[AcceptForm, RefuseForm]:
    is_refusal = request.POST.get("decision") == "send_back"
    initial = {"read_version": row.row_version}
    accepting = AcceptForm(
        None if is_refusal else (request.POST or None),
        initial=initial,
        may_override=not why_not(request.user, policies.OVERRIDE_CHECK, row)
        and (bool(queries.failures(row)) or any(each.failed_because for each in owed)),
        auto_id="id_accept_%s",
    )
    refusing = RefuseForm(
        request.POST if is_refusal else None,
        initial=initial,
        numbers=queries.numbers(timezone.now()),
        auto_id="id_refuse_%s",
    )
    return accepting, refusing


def _decide(request: HttpRequest, row: Deliverable, form: AcceptForm | RefuseForm) -> str:
    values = form.cleaned_data
    common: dict[str, Any] = {
        "actor": signed_in(request),
        "deliverable_id": row.pk,
        "read_version": values["read_version"],
        "note": values["note"],
    }
    if isinstance(form, RefuseForm):
        actions.send_back(**common, reasons=values["reasons"])
        return f"{row} of {queries.number_of(row)} is sent back."
    actions.accept(**common, override_reason=values.get("override_reason", ""))
    return f"{row} of {queries.number_of(row)} is accepted."


def _refuse(form: VersionForm, error: DomainError) -> None:
    form.add_error(None, str(error))
    if isinstance(error, StaleWrite):
        for label, now_there, wanted in error.differences:
            form.add_error(None, f"{label}: stands at “{now_there}”, you wrote “{wanted}”.")


def _on_to(following: Deliverable | None) -> HttpResponse:
    if following is None:
        return redirect("deliverables:reviews")
    return redirect("deliverables:review", pk=following.pk)


@requires(policies.READ_DELIVERABLES)
@require_safe
def deliverable(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one picture with its versions, frames, reviews and packages."""
    row = pages.picture(pk)
    return _deliverable_page(request, row)


@requires(policies.READ_DELIVERABLES)
@require_safe
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the small picture of a deliverable of several frames."""
    row = pages.picture(pk)
    if (closed := hidden.refusal(request, row, longest_px=sheets.LONGEST_SIDE_PX)) is not None:
        return closed
    found = sheets.sheet_of(row)
    if not found.cells:
        raise Http404("None of its small pictures is made yet.")
    etag = f'"{found.etag}"'
    if request.headers.get("If-None-Match") == etag:
        answer = HttpResponse(status=304)
    else:
        answer = HttpResponse(sheets.draw_sheet(found.cells), content_type="image/jpeg")
    answer["ETag"] = etag
    answer["Cache-Control"] = "private, no-cache"
    return answer


def _deliverable_page(
    request: HttpRequest,
    row: Deliverable,
    *,
    recalling: RecallForm | None = None,
    rewording: WordsForm | None = None,
) -> HttpResponse:
    initial = {"read_version": row.row_version}
    now = timezone.now()
    context = pages.deliverable_context(row, user=signed_in(request), now=now) | {
        "hand_in": HandInForm(initial=initial, is_x_ray=row.technique == "XR"),
        "step": VersionForm(initial=initial),
        "beginning": StartAgainForm(
            initial=initial, is_asked_why=queries.must_be_shot_again(row), auto_id="id_begin_%s"
        ),
        "recall": recalling or RecallForm(initial=initial, numbers=queries.numbers(now)),
        "rewording": rewording or WordsForm(initial=initial, auto_id="id_words_%s"),
    }
    status = 422 if recalling or rewording else 200
    return render(request, "deliverables/deliverable.html", context, status=status)


def _step(
    request: HttpRequest,
    pk: int,
    act: Callable[..., Deliverable],
    said: str,
    *,
    form: VersionForm | None = None,
) -> HttpResponse:
    """Take one step of a picture; a refusal is said on its page, where the person looks."""
    target = pages.picture(pk)
    form = form or HandInForm(request.POST, is_x_ray="polarity" in request.POST)
    if not form.is_valid():
        messages.error(request, "The form could not be read. Load the page again.")
        return redirect("deliverables:deliverable", pk=pk)
    try:
        target = act(actor=signed_in(request), deliverable_id=pk, **form.cleaned_data)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, said)
    return redirect("deliverables:deliverable", pk=target.pk)


@requires(policies.HAND_IN)
@require_POST
def hand_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a picture before a reviewer."""
    return _step(request, pk, actions.hand_in, "Handed in; it waits for its review.")


@requires(policies.HAND_IN)
@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a picture back before anybody has decided."""
    return _step(request, pk, actions.take_back, "Taken back; it follows its frames again.")


@requires(policies.HAND_IN)
@require_POST
def start_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin the next version from the frames as they lie now."""
    return _step(
        request,
        pk,
        actions.start_again,
        "The next version is begun.",
        form=StartAgainForm(request.POST, is_asked_why=True),
    )


@requires(policies.RECALL)
@require_POST
def recall(request: HttpRequest, pk: int) -> HttpResponse:
    """Recall an accepted picture with its reasons."""
    row = pages.picture(pk)
    form = RecallForm(request.POST, numbers=queries.numbers(timezone.now()))
    if form.is_valid():
        try:
            actions.recall(actor=signed_in(request), deliverable_id=row.pk, **form.values())
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "Recalled; everybody who relied on it is told.")
            return redirect("deliverables:deliverable", pk=pk)
    return _deliverable_page(request, pages.picture(pk), recalling=form)


@requires(policies.CORRECT_WORDS)
@require_POST
def correct_words(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down the right words about an accepted picture."""
    row = pages.picture(pk)
    form = WordsForm(request.POST, auto_id="id_words_%s")
    if form.is_valid():
        try:
            actions.correct_words(
                actor=signed_in(request), deliverable_id=row.pk, **form.cleaned_data
            )
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "The right words stand beside the picture; it is as it was.")
            return redirect("deliverables:deliverable", pk=pk)
    return _deliverable_page(request, pages.picture(pk), rewording=form)


@requires(policies.ALLOW_LONE_WORK)
@require_http_methods(["GET", "POST"])
def lone_work(request: HttpRequest) -> HttpResponse:
    """Allow somebody who works alone to review own pictures, and list who was allowed."""
    actor = signed_in(request)
    form = LoneWorkForm(request.POST or None, actor=actor)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            actions.allow_lone_work(
                actor=actor,
                person_id=values["person"].pk,
                since=values["since"],
                until=values["until"],
                reason=values["reason"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{values['person']} may review own pictures meanwhile.")
            return redirect("deliverables:lone_work")
    now = timezone.now()
    lone, total = queries.reviews_of_month(now)
    context = {
        "form": form,
        "stretches": queries.lone_stretches(),
        "now": now,
        "lone": lone,
        "total": total,
        "share_percent": queries.numbers(now).lone_worker_share * 100,
        "queue": reverse("deliverables:reviews"),
        "waiting": DeliverableState.TO_REVIEW.label,
    }
    status = 422 if form.errors else 200
    return render(request, "deliverables/lone_work.html", context, status=status)
