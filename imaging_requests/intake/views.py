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
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from imaging_requests.intake import actions, hidden, pages, queries
from imaging_requests.intake.filters import DropFilter
from imaging_requests.intake.forms import (
    ClockForm,
    DropForm,
    UploadForm,
    sent_name,
)
from imaging_requests.intake.models import Arrival, Drop, Frame, Job
from imaging_requests.intake.pages_receipt import receipt_of
from imaging_requests.intake.pages_store import store_context
from imaging_requests.intake.policies import (
    ASK_AGAIN,
    CLEAR_REFUSED,
    PLACE,
    READ_DROPS,
    READ_STORE,
    SEE_PICTURES,
    UPLOAD,
)
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import may, requires
from imaging_requests.people.requests import own_page, signed_in, whole_number

DROPS_PER_PAGE = 40
DAY_S = 86_400
PICTURE_KINDS = ("256", "1024")


@requires(READ_STORE)
@require_GET
def store_page(request: HttpRequest) -> HttpResponse:
    """Say how far each place is proven, what is bad now, and what was found before."""
    return render(request, "intake/store.html", store_context())


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
    session_id = whole_number(request.GET.get("session"))
    line_id = whole_number(request.GET.get("line"))
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
                name=sent_name(file.name or ""),
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
        "clock_words": pages.clock_words(row),
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


@requires(READ_DROPS)
@require_GET
def receipt(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what is proven of a drop, to print and put beside the card."""
    row = get_object_or_404(queries.drops_with_names(), pk=pk)
    context = {"receipt": receipt_of(row), "shot_for": pages.shot_for_words(row)}
    return render(request, "intake/receipt.html", context)


@requires(UPLOAD)
@require_POST
def drop_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a drop, or open it again."""
    step = actions.reopen_drop if request.POST.get("open") else actions.close_drop
    version = whole_number(request.POST.get("read_version")) or 0
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
    return redirect(back_of(request))


def back_of(request: HttpRequest) -> str:
    """Return the page the person came from, if it is one of ours."""
    return own_page(request, request.POST.get("next")) or reverse("intake:drops")


@requires(SEE_PICTURES)
@require_GET
def picture(request: HttpRequest, frame_pk: int, kind: str) -> HttpResponseBase:
    """Stream a small picture of a frame, never the master; a drawing while it is not made yet."""
    frame = get_object_or_404(Frame, pk=frame_pk)
    if kind not in PICTURE_KINDS:
        raise Http404("There is no such kind of picture.")
    if (closed := hidden.refusal(request, frame, longest_px=int(kind))) is not None:
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
