"""Pages of what is signed about duties: waivers, views that do not apply, gaps, replacements."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.policies import READ, requires
from imaging_requests.people.requests import signed_in, whole_number
from imaging_requests.requesting import actions, queries
from imaging_requests.requesting.filters import WaiverFilter
from imaging_requests.requesting.forms import (
    TICKS,
    GapForm,
    NotApplicableForm,
    ReplaceForm,
    WaiverForm,
    WordsForm,
    add_refusal,
)
from imaging_requests.requesting.models import OwedView, Waiver, WaiverProposal
from imaging_requests.requesting.policies import (
    DECIDE_APPLICABLE,
    END_WAIVER,
    PROPOSE_WAIVER,
    REFUSE_WAIVER,
    REPLACE_VIEW,
    SIGN_GAP,
    SIGN_WAIVER,
)
from imaging_requests.requesting.ruling_pages import (
    gap_context,
    not_applicable_context,
    replace_choices,
    replace_context,
)
from imaging_requests.requesting.waiver_page import (
    book_answer,
    book_rows,
    may_end,
    proposal_rows,
    waive_context,
)

PER_PAGE = 50


def _view(pk: int) -> OwedView:
    view = queries.owed_view(pk)
    if view is None:
        raise Http404
    return view


@requires(PROPOSE_WAIVER)
@require_http_methods(["GET", "POST"])
def waive(request: HttpRequest, pk: int) -> HttpResponse:
    """Waive a view, or propose it to those who sign."""
    user, view = signed_in(request), _view(pk)
    form = WaiverForm(request.POST or None)
    context = waive_context(view, user)
    if request.method == "POST" and form.is_valid():
        write = actions.grant_waiver if context["signs_alone"] else actions.propose_waiver
        try:
            write(
                actor=user,
                owed_view_id=pk,
                reason_code=form.cleaned_data["reason_code"],
                text=form.cleaned_data["text"],
                lapses_at=form.lapses_at(),
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            said = "Waived." if context["signs_alone"] else "Proposed; those who sign are told."
            messages.success(request, said)
            return redirect("requesting:waivers")
    status = 422 if form.errors else 200
    return render(request, "requesting/waive.html", {**context, "form": form}, status=status)


@requires(READ)
@require_safe
def waivers(request: HttpRequest) -> HttpResponse:
    """The waiver book: what waits for a signature, what is in force, what is over."""
    user = signed_in(request)
    found = WaiverFilter(request.GET, queryset=queries.waiver_list(), request=request)
    page = Paginator(found.qs, PER_PAGE).get_page(request.GET.get("page"))
    proposals = proposal_rows(user)
    in_force = Waiver.objects.filter(ended_at=None).count()
    context = {
        "filter": found,
        "page": page,
        "rows": book_rows(page.object_list, user),
        "proposals": proposals,
        "gaps": queries.signed_gaps(),
        "may_end": may_end(user),
        "shown": page.paginator.count,
        "total": Waiver.objects.count(),
        "clear_href": request.path if request.GET else "",
        "answer": book_answer(in_force, len(proposals)),
    }
    return render(request, "requesting/waivers.html", context)


def _read_version(request: HttpRequest) -> int:
    return whole_number(request.POST.get("read_version")) or 0


@requires(SIGN_WAIVER)
@require_POST
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a proposed waiver."""
    proposal = actions.sign_waiver(
        actor=signed_in(request), proposal_id=pk, read_version=_read_version(request)
    )
    messages.success(
        request,
        "Signed; the waiver is in force."
        if proposal.waiver_id
        else "Signed. It takes force when the second of the two has signed.",
    )
    return redirect("requesting:waivers")


@requires(SIGN_WAIVER)
@require_POST
def co_sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a waiver in force as the second person, now that its view is a last look."""
    get_object_or_404(Waiver, pk=pk)
    actions.co_sign_waiver(actor=signed_in(request), waiver_id=pk)
    messages.success(request, "Signed; both signatures stand.")
    return redirect("requesting:waivers")


@requires(REFUSE_WAIVER)
@require_http_methods(["GET", "POST"])
def refuse(request: HttpRequest, pk: int) -> HttpResponse:
    """Refuse a proposed waiver with its reason."""
    proposal = get_object_or_404(
        WaiverProposal.objects.select_related("owed_view", "asked_by"), pk=pk
    )
    form = WordsForm(request.POST or None, initial={"read_version": proposal.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            actions.refuse_waiver(
                actor=signed_in(request),
                proposal_id=pk,
                read_version=form.cleaned_data["read_version"] or 0,
                answer=form.cleaned_data["words"],
            )
        except NotAllowed:
            raise
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Refused; the one who asked is told.")
            return redirect("requesting:waivers")
    context = {"form": form, "proposal": proposal, "answer": "Refuse this waiver?"}
    status = 422 if form.errors else 200
    return render(request, "requesting/refuse.html", context, status=status)


@requires(END_WAIVER)
@require_http_methods(["GET", "POST"])
def waiver_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a waiver: the view is owed again."""
    waiver = get_object_or_404(queries.waiver_list(), pk=pk)
    form = WordsForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.end_waiver(
                actor=signed_in(request), waiver_id=pk, reason=form.cleaned_data["words"]
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Ended; the view is owed again.")
            return redirect("requesting:waivers")
    row = book_rows([waiver], signed_in(request))[0]
    context = {"form": form, "row": row, "answer": "End this waiver?"}
    status = 422 if form.errors else 200
    return render(request, "requesting/waiver_end.html", context, status=status)


@requires(DECIDE_APPLICABLE)
@require_http_methods(["GET", "POST"])
def not_applicable(request: HttpRequest, object_pk: int) -> HttpResponse:
    """What does not apply to an object, by rule or by hand, and a new decision."""
    thing = get_object_or_404(CollectionObject, pk=object_pk)
    form = NotApplicableForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        technique, face, variant = TICKS[form.cleaned_data["view"]]
        try:
            actions.decide_not_applicable(
                actor=signed_in(request),
                object_id=object_pk,
                technique=technique,
                face=face,
                variant=variant,
                reason=form.cleaned_data["words"],
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Decided: this view does not apply.")
            return redirect("requesting:not_applicable", object_pk=object_pk)
    context = {**not_applicable_context(thing), "form": form}
    status = 422 if form.errors else 200
    return render(request, "requesting/not_applicable.html", context, status=status)


@requires(DECIDE_APPLICABLE)
@require_POST
def not_applicable_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a decision made by hand back."""
    row = actions.end_not_applicable(
        actor=signed_in(request), decision_id=pk, reason=request.POST.get("words", "")
    )
    messages.success(request, "Taken back; the view is owed again where somebody asks for it.")
    return redirect("requesting:not_applicable", object_pk=row.object_id)


@requires(REPLACE_VIEW)
@require_http_methods(["GET", "POST"])
def replace(request: HttpRequest, pk: int) -> HttpResponse:
    """Let another view of the object stand for this one."""
    view = _view(pk)
    form = ReplaceForm(
        request.POST or None,
        choices=replace_choices(view),
        initial={"read_version": view.row_version},
    )
    if request.method == "POST" and form.is_valid():
        try:
            actions.replace_view(
                actor=signed_in(request),
                owed_view_id=pk,
                by_view_id=form.cleaned_data["by"],
                read_version=form.cleaned_data["read_version"],
                reason=form.cleaned_data["words"],
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Replaced.")
            return redirect("progress:object", pk=view.object_id)
    context = {**replace_context(view), "form": form}
    status = 422 if form.errors else 200
    return render(request, "requesting/replace.html", context, status=status)


@requires(SIGN_GAP)
@require_http_methods(["GET", "POST"])
def gap_statement(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign that the lost views of an entry stay missing."""
    entry = get_object_or_404(Entry.objects.select_related("catalogue"), pk=pk)
    form = GapForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.sign_gap_statement(
                actor=signed_in(request), entry_id=pk, text=form.cleaned_data["text"]
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Signed.")
            return redirect("progress:entry", pk=pk)
    context = {**gap_context(entry), "form": form}
    status = 422 if form.errors else 200
    return render(request, "requesting/gap_statement.html", context, status=status)
