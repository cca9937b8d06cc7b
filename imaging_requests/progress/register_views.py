"""Pages that register catalogues, entries and objects, and say where an object is."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from imaging_requests.collection import actions as collection_actions
from imaging_requests.collection.actions_merging import part_objects
from imaging_requests.collection.models import Catalogue, CollectionObject, Entry
from imaging_requests.collection.policies import (
    KEEP_CATALOGUE,
    KEEP_NUMBERS,
    RECORD_WHEREABOUTS,
)
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in
from imaging_requests.progress import acts
from imaging_requests.progress.acts_merging import merge
from imaging_requests.progress.register_forms import (
    CatalogueForm,
    EntryForm,
    MergeForm,
    ObjectForm,
    PartForm,
    StayForm,
    UnavailableForm,
)
from imaging_requests.protocols.queries import periods
from imaging_requests.requesting.words import numbers_of


def _page(request: HttpRequest, form: forms.Form, **words: Any) -> HttpResponse:
    status = 422 if form.errors else 200
    return render(request, "progress/register.html", {"form": form, **words}, status=status)


@requires(KEEP_CATALOGUE)
@require_http_methods(["GET", "POST"])
def catalogue_new(request: HttpRequest) -> HttpResponse:
    """Start a catalogue."""
    form = CatalogueForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = collection_actions.create_catalogue(
                actor=signed_in(request), **form.cleaned_data
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            return redirect("progress:board", pk=made.pk)
    return _page(request, form, answer="Start a catalogue", button="Start it")


@requires(KEEP_CATALOGUE)
@require_http_methods(["GET", "POST"])
def entry_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Add an entry to a catalogue; it follows the newest published protocol."""
    catalogue = get_object_or_404(Catalogue, pk=pk)
    form = EntryForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            entry = acts.add_entry(
                actor=signed_in(request), catalogue=catalogue, **form.cleaned_data
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"Entry {entry.number} is in the catalogue. Add its objects.")
            return redirect("progress:object_into_entry", pk=entry.pk)
    return _page(request, form, answer="Add an entry", sub=catalogue.title, button="Add the entry")


@requires(KEEP_CATALOGUE)
@require_http_methods(["GET", "POST"])
def object_into_entry(request: HttpRequest, pk: int) -> HttpResponse:
    """Put an object into an entry; one with a new number is registered."""
    entry = get_object_or_404(Entry.objects.select_related("catalogue"), pk=pk)
    form = ObjectForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            thing = acts.put_object(actor=signed_in(request), entry=entry, **form.cleaned_data)
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, "The object is in the entry. Record what is known of it.")
            return redirect("progress:object", pk=thing.pk)
    return _page(
        request,
        form,
        answer="Add an object",
        sub=f"Entry {entry}, {entry.catalogue}",
        button="Add the object",
    )


def _of_object(
    request: HttpRequest, thing: CollectionObject, form: forms.Form, **words: Any
) -> HttpResponse:
    number = numbers_of([thing.pk])[thing.pk]
    return _page(request, form, sub=f"{number}, {thing.title}", **words)


@requires(RECORD_WHEREABOUTS)
@require_http_methods(["GET", "POST"])
def moved(request: HttpRequest, pk: int) -> HttpResponse:
    """Say where an object is."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    form = StayForm(request.POST or None, initial={"since": now})
    if request.method == "POST" and form.is_valid():
        try:
            collection_actions.record_stay(
                actor=signed_in(request), object_id=pk, **form.cleaned_data
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            return redirect("progress:object", pk=pk)
    return _of_object(request, thing, form, answer="Where is it now?", button="Record the move")


def _midnight(day: date | None) -> datetime | None:
    return timezone.make_aware(datetime.combine(day, time(0))) if day is not None else None


@requires(RECORD_WHEREABOUTS)
@require_http_methods(["GET", "POST"])
def unavailable(request: HttpRequest, pk: int) -> HttpResponse:
    """Say from when to when the studio cannot have an object."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    form = UnavailableForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        since = _midnight(form.cleaned_data["since"])
        try:
            collection_actions.record_unavailability(
                actor=signed_in(request),
                object_id=pk,
                reason=form.cleaned_data["reason"],
                note=form.cleaned_data["note"],
                since=since or timezone.now(),
                until=_midnight(form.cleaned_data["until"]),
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            return redirect("progress:object", pk=pk)
    return _of_object(
        request, thing, form, answer="When can it not be had?", button="Record the stretch"
    )


@requires(KEEP_NUMBERS)
@require_http_methods(["GET", "POST"])
def merged(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a record is a double of another one."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    form = MergeForm(request.POST or None, initial={"read_version": thing.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            kept = merge(
                actor=signed_in(request),
                double_id=pk,
                into_id=form.cleaned_data["into"].pk,
                reason=form.cleaned_data["reason"],
                read_version=form.cleaned_data["read_version"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            return redirect("progress:object", pk=kept.pk)
    words = {"answer": "Which record is it a double of?", "button": "Merge the two records"}
    return _of_object(request, thing, form, **words)


@requires(KEEP_NUMBERS)
@require_http_methods(["GET", "POST"])
def parted(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo a merger."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    form = PartForm(request.POST or None, initial={"read_version": thing.row_version})
    if request.method == "POST" and form.is_valid():
        try:
            part_objects(
                actor=signed_in(request),
                double_id=pk,
                reason=form.cleaned_data["reason"],
                reversible_for=periods(timezone.now()).merger_reversible,
                read_version=form.cleaned_data["read_version"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            return redirect("progress:object", pk=pk)
    words = {"answer": "Are they two objects after all?", "button": "Part the two records"}
    return _of_object(request, thing, form, **words)
