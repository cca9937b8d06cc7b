"""The plate map of a picture of several tiles, and the joined picture itself."""

from __future__ import annotations

from pathlib import Path

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.deliverables import (
    actions,
    joining,
    pages,
    pages_plates,
    policies,
    queries,
    shown,
)
from imaging_requests.deliverables.forms import PlateMapForm, VersionForm
from imaging_requests.deliverables.joined import EXTENSION, file_of
from imaging_requests.deliverables.models import Deliverable, DeliverableState, Join
from imaging_requests.deliverables.naming import joined_name
from imaging_requests.intake import hidden, store
from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import demand, requires
from imaging_requests.people.requests import signed_in


@requires(policies.LAY_PLATES)
@require_http_methods(["GET", "POST"])
def plates(request: HttpRequest, pk: int) -> HttpResponse:
    """Show where the tiles of a picture lie and what the joining found; lay them anew."""
    row = pages.picture(pk)
    if (closed := hidden.refusal(request, row)) is not None:
        return closed
    form = _bound(request, row)
    if form is not None and form.is_valid():
        try:
            actions.lay_plates(
                actor=signed_in(request),
                deliverable_id=row.pk,
                read_version=form.cleaned_data["read_version"],
                plates=form.plates(),
                note=form.cleaned_data["note"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The plate map is kept; the tiles are being joined anew.")
            return redirect("deliverables:plates", pk=pk)
    context = pages_plates.plates_context(row, user=signed_in(request), form=form)
    status = 422 if form is not None else 200
    return render(request, "deliverables/plates.html", context, status=status)


def _bound(request: HttpRequest, row: Deliverable) -> PlateMapForm | None:
    if request.method != "POST":
        return None
    plan = joining.plan_of(row)
    if plan is None:
        raise Http404
    return PlateMapForm(request.POST, plan=plan)


@requires(policies.LAY_PLATES)
@require_POST
def plates_found(request: HttpRequest, pk: int) -> HttpResponse:
    """Let the tiles lie again as the program finds them."""
    pages.picture(pk)
    form = VersionForm(request.POST)
    if not form.is_valid():
        messages.error(request, "The form could not be read. Load the page again.")
        return redirect("deliverables:plates", pk=pk)
    try:
        actions.lay_as_found(actor=signed_in(request), deliverable_id=pk, **form.cleaned_data)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "What was laid by hand is taken back; the tiles are joined anew.")
    return redirect("deliverables:plates", pk=pk)


@requires(policies.LAY_PLATES)
@require_POST
def join(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for the joining of a picture's tiles."""
    row = pages.picture(pk)
    try:
        actions.ask_to_join(actor=signed_in(request), deliverable_id=row.pk)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "The tiles are being joined; load the page again in a while.")
    is_waiting = row.state == DeliverableState.TO_REVIEW
    return redirect("deliverables:review" if is_waiting else "deliverables:deliverable", pk=pk)


@requires(policies.READ_DELIVERABLES)
@require_safe
def joined(request: HttpRequest, pk: int, kind: str) -> HttpResponseBase:
    """Send the joined picture: a small one; for the studio the 16-bit file, or it inverted."""
    row = pages.picture(pk)
    made = joining.newest_join(row)
    if kind not in (*pages_plates.FILE_KINDS, shown.SMALL, shown.LARGE):
        raise Http404("There is no such picture.")
    is_file = kind in pages_plates.FILE_KINDS
    full_px = max(made.width_px, made.height_px) if made is not None else 0
    longest_px = full_px if is_file else int(kind)
    if (closed := hidden.refusal(request, row, longest_px=longest_px)) is not None:
        return closed
    if is_file:
        demand(signed_in(request), policies.TAKE_FULL_DEPTH)
    if made is None or not made.sha256:
        raise Http404("The tiles of this picture are not joined.")
    path = _path_of(made, kind)
    if path is None or not path.is_file():
        raise Http404("There is no such picture.")
    if is_file and request.method == "GET":
        actions.record_taking(actor=signed_in(request), row=row, join=made, kind=kind)
    answer = FileResponse(
        path.open("rb"),
        content_type="image/tiff" if is_file else "image/jpeg",
        as_attachment=is_file,
        filename=_name_of(row, kind) if is_file else "",
    )
    answer["ETag"] = f'"{made.recipe[:32]}-{kind}"'
    answer["Cache-Control"] = "private, no-cache"
    return answer


def _name_of(row: Deliverable, kind: str) -> str:
    return joined_name(
        number=queries.number_of(row),
        surface=row.surface,
        technique=row.technique,
        variant=row.variant,
        captured_on=studio_time(row.captured_at).date(),
        version=row.version,
        role="joined" if kind == pages_plates.MASTER else kind,
    )


def _path_of(made: Join, kind: str) -> Path | None:
    if kind == pages_plates.MASTER:
        return store.readable_path(made.sha256, EXTENSION)
    found = file_of(made, kind)
    return found.path if found is not None else None
