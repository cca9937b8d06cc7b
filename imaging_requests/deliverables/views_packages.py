"""Pages of packages: what can be filed, what is missing and why, and what was sealed."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.collection.models import Entry
from imaging_requests.deliverables import actions, filing, naming, pages, policies, queries
from imaging_requests.deliverables.forms import EntryForm, HandOverForm, SealForm
from imaging_requests.deliverables.models import Delivery, Package
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires, why_not
from imaging_requests.people.requests import signed_in, whole_number

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
    replaceable = queries.replaceable(entry)
    sealing = SealForm(request.POST or None, ready=ready, replaceable=replaceable)
    if request.method == "POST" and entry is not None and sealing.is_valid():
        try:
            made = actions.seal_package(
                actor=signed_in(request),
                entry_id=entry.pk,
                deliverable_ids=sealing.cleaned_data["pictures"],
                purpose=sealing.cleaned_data["purpose"],
                replaces_id=_pk(sealing.cleaned_data["replaces"]),
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


def _pk(row: Package | None) -> int | None:
    return None if row is None else row.pk


def _label(line: filing.Line) -> str:
    return f"{line.number}: {line.words}"


@requires(policies.READ_DELIVERABLES)
@require_safe
def package(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a sealed package: pictures, files, what is missing, and its sum."""
    return _package_page(request, pk, HandOverForm())


def _package_page(request: HttpRequest, pk: int, form: HandOverForm) -> HttpResponse:
    context = pages.package_context(pages.package(pk), user=signed_in(request)) | {"form": form}
    status = 422 if form.errors else 200
    return render(request, "deliverables/package.html", context, status=status)


@requires(policies.HAND_OVER)
@require_POST
def hand_over(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down to whom a sealed package is handed."""
    pages.package(pk)
    form = HandOverForm(request.POST)
    if form.is_valid():
        values = form.cleaned_data
        try:
            made = actions.hand_over(
                actor=signed_in(request),
                package_id=pk,
                recipient=values["recipient"],
                user_id=None if values["user"] is None else values["user"].pk,
                purpose=values["purpose"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"Handed over to {made.recipient}.")
            return redirect("deliverables:package", pk=pk)
    return _package_page(request, pk, form)


@requires(policies.CONFIRM_RECEIPT)
@require_POST
def received(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down that a package came."""
    delivery = get_object_or_404(Delivery, pk=pk)
    try:
        actions.confirm_receipt(
            actor=signed_in(request),
            delivery_id=pk,
            read_version=_version(request, delivery.row_version),
            words=request.POST.get("words", ""),
        )
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "Written down: it came.")
    return redirect("deliverables:package", pk=delivery.package_id)


def _version(request: HttpRequest, newest: int) -> int:
    """The version that the page showed; a form without one is older than any."""
    typed = whole_number(request.POST.get("read_version"))
    return newest - 1 if typed is None else typed


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
