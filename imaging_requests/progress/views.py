"""First pages, the catalogue board, the entry and the object."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from imaging_requests.collection.models import Catalogue, CollectionObject, Entry
from imaging_requests.collection.policies import KEEP_CATALOGUE
from imaging_requests.people.policies import OWN_VISIT, is_outside, may, requires
from imaging_requests.people.requests import signed_in
from imaging_requests.progress import object_page
from imaging_requests.progress.board import draw_board, draw_legend
from imaging_requests.progress.board_order import heads, order_words
from imaging_requests.progress.board_reads import (
    board_entries,
    catalogues_with_numbers,
    read_head,
    rows_between,
    rows_of,
    totals_of,
)
from imaging_requests.progress.catalogue_then import catalogue_then
from imaging_requests.progress.entry_page import entry_context
from imaging_requests.progress.filters import BoardFilter, draw_board_filters
from imaging_requests.progress.first_page import sections_for
from imaging_requests.progress.numbers_page import numbers_context, numbers_then, rows_context
from imaging_requests.progress.policies import SEE_BOARD, SEE_OBJECT
from imaging_requests.progress.settle import settle
from imaging_requests.progress.then_page import entry_then, object_then
from imaging_requests.progress.two_times import (
    LookBackForm,
    TwoTimes,
    asked_for,
    draw_look_back,
    look_back_form,
)

PER_PAGE = 100


def stamp() -> str:
    """Say the present instant as pages show it."""
    return f"{timezone.localtime():%-d %b %Y, %H:%M}"


def today_words() -> dict[str, str]:
    """Say of a page of today as of when it is, and as known when: both are now."""
    now = stamp()
    return {"as_of": now, "known_on": now}


def then_words(times: TwoTimes) -> dict[str, Any]:
    """Say the pair of times of a page of a past day."""
    return {"as_of": times.as_of_words, "known_on": times.known_words, "is_past": True}


@requires(OWN_VISIT)
@require_safe
def first_page(request: HttpRequest) -> HttpResponse:
    """Answer the questions of the person's roles; lead people from outside to their pictures."""
    user = signed_in(request)
    if is_outside(user):
        return redirect("pictures:granted")
    settle()
    now = timezone.now()
    sections = sections_for(user, now)
    leading = [section for section in sections if section.is_headline] or [
        section for section in sections if section.is_pressing
    ]
    context = {
        "sections": sections,
        "notices": list(user.notices.filter(read_at=None)[:10]),
        "lead_answer": (leading or sections)[0].answer if sections else f"Hello, {user.name}",
        "today": f"{timezone.localtime(now):%A, %-d %B %Y}",
    }
    return render(request, "progress/first_page.html", context)


@requires(SEE_BOARD)
@require_safe
def catalogues(request: HttpRequest) -> HttpResponse:
    """List the catalogues with how far they are."""
    settle()
    rows = [
        {"catalogue": catalogue, "totals": totals_of(catalogue)}
        for catalogue in catalogues_with_numbers().order_by("title")
    ]
    answer = rows[0]["totals"].sentence if len(rows) == 1 else f"{len(rows)} catalogues"  # type: ignore[attr-defined]
    actions = (
        [{"label": "Start a catalogue", "href": reverse("progress:catalogue_new")}]
        if may(signed_in(request), KEEP_CATALOGUE)
        else []
    )
    context = {"rows": rows, "answer": answer, "actions": actions}
    return render(request, "progress/catalogues.html", context)


@requires(SEE_BOARD)
@require_safe
@vary_on_headers("HX-Request")
def board(request: HttpRequest, pk: int) -> HttpResponse:
    """Show entries by views: which are fully documented, and what each still owes."""
    now = timezone.now()
    form = look_back_form(request.GET)
    times = asked_for(form, now=now)
    if times is not None:
        return _board_then(request, pk, times, form)
    head = read_head(pk, now)
    if head is not None and head.may_be_stale and settle(catalogue_id=pk, now=now):
        head = read_head(pk, now)
    if head is None:
        raise Http404
    shown = head.totals.total
    is_narrowed = bool(BoardFilter.base_filters.keys() & request.GET.keys())
    if is_narrowed:
        entries = BoardFilter(request.GET, queryset=board_entries(pk), request=request).qs
        shown = entries.count()
    page = Paginator(range(shown), PER_PAGE).get_page(request.GET.get("page"))
    start, end = max(page.start_index() - 1, 0), page.end_index()
    rows = rows_of(entries[start:end]) if is_narrowed else rows_between(pk, start, end)
    context: dict[str, Any] = {
        "title": head.title,
        "totals": head.totals,
        "filters": draw_board_filters(
            request.GET.urlencode(),
            head.curators,
            shown,
            head.totals.total,
            request.path if request.GET else "",
        ),
        "page": page,
        "table": draw_board(
            rows, heads(request.GET.urlencode()), order_words(request.GET.get("order", ""))
        )
        if rows
        else "",
        "legend": draw_legend(),
        "form": form,
        "look_back": draw_look_back(request.path, form),
        **today_words(),
        "actions": _board_actions(pk, may_keep=may(signed_in(request), KEEP_CATALOGUE)),
    }
    part = getattr(request, "htmx", False) and request.htmx.target == "board"  # type: ignore[attr-defined]
    template = "progress/board_part.html" if part else "progress/board.html"
    return render(request, template, context)


def _board_then(request: HttpRequest, pk: int, times: TwoTimes, form: LookBackForm) -> HttpResponse:
    """Show the board of a past day; filters are for the board of today."""
    catalogue = get_object_or_404(Catalogue, pk=pk)
    then = catalogue_then(catalogue, times, now=timezone.now())
    page = Paginator(then.entries, PER_PAGE).get_page(request.GET.get("page"))
    rows = then.rows(max(page.start_index() - 1, 0), page.end_index())
    context: dict[str, Any] = {
        "title": catalogue.title,
        "answer": f"On {times.as_of_words}, {then.totals.sentence}"
        if rows
        else f"On {times.as_of_words} no entry had an object yet",
        "counts": then.totals.counts,
        "page": page,
        "table": draw_board(rows) if rows else "",
        "legend": draw_legend(),
        "is_narrowed": bool(BoardFilter.base_filters.keys() & request.GET.keys()),
        "numbers_href": reverse("progress:numbers", args=[pk]) + times.query,
        "address": request.path,
        "form": form,
    }
    return render(request, "progress/board_then.html", {**context, **then_words(times)})


def _board_actions(pk: int, *, may_keep: bool) -> list[dict[str, str]]:
    numbers_link = {"label": "All numbers", "href": reverse("progress:numbers", args=[pk])}
    entry_link = {"label": "Add an entry", "href": reverse("progress:entry_new", args=[pk])}
    return [numbers_link, entry_link] if may_keep else [numbers_link]


@requires(SEE_BOARD)
@require_safe
def numbers(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the numbers of a catalogue, each with the rows it counts, today or on a past day."""
    catalogue = get_object_or_404(Catalogue, pk=pk)
    form, now = look_back_form(request.GET), timezone.now()
    times = asked_for(form, now=now)
    if times is None:
        settle()
        context = {**numbers_context(catalogue, now=now), **today_words()}
    else:
        context = {**numbers_then(catalogue, times, now=now), **then_words(times)}
    address = reverse("progress:numbers", args=[pk])
    return render(request, "progress/numbers.html", {**context, "form": form, "address": address})


@requires(SEE_BOARD)
@require_safe
def rows(request: HttpRequest, pk: int, metric: str, part: str) -> HttpResponse:
    """List all rows behind one number."""
    catalogue = get_object_or_404(Catalogue, pk=pk)
    form, now = look_back_form(request.GET), timezone.now()
    times = asked_for(form, now=now)
    if times is None:
        settle()
    context = rows_context(catalogue, metric, part, now=now, times=times)
    page = Paginator(context["rows"], PER_PAGE).get_page(request.GET.get("page"))
    words = today_words() if times is None else then_words(times)
    context |= {
        "page": page,
        "form": form,
        "address": reverse("progress:rows", args=[pk, metric, part]),
    }
    return render(request, "progress/rows.html", {**context, **words})


@requires(SEE_BOARD)
@require_safe
def entry(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what an entry owes and has, and what stands between it and being whole."""
    found = get_object_or_404(Entry.objects.select_related("catalogue", "curator"), pk=pk)
    form = look_back_form(request.GET)
    now = timezone.now()
    times = asked_for(form, now=now)
    if times is not None:
        then = entry_then(found, times, now=now)
        return render(request, "progress/then.html", {**then, "form": form})
    context = entry_context(found, user=signed_in(request))
    return render(request, "progress/entry.html", {**context, "as_of": stamp(), "form": form})


@requires(SEE_OBJECT)
@require_safe
def museum_object(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an object: its states over time, what it is owed, and its pictures."""
    thing = get_object_or_404(CollectionObject, pk=pk)
    form = look_back_form(request.GET)
    now = timezone.now()
    times = asked_for(form, now=now)
    if times is not None:
        then = object_then(thing, times, now=now)
        return render(request, "progress/then.html", {**then, "form": form})
    context = object_page.object_context(
        thing,
        user=signed_in(request),
        address=reverse("progress:object", args=[pk]),
    )
    return render(request, "progress/object.html", {**context, "as_of": stamp(), "form": form})
