"""Pages that say who sees which pictures, and the person from outside's own pages."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in
from imaging_requests.pictures import actions, pages
from imaging_requests.pictures.forms import EndForm, GrantForm, RestrictionForm
from imaging_requests.pictures.links import make_link
from imaging_requests.pictures.models import Grant, Restriction
from imaging_requests.pictures.policies import GRANT, READ_RESTRICTIONS, RESTRICT, SEE_GRANTED
from imaging_requests.pictures.views import link_address_of
from imaging_requests.requesting.words import numbers_of

GRANTS_PER_PAGE = 50


@requires(READ_RESTRICTIONS)
@require_http_methods(["GET", "HEAD", "POST"])
def restrictions(request: HttpRequest, pk: int) -> HttpResponse:
    """Show who may not see an object's pictures, and set a restriction."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    form = RestrictionForm(request.POST or None, scopes=pages.scopes(thing))
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_restriction(actor=signed_in(request), object_id=pk, **form.values())
        except DomainError as error:
            if error.status == 403:
                raise
            form.add_error(None, str(error))
        else:
            messages.success(request, "Restricted from this moment on.")
            return redirect("pictures:restrictions", pk=pk)
    context = pages.restrictions_context(thing, signed_in(request), timezone.now())
    status = 422 if form.errors else 200
    return render(request, "pictures/restrictions.html", {**context, "form": form}, status=status)


def _refuse(form: forms.Form, error: DomainError) -> None:
    form.add_error(None, str(error))
    if isinstance(error, StaleWrite):
        for label, now_there, wanted in error.differences:
            form.add_error(None, f"{label}: stands at “{now_there}”, you wrote “{wanted}”.")


def _end_page(request: HttpRequest, form: EndForm, **words: Any) -> HttpResponse:
    status = 422 if form.errors else 200
    return render(request, "pictures/end.html", {"form": form, **words}, status=status)


@requires(RESTRICT)
@require_http_methods(["GET", "HEAD", "POST"])
def lift(request: HttpRequest, pk: int) -> HttpResponse:
    """Lift a restriction, with a reason."""
    row = get_object_or_404(Restriction.objects.select_related("object"), pk=pk)
    form = EndForm(request.POST or None, initial={"read_version": row.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            actions.lift_restriction(
                actor=signed_in(request), restriction_id=pk, **form.cleaned_data
            )
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "Lifted; the pictures are open from now on.")
            return redirect("pictures:restrictions", pk=row.object_id)
    number = numbers_of([row.object_id])[row.object_id]
    return _end_page(
        request,
        form,
        answer=f"Lift the restriction of {number}?",
        sub=f"{row}: {row.reason}",
        button="Lift it",
    )


@requires(GRANT)
@require_http_methods(["GET", "HEAD", "POST"])
def grants(request: HttpRequest) -> HttpResponse:
    """List what is open to people from outside, and open more."""
    user, now = signed_in(request), timezone.now()
    form = GrantForm(request.POST or None, initial={"objects": request.GET.get("object", "")})
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.give_grants(actor=user, **form.values())
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            count = len(made)
            messages.success(
                request,
                f"{made[0].person} sees pictures of {count} object{'' if count == 1 else 's'} now.",
            )
            return redirect("pictures:grants")
    page = Paginator(Grant.objects.order_by("-given_at", "-pk"), GRANTS_PER_PAGE).get_page(
        request.GET.get("page")
    )
    chosen = Grant.objects.filter(pk__in=[row.pk for row in page]).order_by("-given_at", "-pk")
    running = Grant.objects.filter(ended_at=None, since__lte=now, until__gt=now).count()
    context = {
        "form": form,
        "page": page,
        "lines": pages.grant_lines(chosen, user, now),
        "answer": f"{running} grant{'' if running == 1 else 's'} to people from outside",
    }
    return render(request, "pictures/grants.html", context, status=422 if form.errors else 200)


@requires(GRANT)
@require_http_methods(["GET", "HEAD", "POST"])
def end_grant(request: HttpRequest, pk: int) -> HttpResponse:
    """End a grant before its day, with a reason."""
    row = get_object_or_404(Grant.objects.select_related("person"), pk=pk)
    form = EndForm(request.POST or None, initial={"read_version": row.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            actions.end_grant(actor=signed_in(request), grant_id=pk, **form.cleaned_data)
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "Ended; nothing is open by it any more.")
            return redirect("pictures:grants")
    number = numbers_of([row.object_id])[row.object_id]
    return _end_page(
        request,
        form,
        answer=f"End the grant of {row.person} for {number}?",
        sub=row.purpose,
        button="End it",
    )


@requires(SEE_GRANTED)
@require_safe
def granted(request: HttpRequest) -> HttpResponse:
    """List the pictures that are open to the person.

    An object whose pictures are all closed does not occur; one that has none yet is named.
    """
    user, now = signed_in(request), timezone.now()
    words = request.GET.get("q", "").strip()[:100]
    things = pages.granted_objects(user, now, words)
    listed = pages.granted_pictures(user, things, now)
    numbers = numbers_of([thing.pk for thing in things])
    rows = [
        {"thing": thing, "number": numbers[thing.pk], "pictures": listed[thing.pk]}
        for thing in things
        if listed[thing.pk]
    ]
    waiting = [
        {"thing": thing, "number": numbers[thing.pk]} for thing in pages.without_pictures(things)
    ]
    count = len(rows) + len(waiting)
    context = {
        "rows": rows,
        "waiting": waiting,
        "words": words,
        "has_search": bool(words) or count > 1,
        "answer": f"{count} object{' is' if count == 1 else 's are'} open to you",
        "notices": list(user.notices.filter(read_at=None)[:10]),
    }
    return render(request, "pictures/granted.html", context)


@requires(SEE_GRANTED)
@require_http_methods(["GET", "HEAD", "POST"])
def granted_object(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Show the open pictures of one object; a post makes a link that lives ten minutes."""
    user, now = signed_in(request), timezone.now()
    things = [thing for thing in pages.granted_objects(user, now) if thing.uuid == uuid]
    if not things:
        raise Http404("There is no such object, or it is not open to you.")
    pictures = pages.granted_pictures(user, things, now)[things[0].pk]
    if not pictures:
        raise Http404("There is no such object, or it is not open to you.")
    address = ""
    if request.method == "POST":
        wanted = [each for each in pictures if each.identifier == request.POST.get("picture")]
        if not wanted:
            raise Http404("There is no such picture, or it is not open to you.")
        address = link_address_of(request, make_link(user, wanted[0].identifier))
    context = {
        "thing": things[0],
        "number": numbers_of([things[0].pk])[things[0].pk],
        "pictures": pictures,
        "address": address,
        "linked": request.POST.get("picture", ""),
    }
    return render(request, "pictures/granted_object.html", context)
