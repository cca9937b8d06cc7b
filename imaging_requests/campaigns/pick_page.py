"""The list from which a session is filled: open views by object, minutes, a running total."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import DateField, OuterRef, Subquery, Value
from django.db.models.functions import Coalesce, Least

from imaging_requests.campaigns.checks import absence_sentence, absences, pieces_of
from imaging_requests.campaigns.minutes import Piece, Studio, studio_for, total_minutes
from imaging_requests.campaigns.models import Session
from imaging_requests.campaigns.rules import order_key
from imaging_requests.campaigns.words import duration_words, minutes_words
from imaging_requests.collection.models import CollectionObject, ObjectNumber
from imaging_requests.requesting import outlook
from imaging_requests.requesting.models import Demand, OwedView
from imaging_requests.requesting.overlaps import asker, demands_of
from imaging_requests.requesting.words import as_of_words, numbers_of, words_of

#: Objects on one page of the list.
OBJECTS_PER_PAGE = 25


@dataclass(frozen=True, kw_only=True)
class PickView:
    """One view that can be ticked."""

    view: OwedView
    words: str
    as_of: str
    status: str
    asked_by: str
    due_on: date | None
    due_as: str
    minutes: str
    is_ticked: bool
    is_plannable: bool


@dataclass(frozen=True, kw_only=True)
class PickObject:
    """One object with the views that are open on it."""

    object_id: int
    number: str
    title: str
    away: str
    views: tuple[PickView, ...]
    minutes: str
    placing: float


def pick_context(
    session: Session,
    filtered: Any,
    *,
    page: str | None,
    ticked: Collection[int],
    now: datetime,
) -> dict[str, Any]:
    """One page of objects with their open views, and the total of what is ticked."""
    paged = _objects(filtered.qs, page)
    ids = [row.pk for row in paged.object_list]
    views = list(filtered.qs.filter(object_id__in=ids).select_related("treatment"))
    standings = outlook.standing_of([view.pk for view in views])
    views = [view for view in views if not (s := standings.get(view.pk)) or not s.is_met]
    studio = studio_for(ids, now)
    order = studio.technique_order
    views.sort(
        key=lambda view: order_key(view.technique, view.face, view.variant, techniques=order)
    )
    return {
        "session": session,
        "filter": filtered,
        "page": paged,
        "objects": _pick_objects(session, paged, views, standings, ticked, studio),
        "view_ids": [view.pk for view in views],
        "total": total_words(session, [view for view in views if view.pk in ticked], now),
        "length": duration_words(session.ends_at - session.starts_at),
        "answer": f"What is shot in this session of {_length(session)}?",
    }


def _length(session: Session) -> str:
    return duration_words(session.ends_at - session.starts_at)


def _objects(views: Any, page: str | None) -> Page[Any]:
    """The objects of the views: what falls due first, as `due_of` says, then by number."""
    never = Value(date.max, output_field=DateField())
    due = views.filter(object=OuterRef("pk"), due_on__isnull=False).order_by("due_on")
    wished = (
        Demand.objects.filter(
            owed_view__object=OuterRef("pk"),
            owed_view__in=views.order_by().values("pk"),
            until=None,
            request_line__isnull=False,
        )
        .annotate(
            day=Least(
                Coalesce("request_line__promised_on", never),
                Coalesce("request_line__request__wanted_by", never),
            )
        )
        .order_by("day")
    )
    number = ObjectNumber.objects.filter(
        object=OuterRef("pk"), scheme="inventory", in_force_to=None
    )
    objects = (
        CollectionObject.objects.filter(pk__in=views.values("object"))
        .annotate(
            first_due=Least(
                Coalesce(Subquery(due.values("due_on")[:1]), never),
                Coalesce(Subquery(wished.values("day")[:1]), never),
            ),
            number=Subquery(number.values("number")[:1]),
        )
        .order_by("first_due", "number", "pk")
    )
    return Paginator(objects, OBJECTS_PER_PAGE).get_page(page)


def due_of(view: OwedView, demands: Iterable[Demand]) -> tuple[date | None, str]:
    """The earliest day by which a view is needed, and whether it is planned, promised or wanted.

    The day of a treatment's step comes with the view, the other two with the wishes behind it.
    """
    wishes = [demand.request_line for demand in demands if demand.request_line is not None]
    days = [
        (view.due_on, "for the treatment"),
        *((wish.promised_on, "promised") for wish in wishes),
        *((wish.request.wanted_by, "wanted") for wish in wishes),
    ]
    known = [(day, word) for day, word in days if day is not None]
    return min(known, key=lambda each: each[0], default=(None, ""))


def _pick_objects(
    session: Session,
    page: Page[Any],
    views: Sequence[OwedView],
    standings: Any,
    ticked: Collection[int],
    studio: Studio,
) -> list[PickObject]:
    ids = [row.pk for row in page.object_list]
    numbers, demands = numbers_of(ids), demands_of([view.pk for view in views])
    due = {view.pk: due_of(view, demands[view.pk]) for view in views}
    away: dict[int, str] = {}
    for absence in absences(session, ids):
        if absence.blocks_capture and not absence.techniques:
            away[absence.object_id] = absence_sentence(absence, numbers[absence.object_id])
    found = []
    for row in page.object_list:
        own = [view for view in views if view.object_id == row.pk]
        if not own:
            continue
        minutes = sum(view.spec.get("minutes") or 0 for view in own)
        handling = studio.handling(row.pk, session.station.code)
        found.append(
            PickObject(
                object_id=row.pk,
                number=numbers[row.pk],
                title=row.title,
                away=away.get(row.pk, ""),
                views=tuple(
                    PickView(
                        view=view,
                        words=words_of(view),
                        as_of=as_of_words(view),
                        status=standings[view.pk].status if view.pk in standings else "open",
                        asked_by=", ".join(dict.fromkeys(asker(each) for each in demands[view.pk])),
                        due_on=due[view.pk][0],
                        due_as=due[view.pk][1],
                        minutes=minutes_words(view.spec["minutes"])
                        if view.spec.get("minutes")
                        else "facts missing",
                        is_ticked=view.pk in ticked,
                        is_plannable=bool(view.spec.get("minutes")) and row.pk not in away,
                    )
                    for view in own
                ),
                minutes=minutes_words(minutes),
                placing=handling.place_min,
            )
        )
    return found


def total_words(session: Session, views: Sequence[OwedView], now: datetime) -> dict[str, Any]:
    """What the session takes with the ticked views, against its length."""
    lines = list(session.shot_lines.order_by("position"))
    pieces = pieces_of(lines) + [
        Piece(object_id=view.object_id, face=view.face, minutes=view.spec.get("minutes") or 0)
        for view in views
    ]
    studio = studio_for([piece.object_id for piece in pieces], now)
    total = total_minutes(pieces, station_code=session.station.code, studio=studio)
    length = (session.ends_at - session.starts_at).total_seconds() / 60
    left = length - total.booked
    return {
        "ticked": len(views),
        "booked": minutes_words(round(total.booked)),
        "left": minutes_words(round(left)) if left >= 0 else "",
        "over": minutes_words(round(-left)) if left < 0 else "",
    }
