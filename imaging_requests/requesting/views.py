"""Pages of requests: the list, one request, putting one together, the lead's triage."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import READ, requires
from imaging_requests.people.requests import signed_in, whole_number
from imaging_requests.requesting import actions, queries
from imaging_requests.requesting.filters import RequestFilter
from imaging_requests.requesting.forms import TICKS, AnswerForm, LinesForm, WishForm, add_refusal
from imaging_requests.requesting.models import Request
from imaging_requests.requesting.overlaps import WishedView, find_overlaps
from imaging_requests.requesting.policies import ASK, TRIAGE
from imaging_requests.requesting.request_page import request_context
from imaging_requests.requesting.triage_page import triage_context
from imaging_requests.requesting.wish_page import (
    choose_context,
    chosen_objects,
    review_context,
    wish_context,
)

PER_PAGE = 50


@requires(READ)
@require_safe
def requests(request: HttpRequest) -> HttpResponse:
    """List requests, newest first."""
    everything = queries.request_list()
    found = RequestFilter(request.GET, queryset=everything, request=request)
    page = Paginator(found.qs, PER_PAGE).get_page(request.GET.get("page"))
    open_own = queries.open_wishes_of(signed_in(request))
    context = {
        "filter": found,
        "page": page,
        "shown": page.paginator.count,
        "total": Request.objects.count(),
        "clear_href": request.path if request.GET else "",
        "answer": f"{open_own} wish{'' if open_own == 1 else 'es'} of yours under way"
        if open_own
        else "No wish of yours is under way",
    }
    return render(request, "requesting/requests.html", context)


@requires(READ)
@require_safe
def request(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one request: where each wish stands and what it waits for."""
    wish = get_object_or_404(Request.objects.select_related("requester"), pk=pk)
    context = request_context(wish, user=signed_in(request))
    return render(request, "requesting/request.html", context)


@requires(ASK)
@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take ticked lines of a request back."""
    wish = get_object_or_404(Request, pk=pk)
    form = LinesForm(request.POST, line_ids=list(wish.lines.values_list("pk", flat=True)))
    if form.is_valid():
        left = actions.withdraw_lines(actor=signed_in(request), read_versions=form.read_versions())
        messages.success(request, f"Withdrawn. {left.sentence}")
    else:
        messages.error(request, "No line was ticked, so nothing was withdrawn.")
    return redirect("requesting:request", pk=pk)


@requires(ASK)
@require_POST
def follow(request: HttpRequest, pk: int) -> HttpResponse:
    """Let the waiting lines of a request follow the entry's objects of today."""
    read = whole_number(request.POST.get("read_version"))
    entry = whole_number(request.POST.get("entry"))
    if read is None or entry is None:
        raise Http404
    actions.follow_entry(actor=signed_in(request), request_id=pk, entry_id=entry, read_version=read)
    messages.success(request, "The lines follow the entry's objects of today.")
    return redirect("requesting:request", pk=pk)


@requires(ASK)
@require_http_methods(["GET", "POST"])
@vary_on_headers("HX-Request")
def request_new(request: HttpRequest) -> HttpResponse:
    """Put a request together: choose objects, wish, see what is there, file."""
    data = request.POST if request.method == "POST" else request.GET
    chosen = chosen_objects(data)
    is_choosing = "choose" in data and "go" not in data
    if request.method == "GET" and (not chosen or is_choosing):
        part = getattr(request, "htmx", False)
        template = "requesting/found.html" if part else "requesting/choose.html"
        return render(request, template, choose_context(data, signed_in(request)))
    wanted = {"views": [value for value in data.getlist("views") if value in TICKS]}
    region = {name: data[name] for name in ("region_face", *WishForm.REGION) if name in data}
    form = WishForm(request.POST or None, objects=chosen, initial=wanted | region)
    if request.method == "GET" or "back" in data:
        return render(request, "requesting/wish.html", wish_context(form))
    if not form.is_valid():
        return render(request, "requesting/wish.html", wish_context(form), status=422)
    return _review_or_file(request, form)


def _review_or_file(request: HttpRequest, form: WishForm) -> HttpResponse:
    """Show what is there already, or file when that has been seen."""
    try:
        wishes = actions.check_wishes(form.wishes(), now=timezone.now())
    except DomainError as error:
        add_refusal(form, error)
        return render(request, "requesting/wish.html", wish_context(form), status=422)
    if "file" in request.POST:
        try:
            filed = _file(request, form, wishes)
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, f"{filed.number} is filed.")
            return redirect("requesting:request", pk=filed.pk)
    context = review_context(form, wishes, find_overlaps(wishes))
    status = 422 if form.errors else 200
    return render(request, "requesting/review.html", context, status=status)


def _file(request: HttpRequest, form: WishForm, wishes: Sequence[WishedView]) -> Request:
    data = form.cleaned_data
    return actions.file_request(
        actor=signed_in(request),
        purpose=data["purpose"],
        why=data["why"],
        wanted_by=data["wanted_by"],
        lines=wishes,
        counts_for_catalogue=data["counts_for_catalogue"],
        use_rights=data["use_rights"],
    )


@requires(TRIAGE)
@require_http_methods(["GET", "POST"])
def triage(request: HttpRequest) -> HttpResponse:
    """Answer waiting wishes, object by object."""
    user = signed_in(request)
    if request.method == "GET":
        return render(request, "requesting/triage.html", triage_context(user))
    ids = [line.pk for line in queries.waiting_lines()]
    form = AnswerForm(request.POST, line_ids=ids, auto_id=f"id_{request.POST.get('object')}_%s")
    if form.is_valid():
        try:
            done = _answer(request, form)
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, done)
            return redirect("requesting:triage")
    context = triage_context(user, answered=form)
    return render(request, "requesting/triage.html", context, status=422)


def _answer(request: HttpRequest, form: AnswerForm) -> str:
    """Agree to or decline the ticked lines; says what was done."""
    user, versions = signed_in(request), form.read_versions()
    if form.cleaned_data["answer"] == "agree":
        lines = actions.agree_lines(
            actor=user, read_versions=versions, promised_on=form.cleaned_data["promised_on"]
        )
        return f"Agreed to {len(lines)} wish{'' if len(lines) == 1 else 'es'}."
    lines = actions.decline_lines(
        actor=user, read_versions=versions, reason=form.cleaned_data["reason"]
    )
    return f"Declined {len(lines)} wish{'' if len(lines) == 1 else 'es'}; the requester is told."
