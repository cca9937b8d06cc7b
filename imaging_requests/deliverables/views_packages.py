"""Pages of packages: what can be filed, what is missing and why, and what was sealed."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from imaging_requests.collection.models import Entry
from imaging_requests.deliverables import actions, filing, naming, pages, policies, queries
from imaging_requests.deliverables.forms import EntryForm, SealForm
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires, why_not
from imaging_requests.people.requests import signed_in

PER_PAGE = 50


@requires(policies.READ_DELIVERABLES)
@require_http_methods(["GET", "POST"])
def packages(request: HttpRequest) -> HttpResponse:
    """List packages; for a chosen entry show what is ready, missing and why, and seal it."""
    entries = Entry.objects.select_related("catalogue").order_by("catalogue", "sort_key")
    choosing = EntryForm(request.GET or None, entries=entries)
    entry = choosing.cleaned_data.get("entry") if choosing.is_valid() else None
    sheet = filing.sheet_of(entry.pk, timezone.now()) if entry is not None else None
    ready = [] if sheet is None else [(row.deliverable.pk, _label(row)) for row in sheet.ready]
    sealing = SealForm(request.POST or None, ready=ready)
    if request.method == "POST" and entry is not None and sealing.is_valid():
        try:
            made = actions.seal_package(
                actor=signed_in(request),
                entry_id=entry.pk,
                deliverable_ids=sealing.cleaned_data["pictures"],
                purpose=sealing.cleaned_data["purpose"],
            )
        except DomainError as error:
            sealing.add_error(None, str(error))
        else:
            messages.success(request, f"Package {made.number} is sealed.")
            return redirect("deliverables:package", pk=made.pk)
    context = {
        "choosing": choosing,
        "sheet": sheet,
        "sealing": sealing,
        "seal_not_because": why_not(request.user, policies.SEAL, entry),
        "page": Paginator(queries.packages(), PER_PAGE).get_page(request.GET.get("page")),
    }
    status = 422 if sealing.errors else 200
    return render(request, "deliverables/packages.html", context, status=status)


def _label(line: filing.Line) -> str:
    return f"{line.number}: {line.words}"


@requires(policies.READ_DELIVERABLES)
@require_safe
def package(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a sealed package: pictures, files, what is missing, and its sum."""
    context = pages.package_context(pages.package(pk))
    return render(request, "deliverables/package.html", context)


@requires(policies.READ_DELIVERABLES)
@require_safe
def manifest(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the manifest of a package as the very text its sum was taken of."""
    found = pages.package(pk)
    answer = HttpResponse(
        naming.manifest_text(found.manifest), content_type="application/json; charset=utf-8"
    )
    answer["Content-Disposition"] = f'attachment; filename="{found.number}-manifest.json"'
    return answer
