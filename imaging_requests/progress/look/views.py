"""The look-and-compare page, its word about two pictures, and notes at a region."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import Deliverable, SurfaceNote
from imaging_requests.deliverables.policies import CHANGE_NOTE, WRITE_NOTE
from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.policies import demand, requires, why_not
from imaging_requests.people.requests import signed_in, whole_number
from imaging_requests.progress.look.forms import BOX, ChangeNoteForm, NewNoteForm, NoteForm
from imaging_requests.progress.look.notes import note_with_names, notes_of
from imaging_requests.progress.look.page import complete, look_context, note_row, pair_data
from imaging_requests.progress.look.pairs import pair_of
from imaging_requests.progress.look.shown_pictures import gather_gallery
from imaging_requests.progress.look.sight import read_sight
from imaging_requests.progress.policies import LOOK
from imaging_requests.requesting.words import numbers_of


@requires(LOOK)
@require_safe
def look(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the pictures of an object at the same spot."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    user = signed_in(request)
    gallery = gather_gallery(thing, user=user, now=timezone.now(), notes=notes_of(thing.pk))
    asked, unread = read_sight(request.GET)
    sight, missing = complete(asked, gallery)
    context = look_context(gallery, sight, user=user)
    refusals = [*unread, *missing, *context["not_open"]]
    return render(request, "progress/look.html", context | {"refusals": refusals})


@requires(LOOK)
@require_safe
def look_pair(request: HttpRequest, pk: int) -> JsonResponse:
    """Say what a comparison of two pictures is worth."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    gallery = gather_gallery(thing, user=signed_in(request), now=timezone.now())
    sight, _ = read_sight(request.GET)
    found = [gallery.picture(each.picture_id) for each in sight.pictures[:2]]
    two = [each for each in found if each is not None]
    if len(two) < 2:
        raise Http404("These two pictures are not here.")
    return JsonResponse(pair_data(pair_of(two[0], two[1])))


@requires(WRITE_NOTE)
@require_http_methods(["GET", "POST"])
def note_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Write a note at a region of a picture."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    initial = {name: request.GET.get(name, "") for name in ("picture", "back", *BOX)}
    form = NewNoteForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            row = actions.write_note(
                actor=signed_in(request),
                deliverable_id=_picture_of(thing, values["picture"]).pk,
                shape=values["shape"],
                points_mm=values["points_mm"],
                text=values["text"],
            )
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "The note is written.")
            return redirect(_back(row, values["back"]))
    asked = form["picture"].value()
    picture = _picture_of(thing, whole_number(asked) or 0)
    return _note_page(request, thing, form, {"picture": picture})


@requires(CHANGE_NOTE)
@require_http_methods(["GET", "POST"])
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one note, and change it."""
    row = note_with_names(pk)
    if row is None:
        raise Http404("There is no such note.")
    demand(signed_in(request), SEE_PICTURES, row.drawn_on)
    form = ChangeNoteForm(request.POST or None, initial=_initial(row, request.GET.get("back", "")))
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            row = actions.change_note(
                actor=signed_in(request),
                note_id=pk,
                read_version=values["read_version"],
                shape=values["shape"],
                points_mm=values["points_mm"],
                text=values["text"],
            )
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "The note is changed.")
            return redirect(_back(row, values["back"]))
    user = signed_in(request)
    context = {"note": note_row(row, user), "not_because": why_not(user, CHANGE_NOTE, row)}
    return _note_page(request, row.object, form, context)


@requires(CHANGE_NOTE)
@require_POST
def note_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a note back."""
    row = get_object_or_404(SurfaceNote, pk=pk)
    version = whole_number(request.POST.get("read_version"))
    try:
        actions.withdraw_note(
            actor=signed_in(request),
            note_id=pk,
            read_version=version or 0,
        )
    except DomainError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, "The note is taken back.")
    return redirect(_back(row, request.POST.get("back", "")))


def _picture_of(thing: CollectionObject, pk: int) -> Deliverable:
    return get_object_or_404(Deliverable, pk=pk, object=thing)


def _initial(row: SurfaceNote, back: str) -> dict[str, Any]:
    initial: dict[str, Any] = {"text": row.text, "read_version": row.row_version, "back": back}
    if row.shape == SurfaceNote.Shape.POLYGON:
        return initial | {"corners": json.dumps(row.points_mm)}
    (left, top), (right, below) = row.points_mm[0], row.points_mm[2]
    box = (left, top, round(right - left, 2), round(below - top, 2))
    return initial | dict(zip(BOX, box, strict=True))


def _refuse(form: NoteForm, error: DomainError) -> None:
    form.add_error(None, str(error))
    if isinstance(error, StaleWrite):
        for label, now_there, wanted in error.differences:
            form.add_error(None, f"{label}: stands at “{now_there}”, you wrote “{wanted}”.")


def _note_page(
    request: HttpRequest, thing: CollectionObject, form: NoteForm, context: dict[str, Any]
) -> HttpResponse:
    number = numbers_of([thing.pk])[thing.pk]
    address = reverse("progress:look", args=[thing.pk])
    picture = context.get("picture")
    whole = {
        "thing": thing,
        "number": number,
        "form": form,
        "look_href": f"{address}?p={picture.pk}" if picture else address,
        "answer": f"A note on {number}",
        "sub": f"Drawn on: {picture}" if picture else "",
        "crumbs": [{"label": f"{number}, look and compare", "href": address}],
    } | context
    return render(request, "progress/look_note.html", whole, status=422 if form.errors else 200)


def _back(row: SurfaceNote, query: str) -> str:
    """The view from which a note was written, read anew so that it leads nowhere else."""
    sight, _ = read_sight(QueryDict(query))
    asked = sight.as_query() or f"face={row.face}"
    return f"{reverse('progress:look', args=[row.object_id])}?{asked}"
