"""Pages of campaigns and of planning sessions."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.campaigns import actions, queries
from imaging_requests.campaigns.bookings import helpers_of
from imaging_requests.campaigns.campaign_page import campaign_context, questions
from imaging_requests.campaigns.filters import CampaignFilter, PickFilter
from imaging_requests.campaigns.forms import (
    CampaignForm,
    PickForm,
    SessionForm,
    WordsForm,
    add_refusal,
)
from imaging_requests.campaigns.models import Campaign, Session
from imaging_requests.campaigns.pick_page import pick_context
from imaging_requests.campaigns.policies import PLAN, SEE_CAMPAIGNS, SIGN_LIMIT
from imaging_requests.campaigns.session_page import (
    cancel_answer,
    may_cancel,
    session_context,
)
from imaging_requests.campaigns.taken import taken_views
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.policies import may, requires
from imaging_requests.people.requests import signed_in, whole_number

PER_PAGE = 50


def _session(pk: int) -> Session:
    session = queries.session_of(pk)
    if session is None:
        raise Http404
    return session


def read_version(request: HttpRequest) -> int:
    """The version that a form without a form class read; 0 if it did not say."""
    return whole_number(request.POST.get("read_version")) or 0


@requires(SEE_CAMPAIGNS)
@require_safe
def campaigns(request: HttpRequest) -> HttpResponse:
    """List campaigns, the newest first."""
    found = CampaignFilter(request.GET, queryset=queries.campaign_list(), request=request)
    page = Paginator(found.qs, PER_PAGE).get_page(request.GET.get("page"))
    running = [row for row in page.object_list if _is_running(row)]
    context = {
        "filter": found,
        "page": page,
        "shown": page.paginator.count,
        "total": Campaign.objects.count(),
        "clear_href": request.path if request.GET else "",
        "questions": questions(),
        "may_plan": may(signed_in(request), PLAN),
        "answer": f"Now running: {', '.join(row.name for row in running)}"
        if running
        else "No campaign is running today",
    }
    return render(request, "campaigns/campaigns.html", context)


def _is_running(campaign: Campaign) -> bool:
    return campaign.starts_on <= timezone.localdate() <= campaign.ends_on


@requires(SEE_CAMPAIGNS)
@require_safe
def campaign(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a campaign: its sessions by day and station."""
    found = get_object_or_404(Campaign.objects.select_related("protocol"), pk=pk)
    context = campaign_context(found, signed_in(request))
    return render(request, "campaigns/campaign.html", context)


@requires(PLAN)
@require_http_methods(["GET", "POST"])
def campaign_new(request: HttpRequest) -> HttpResponse:
    """Open a campaign."""
    form = CampaignForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.create_campaign(actor=signed_in(request), **form.cleaned_data)
        except DomainError as error:
            add_refusal(form, error)
        else:
            return redirect("campaigns:campaign", pk=made.pk)
    status = 422 if form.errors else 200
    return render(request, "campaigns/campaign_new.html", {"form": form}, status=status)


@requires(SEE_CAMPAIGNS)
@require_safe
def session(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a session: its lines, what stands against it, what may be done."""
    found, user = _session(pk), signed_in(request)
    context = session_context(found, user, now=timezone.now())
    context["may_cancel"] = may_cancel(found, user)
    return render(request, "campaigns/session.html", context)


def _planned(form: SessionForm) -> dict[str, Any]:
    """What a valid session form says, as the actions take it."""
    starts_at, ends_at = form.span()
    data = form.cleaned_data
    return {
        "station_id": data["station"].pk,
        "photographer_id": data["photographer"].pk,
        "starts_at": starts_at,
        "ends_at": ends_at,
        "helper_ids": [person.pk for person in data["helpers"]],
        "handlers": data["handlers"],
        "note": data["note"],
    }


@requires(PLAN)
@require_http_methods(["GET", "POST"])
def session_new(request: HttpRequest, campaign_pk: int) -> HttpResponse:
    """Plan a session as a draft; its lines are picked next."""
    of = get_object_or_404(Campaign, pk=campaign_pk)
    form = SessionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.plan_session(
                actor=signed_in(request), campaign_id=campaign_pk, **_planned(form)
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "The slot is held. Pick what is shot in it.")
            return redirect("campaigns:session_pick", pk=made.pk)
    context = {"form": form, "campaign": of, "answer": "When, where and by whom?"}
    status = 422 if form.errors else 200
    return render(request, "campaigns/session_form.html", context, status=status)


@requires(PLAN)
@require_http_methods(["GET", "POST"])
def session_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change when, where and by whom; a stale form shows what differs and keeps what was typed."""
    found = _session(pk)
    form = SessionForm(
        request.POST or None, initial=SessionForm.initial_of(found, helpers_of(found))
    )
    differences: list[tuple[str, str, str]] = []
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            read = form.cleaned_data["read_version"] or 0
            try:
                actions.edit_session(
                    actor=signed_in(request), session_id=pk, read_version=read, **_planned(form)
                )
            except StaleWrite as error:
                add_refusal(form, error)
                data = request.POST.copy()
                data["read_version"] = str(_session(pk).row_version)
                form.data = data
                differences, status = error.differences, error.status
            except DomainError as error:
                add_refusal(form, error)
            else:
                messages.success(request, "The session is changed.")
                return redirect("campaigns:session", pk=pk)
    context = {
        "form": form,
        "session": found,
        "campaign": found.campaign,
        "differences": differences,
        "answer": "Change this session",
    }
    return render(request, "campaigns/session_form.html", context, status=status)


@requires(PLAN)
@require_http_methods(["GET", "POST"])
def session_pick(request: HttpRequest, pk: int) -> HttpResponse:
    """Fill a session from the open views, with a running total."""
    found = _session(pk)
    filtered = PickFilter(request.GET, queryset=queries.views_to_plan(found), request=request)
    typed = (whole_number(value) for value in request.POST.getlist("views"))
    ticked = {pk for pk in typed if pk is not None}
    context = pick_context(
        found, filtered, page=request.GET.get("page"), ticked=ticked, now=timezone.now()
    )
    missing = ticked.difference(context["view_ids"])
    elsewhere = set(filtered.qs.filter(pk__in=missing).values_list("pk", flat=True)) & missing
    taken = taken_views(missing - elsewhere, found)
    form = PickForm(
        request.POST or None,
        view_ids=[*context["view_ids"], *elsewhere],
        initial={"read_version": found.row_version},
    )
    counting = "count" in request.POST
    if request.method == "POST" and not counting and not taken and form.is_valid():
        try:
            made = actions.add_owed_views(
                actor=signed_in(request),
                session_id=pk,
                read_version=form.cleaned_data["read_version"],
                owed_view_ids=form.cleaned_data["views"],
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            lines = "1 line" if len(made) == 1 else f"{len(made)} lines"
            messages.success(request, f"{lines} added.")
            return redirect("campaigns:session", pk=pk)
    refused = request.method == "POST" and not counting
    context |= {"form": form, "taken": taken, "show_errors": refused and not taken}
    status = 422 if refused else 200
    return render(request, "campaigns/pick.html", context, status=status)


@requires(PLAN)
@require_http_methods(["GET", "POST"])
def session_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel a session with the reason that its people read."""
    found = _session(pk)
    form = WordsForm(request.POST or None, initial={"read_version": found.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            actions.cancel_session(
                actor=signed_in(request),
                session_id=pk,
                read_version=form.cleaned_data["read_version"] or 0,
                reason=form.cleaned_data["words"],
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Cancelled; its views are open again.")
            return redirect("campaigns:campaign", pk=found.campaign_id)
    context = {"form": form, "session": found, "answer": cancel_answer(found)}
    status = 422 if form.errors else 200
    return render(request, "campaigns/session_cancel.html", context, status=status)


@requires(PLAN)
@require_POST
def session_confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm a draft."""
    actions.confirm_session(
        actor=signed_in(request), session_id=pk, read_version=read_version(request)
    )
    messages.success(request, "Confirmed; the photographer is told.")
    return redirect("campaigns:session", pk=pk)


@requires(PLAN)
@require_POST
def line_drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a line out of a plan."""
    left = actions.drop_shot_line(
        actor=signed_in(request), line_id=pk, read_version=read_version(request)
    )
    messages.success(request, "The line is out; its views are open again.")
    return redirect("campaigns:session", pk=left.pk)


@requires(PLAN)
@require_POST
def line_keep(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a line that nobody asks for any more."""
    kept = actions.keep_line(
        actor=signed_in(request),
        line_id=pk,
        read_version=read_version(request),
        reason=request.POST.get("words", ""),
    )
    messages.success(request, "The line is kept.")
    return redirect("campaigns:session", pk=kept.session_id)


@requires(SIGN_LIMIT)
@require_POST
def limit_sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign for a limit that a session passes."""
    subject = whole_number(request.POST.get("object"))
    if subject is None:
        raise Http404
    actions.sign_limit(
        actor=signed_in(request),
        session_id=pk,
        read_version=read_version(request),
        check_code=request.POST.get("check", ""),
        object_id=subject,
        face=request.POST.get("face", ""),
        reason=request.POST.get("words", ""),
    )
    messages.success(request, "Signed.")
    return redirect("campaigns:session", pk=pk)
