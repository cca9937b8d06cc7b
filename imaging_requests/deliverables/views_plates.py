"""The plate map of a picture of several tiles, and the joined picture itself."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from imaging_requests.deliverables import actions, joining, pages, pages_plates, policies
from imaging_requests.deliverables.forms import PlateMapForm
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake import hidden, store
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in

EXTENSION = "tif"


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


@requires(policies.READ_DELIVERABLES)
@require_safe
def joined(request: HttpRequest, pk: int, kind: str) -> HttpResponseBase:
    """Send the joined picture: a small one, the 16-bit file, or the inverted file."""
    row = pages.picture(pk)
    if (closed := hidden.refusal(request, row)) is not None:
        return closed
    made = joining.newest_join(row)
    if made is None or not made.sha256:
        raise Http404("The tiles of this picture are not joined.")
    if kind == pages_plates.MASTER:
        path = store.readable_path(made.sha256, EXTENSION)
    else:
        found = next((each["path"] for each in made.pictures if each["kind"] == kind), None)
        path = Path(settings.DERIVED_DIR) / found if found is not None else None
    if path is None or not path.is_file():
        raise Http404("There is no such picture.")
    is_file = kind in pages_plates.FILE_KINDS
    answer = FileResponse(
        path.open("rb"),
        content_type="image/tiff" if path.suffix == ".tif" else "image/jpeg",
        as_attachment=is_file,
        filename=f"{row.technique}-{row.face}-{kind}.tif" if is_file else "",
    )
    answer["ETag"] = f'"{made.recipe[:32]}-{kind}"'
    answer["Cache-Control"] = "private, no-cache"
    return answer
