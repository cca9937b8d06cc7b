"""Pages of the studio's versioned rules: lists, one version, comparison, drafts, pins."""

from __future__ import annotations

import json
from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from imaging_requests.collection.models import Entry
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import Act, may, requires, why_not
from imaging_requests.people.requests import signed_in
from imaging_requests.protocols import (
    actions,
    compare,
    policies,
    queries,
    rehearsal_page,
    rehearsals,
    tables,
)
from imaging_requests.protocols.actions_rehearsing import read_report as read_rehearsal
from imaging_requests.protocols.forms import CompareForm, DraftForm, PinForm, VersionStepForm
from imaging_requests.protocols.models import MODELS, RuleKind, RuleVersion, VersionState
from imaging_requests.protocols.shape import SHAPES, in_order

StepAct = Callable[..., RuleVersion]


@requires(policies.READ_RULES)
@require_GET
def versions(request: HttpRequest) -> HttpResponse:
    """List every version of the three kinds of rules."""
    now = timezone.now()
    kinds = [
        {
            "kind": kind.value,
            "label": kind.label,
            "versions": (rows := queries.versions(kind)),
            "in_force": queries.numbers_in_force(kind, now),
            "form": CompareForm(versions=rows) if len(rows) > 1 else None,
        }
        for kind in RuleKind
    ]
    may_draft = may(request.user, policies.DRAFT_RULES)
    return render(request, "protocols/versions.html", {"kinds": kinds, "may_draft": may_draft})


@requires(policies.READ_RULES)
@require_GET
def version(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Show one version as a table people can read, and what can be done with it now."""
    row = queries.version(kind, pk)
    context = {
        "version": row,
        "layout": tables.layout(row, queries.settings_for_words(timezone.now())),
        "is_draft": row.state == VersionState.DRAFT,
        "form": VersionStepForm(initial={"read_version": row.row_version}),
        "may_edit": may(request.user, policies.DRAFT_RULES, row),
        "sign_not_because": _unsigned(request, row, policies.SIGN_RULES),
        "co_sign_not_because": _unsigned(request, row, policies.CO_SIGN_RULES),
        "rehearsal": rehearsal_page.context_of(row, signed_in(request)),
        "may_retire": may(request.user, policies.RETIRE_RULES, row),
        "retire_not_because": queries.in_use_because(row),
    }
    return render(request, f"protocols/{kind}.html", context)


def _unsigned(request: HttpRequest, row: RuleVersion, wanted: Act) -> str:
    """Say why this person cannot sign; whoever may has to have read the rehearsal first."""
    user = signed_in(request)
    reason = why_not(user, wanted, row)
    if reason or row.state != VersionState.DRAFT:
        return reason
    return " ".join(rehearsals.unsigned_because(row, user)).strip()


@requires(policies.READ_REHEARSAL)
@require_POST
def read_report(request: HttpRequest, kind: str, pk: int, rehearsal_pk: int) -> HttpResponse:
    """Record that the person has opened the report about this draft."""
    row = queries.version(kind, pk)
    try:
        read_rehearsal(actor=signed_in(request), kind=kind, pk=row.pk, rehearsal_id=rehearsal_pk)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "It is on record that you have read the report.")
    return redirect("protocols:version", kind=kind, pk=pk)


@requires(policies.READ_RULES)
@require_GET
def compared(request: HttpRequest, kind: str) -> HttpResponse:
    """Set two versions of one kind against each other."""
    if kind not in MODELS:
        raise Http404
    rows = queries.versions(kind)
    form = CompareForm(request.GET or None, versions=rows)
    context = {"form": form, "kind": kind, "label": RuleKind(kind).label}
    if form.is_valid():
        by_pk = {row.pk: row for row in rows}
        older, newer = by_pk[form.cleaned_data["older"]], by_pk[form.cleaned_data["newer"]]
        found = compare.differences(kind, older.definition, newer.definition)
        context |= {"older": older, "newer": newer, "differences": found}
    return render(request, "protocols/compare.html", context)


@requires(policies.DRAFT_RULES)
@require_http_methods(["GET", "POST"])
def draft_new(request: HttpRequest, kind: str) -> HttpResponse:
    """Take in a document as a new draft; the newest version is there to start from."""
    if kind not in MODELS:
        raise Http404
    newest = next(iter(queries.versions(kind)), None)
    text = "" if newest is None else _pretty(newest)
    form = DraftForm(request.POST or None, request.FILES or None, initial={"text": text})
    if request.method == "POST" and form.is_valid():
        try:
            row = actions.draft_version(actor=signed_in(request), kind=kind, document=form.document)
        except DomainError as error:
            _say(form, error)
        else:
            messages.success(request, f"The {row} is kept as a draft.")
            return redirect("protocols:version", kind=kind, pk=row.pk)
    return _draft_page(request, form, kind, None)


@requires(policies.DRAFT_RULES)
@require_http_methods(["GET", "POST"])
def draft(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Put a new document into a draft."""
    row = queries.version(kind, pk)
    initial = {"text": _pretty(row), "read_version": row.row_version}
    form = DraftForm(request.POST or None, request.FILES or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            actions.replace_draft(
                actor=signed_in(request),
                kind=kind,
                pk=pk,
                read_version=form.cleaned_data["read_version"] or 0,
                document=form.document,
            )
        except DomainError as error:
            _say(form, error)
        else:
            messages.success(request, "The draft holds the new document.")
            return redirect("protocols:version", kind=kind, pk=pk)
    return _draft_page(request, form, kind, row)


def _draft_page(
    request: HttpRequest, form: DraftForm, kind: str, row: RuleVersion | None
) -> HttpResponse:
    context = {"form": form, "kind": kind, "label": RuleKind(kind).label, "version": row}
    return render(request, "protocols/draft.html", context, status=422 if form.errors else 200)


def _pretty(row: RuleVersion) -> str:
    document = in_order(row.definition, SHAPES[row.kind])
    return json.dumps(document, indent=1, ensure_ascii=False)


def _say(form: DraftForm, error: DomainError) -> None:
    for sentence in error.data.get("sentences") or [str(error)]:
        form.add_error(None, sentence)


def _step(request: HttpRequest, kind: str, pk: int, act: StepAct, said: str) -> HttpResponse:
    """Take one step of a version; a refusal is said on its page, where the person looks."""
    row = queries.version(kind, pk)
    form = VersionStepForm(request.POST)
    try:
        read_version = form.cleaned_data["read_version"] if form.is_valid() else 0
        act(actor=signed_in(request), kind=kind, pk=row.pk, read_version=read_version)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, said)
    return redirect("protocols:version", kind=kind, pk=pk)


@requires(policies.SIGN_RULES)
@require_POST
def sign(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Give the lead's signature."""
    said = "Your signature is under the draft; the second one publishes it."
    return _step(request, kind, pk, actions.sign_version, said)


@requires(policies.CO_SIGN_RULES)
@require_POST
def co_sign(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Give the second signature and publish."""
    return _step(request, kind, pk, actions.co_sign_version, "The version is published.")


@requires(policies.RETIRE_RULES)
@require_POST
def retire(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Take a version out of use."""
    return _step(request, kind, pk, actions.retire_version, "The version is retired.")


@requires(policies.READ_RULES)
@require_http_methods(["GET", "POST"])
def entry_pin(request: HttpRequest, entry_pk: int) -> HttpResponse:
    """Show which protocol versions an entry has followed, and move it."""
    entry = get_object_or_404(Entry.objects.select_related("catalogue"), pk=entry_pk)
    initial = {"read_version": entry.row_version}
    form = PinForm(request.POST or None, initial=initial, now=timezone.now())
    if request.method == "POST" and form.is_valid():
        try:
            actions.move_entry_pin(
                actor=signed_in(request),
                entry_id=entry.pk,
                read_version=form.cleaned_data["read_version"],
                protocol_id=form.cleaned_data["protocol"].pk,
                reason=form.cleaned_data["reason"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The entry follows the chosen version from now on.")
            return redirect("protocols:entry_pin", entry_pk=entry.pk)
    context = {
        "entry": entry,
        "form": form,
        "pins": queries.pins_of(entry),
        "not_because": why_not(request.user, policies.MOVE_PIN, entry),
    }
    return render(request, "protocols/pin.html", context, status=422 if form.errors else 200)
