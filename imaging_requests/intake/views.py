"""Pages of drops, of the sorting table, and the small pictures."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from imaging_requests.campaigns.models import Session
from imaging_requests.intake import actions, hidden, pages, pages_sorting, queries
from imaging_requests.intake.actions.placing import Outcome
from imaging_requests.intake.filters import DropFilter, FrameFilter
from imaging_requests.intake.forms import (
    ClockForm,
    DropForm,
    MovedForm,
    UploadForm,
    moved_value,
    posted_frames,
)
from imaging_requests.intake.models import Arrival, Drop, Frame, Job
from imaging_requests.intake.policies import (
    ASK_AGAIN,
    CLEAR_REFUSED,
    PLACE,
    READ_DROPS,
    SEE_PICTURES,
    UPLOAD,
)
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import may, requires
from imaging_requests.people.requests import signed_in

DROPS_PER_PAGE = 40
DAY_S = 86_400
PICTURE_KINDS = ("256", "1024")


def _whole(text: str | None) -> int | None:
    return int(text) if text and text.isascii() and text.isdigit() else None


@requires(READ_DROPS)
@require_GET
def drops(request: HttpRequest) -> HttpResponse:
    """List drops, newest first, with what still needs a person."""
    chosen = DropFilter(request.GET, queryset=queries.drops())
    page = Paginator(chosen.qs, DROPS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "filter": chosen,
        "page": page,
        "rows": pages.drop_rows(page.object_list),
        "total": Drop.objects.count(),
        "waiting": queries.waiting_frames().count(),
        "standstill": pages.standstill_words(),
        "may_upload": may(signed_in(request), UPLOAD),
        "may_place": may(signed_in(request), PLACE),
    }
    return render(request, "intake/drops.html", context)


@requires(UPLOAD)
@require_http_methods(["GET", "POST"])
def drop_new(request: HttpRequest) -> HttpResponse:
    """Open a drop for what was shot."""
    session_id, line_id = _whole(request.GET.get("session")), _whole(request.GET.get("line"))
    shot_for = f"line:{line_id}" if line_id else f"session:{session_id}" if session_id else ""
    form = DropForm(
        request.POST or None,
        choices=pages.shot_for_choices(session_id, line_id),
        initial={"shot_for": shot_for},
    )
    if request.method == "POST" and form.is_valid():
        try:
            session_id, line_id = form.wanted()
            drop = actions.open_drop(
                actor=signed_in(request),
                session_id=session_id,
                shot_line_id=line_id,
                note=form.cleaned_data["note"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            return redirect("intake:drop", pk=drop.pk)
    status = 422 if form.errors else 200
    return render(request, "intake/drop_new.html", {"form": form}, status=status)


@requires(READ_DROPS)
@require_http_methods(["GET", "POST"])
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a drop and take in files; without scripts they come with the form."""
    row = get_object_or_404(queries.drops_with_names(), pk=pk)
    is_sent = request.method == "POST"
    form = UploadForm(request.POST, request.FILES) if is_sent else UploadForm()
    if is_sent and form.is_valid():
        _take_in(request, row, form)
        return redirect("intake:drop", pk=pk)
    context = _drop_context(request, row) | {
        "form": form,
        "clock": ClockForm(initial={"read_version": row.row_version, "direction": "slow"}),
    }
    return render(request, "intake/drop.html", context, status=422 if is_sent else 200)


def _take_in(request: HttpRequest, row: Drop, form: UploadForm) -> None:
    """Take in the files of a form one by one; a refusal does not hold up the others."""
    for file in form.chosen():
        try:
            actions.receive_whole(
                actor=signed_in(request),
                drop_id=row.pk,
                name=file.name or "",
                size_bytes=file.size or 0,
                chunks=file.chunks(),
            )
        except DomainError as error:
            messages.error(request, str(error))


def _drop_context(request: HttpRequest, row: Drop) -> dict[str, Any]:
    user = signed_in(request)
    return {
        "drop": row,
        "shot_for": pages.shot_for_words(row),
        "view": pages.drop_view(row, user, page=request.GET.get("page")),
        "may_upload": may(user, UPLOAD, row),
        "may_place": may(user, PLACE),
    }


@requires(READ_DROPS)
@require_GET
def drop_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer the part of a drop's page that changes by itself."""
    row = get_object_or_404(queries.drops_with_names(), pk=pk)
    context = _drop_context(request, row) | {"is_fragment": True}
    return render(request, "intake/drop_state.html", context)


@requires(UPLOAD)
@require_POST
def drop_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a drop, or open it again."""
    step = actions.reopen_drop if request.POST.get("open") else actions.close_drop
    version = _whole(request.POST.get("read_version")) or 0
    get_object_or_404(Drop, pk=pk)
    try:
        row = step(actor=signed_in(request), drop_id=pk, read_version=version)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{row} is {row.get_state_display().lower()} now.")
    return redirect("intake:drop", pk=pk)


@requires(PLACE)
@require_POST
def drop_clock(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct the camera's clock for a drop."""
    row = get_object_or_404(queries.drops_with_names(), pk=pk)
    form = ClockForm(request.POST)
    if form.is_valid():
        try:
            actions.correct_clock(
                actor=signed_in(request),
                drop_id=pk,
                read_version=form.cleaned_data["read_version"],
                clock_offset_s=form.offset_s(),
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The clock is corrected; waiting frames are laid out anew.")
            return redirect("intake:drop", pk=pk)
    context = _drop_context(request, row) | {"form": UploadForm(), "clock": form}
    return render(request, "intake/drop.html", context, status=422)


@requires(UPLOAD)
@require_POST
def arrival_give_up(request: HttpRequest, token: UUID) -> HttpResponse:
    """Stop waiting for a file, or stop counting a refused one."""
    arrival = get_object_or_404(Arrival, token=token)
    try:
        actions.give_up_arrival(actor=signed_in(request), token=token)
    except DomainError as error:
        messages.error(request, str(error))
    return redirect("intake:drop", pk=arrival.drop_id)


@requires(CLEAR_REFUSED)
@require_POST
def arrival_clear(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove the bytes of a refused file."""
    arrival = get_object_or_404(Arrival, pk=pk)
    actions.clear_refused(actor=signed_in(request), arrival_id=pk)
    messages.success(request, f"The bytes of {arrival.name} are removed; its reason stays.")
    return redirect("intake:drop", pk=arrival.drop_id)


@requires(ASK_AGAIN)
@require_POST
def job_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have given-up work tried again."""
    get_object_or_404(Job, pk=pk)
    actions.ask_again(actor=signed_in(request), job_id=pk)
    messages.success(request, "It is tried again now.")
    return redirect(_back(request))


def _back(request: HttpRequest) -> str:
    """Return the page the person came from, if it is one of ours."""
    target = str(request.POST.get("next") or "")
    is_ours = url_has_allowed_host_and_scheme(
        target, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return target if is_ours else "intake:drops"


@requires(PLACE)
@require_http_methods(["GET", "POST"])
def sorting_table(request: HttpRequest) -> HttpResponse:
    """Show frames that wait for a person, and place or set aside those that are ticked."""
    chosen = FrameFilter(request.GET, queryset=queries.waiting_frames())
    page = Paginator(chosen.qs, pages_sorting.FRAMES_PER_PAGE).get_page(request.GET.get("page"))
    session = Session.objects.filter(pk=_whole(request.GET.get("session")) or 0).first()
    shown = page.object_list
    if request.method == "POST":
        sent = Frame.objects.filter(pk__in=posted_frames(request.POST))
        shown = queries.in_order_of_table(sent)
    table = pages_sorting.sorting_page(list(shown), session, request.POST or None)
    if request.method == "POST" and table.form.is_valid():
        _sort(request, table)
        return redirect(request.get_full_path())
    context = {
        "filter": chosen,
        "page": page,
        "table": table,
        "session": session,
        "sessions": queries.open_sessions()[: pages.SESSIONS_OFFERED],
        "undo": request.session.pop("intake_moved", ""),
        "spares": queries.spare_frames()[: pages_sorting.FRAMES_PER_PAGE],
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "intake/sorting_table.html", context, status=status)


def _sort(request: HttpRequest, table: pages_sorting.SortingPage) -> None:
    """Do with the ticked frames what was asked, and remember how to undo it."""
    user, form, act = signed_in(request), table.form, request.POST.get("act")
    if act == "aside":
        outcome = actions.set_aside_frames(actor=user, versions=form.versions())
    elif act == "fill":
        outcome = actions.place_frames(actor=user, choices=table.choices_in_order())
    else:
        outcome = actions.place_frames(actor=user, choices=form.choices())
    _say(request, outcome, "set aside" if act == "aside" else "placed")


def _say(request: HttpRequest, outcome: Outcome, done: str) -> None:
    for refusal in outcome.refusals:
        messages.error(request, refusal)
    if outcome.moved:
        number = len(outcome.moved)
        frames = f"{number} frame is" if number == 1 else f"{number} frames are"
        messages.success(request, f"{frames} {done}.")
        if done != "back on the sorting table":
            request.session["intake_moved"] = moved_value(outcome.moved)
    elif not outcome.refusals:
        messages.warning(request, "No frame was ticked, or no place was chosen.")


@requires(PLACE)
@require_POST
def take_back(request: HttpRequest) -> HttpResponse:
    """Undo: put frames that were placed or set aside back on the sorting table."""
    form = MovedForm(request.POST)
    if form.is_valid():
        outcome = actions.take_back_frames(
            actor=signed_in(request), versions=form.cleaned_data["moved"]
        )
        _say(request, outcome, "back on the sorting table")
    else:
        messages.error(request, "It is not clear what to undo. Reload the page and try again.")
    return redirect(_back(request))


@requires(SEE_PICTURES)
@require_GET
def picture(request: HttpRequest, frame_pk: int, kind: str) -> HttpResponseBase:
    """Stream a small picture of a frame, never the master; a drawing while it is not made yet."""
    frame = get_object_or_404(Frame, pk=frame_pk)
    if kind not in PICTURE_KINDS:
        raise Http404("There is no such kind of picture.")
    if (closed := hidden.refusal(request, frame)) is not None:
        return closed
    made = queries.picture(frame_pk, kind)
    path = Path(settings.DERIVED_DIR) / made.path if made is not None else None
    if made is None or path is None or not path.is_file():
        return _being_made(request, frame)
    etag = f'"{made.recipe}-{kind}"'
    if request.headers.get("If-None-Match") == etag:
        response: HttpResponseBase = HttpResponse(status=304)
    else:
        response = FileResponse(path.open("rb"), content_type="image/jpeg")
    response["ETag"] = etag
    is_named = request.GET.get("of") == made.recipe
    response["Cache-Control"] = (
        f"private, max-age={DAY_S}, immutable" if is_named else "private, no-cache"
    )
    return response


def _being_made(request: HttpRequest, frame: Frame) -> HttpResponse:
    response = render(
        request,
        "intake/picture_being_made.svg",
        {"frame": frame, "is_unreadable": frame.read_at is not None},
        content_type="image/svg+xml",
    )
    response["Cache-Control"] = "no-store"
    return response
