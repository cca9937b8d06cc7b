"""From owed views to shot lines: what one exposure set serves, in the order of a visit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from imaging_requests.campaigns.awaited import holding
from imaging_requests.campaigns.minutes import studio_for
from imaging_requests.campaigns.models import (
    Session,
    SetupCard,
    ShotLine,
    ShotLineState,
)
from imaging_requests.campaigns.rules import order_key
from imaging_requests.campaigns.words import session_words
from imaging_requests.people.errors import DomainError
from imaging_requests.requesting.models import OwedView
from imaging_requests.requesting.words import inside_words, numbers_of

LineKey = tuple[int, str, str, str, tuple[float, ...]]


def key_of(thing: OwedView | ShotLine) -> LineKey:
    """What makes owed views one line: the same picture serves them all."""
    detail = tuple(float(value) for value in thing.detail_mm or ())
    return (thing.object_id, thing.surface, thing.technique, thing.variant, detail)


def add_lines(session: Session, owed_view_ids: Sequence[int], *, now: datetime) -> list[ShotLine]:
    """Add lines for owed views to a session, or refuse in words; returns the new lines."""
    views = list(
        OwedView.objects.filter(pk__in=set(owed_view_ids))
        .select_related("treatment")
        .order_by("pk")
    )
    order = {pk: place for place, pk in enumerate(owed_view_ids)}
    views.sort(key=lambda view: order[view.pk])
    _refuse_unplannable(session, views)
    _refuse_planned_elsewhere(session, views)
    known = {key_of(line): line for line in session.shot_lines.all()}
    cards = _cards(session, views)
    position = max((line.position for line in known.values()), default=0)
    made: list[ShotLine] = []
    for view in views:
        line = known.get(key_of(view))
        if line is None:
            position += 1
            line = _new_line(session, view, position, cards)
            line.save()
            known[key_of(view)] = line
            made.append(line)
        elif view.px_per_mm > line.px_per_mm:
            _take_over(line, view, cards)
            line.save()
        line.owed_views.add(view)
    put_in_order(session, now=now)
    return made


def _refuse_unplannable(session: Session, views: Iterable[OwedView]) -> None:
    rows = list(views)
    numbers = numbers_of(view.object_id for view in rows)
    for view in rows:
        name = f"{inside_words(view)} of {numbers[view.object_id]}"
        if view.ended_at is not None:
            raise DomainError(
                f"Nobody asks for {name} any more: {view.end_reason}",
                code="campaigns.view_ended",
                next_step="Leave it out.",
            )
        if not view.spec.get("minutes") or not view.spec.get("tiles"):
            missing = ", ".join(
                str(fact).removesuffix("_mm").removesuffix("_kg").replace("_", " ")
                for fact in view.spec.get("missing", ())
            )
            raise DomainError(
                f"{numbers[view.object_id]} cannot be planned yet: "
                f"{missing or 'its size'} is not known.",
                code="campaigns.facts_missing",
                next_step="Let a conservator measure it; the shot list then follows by itself.",
            )
        if session.station.techniques and view.technique not in session.station.techniques:
            raise DomainError(
                f"The {session.station} does not make {name}.",
                code="campaigns.wrong_station",
                next_step="Plan it at a station that does.",
            )


def _refuse_planned_elsewhere(session: Session, views: Iterable[OwedView]) -> None:
    line = (
        holding()
        .filter(owed_views__in=list(views))
        .exclude(session=session.pk)
        .select_related("session__station")
        .first()
    )
    if line is not None and line.state == ShotLineState.DONE:
        number = numbers_of([line.object_id])[line.object_id]
        raise DomainError(
            f"{line} of {number} is shot already, in the {session_words(line.session)}; "
            "its files are awaited.",
            code="campaigns.shot_already",
            next_step="Bring the files, or say in that line that it was not done.",
        )
    if line is not None:
        number = numbers_of([line.object_id])[line.object_id]
        raise DomainError(
            f"{line} of {number} is planned already, in the {session_words(line.session)}.",
            code="campaigns.planned_already",
            next_step="Drop the line there first if it belongs here.",
        )


def _cards(session: Session, views: Iterable[OwedView]) -> dict[str, SetupCard]:
    """The newest card of each code at the station, and the newest of each technique."""
    cards: dict[str, SetupCard] = {}
    for card in SetupCard.objects.filter(station=session.station).order_by("version", "pk"):
        cards[card.code] = card
        cards[f"technique {card.technique}"] = card
    return cards


def _card_for(view: OwedView, cards: dict[str, SetupCard]) -> SetupCard | None:
    return cards.get(view.spec.get("setup_card", "")) or cards.get(f"technique {view.technique}")


def _take_over(line: ShotLine, view: OwedView, cards: dict[str, SetupCard]) -> None:
    spec = view.spec
    line.px_per_mm = view.px_per_mm
    line.tiles_across, line.tiles_down = spec["tiles"]
    line.exposures_ev = spec.get("exposures_ev") or [0]
    line.focus_slices = spec.get("focus_slices") or 1
    line.minutes = spec["minutes"]
    line.light_lxh = spec.get("light_lxh") or 0
    line.uv_minutes = spec.get("uv_minutes") or 0
    line.people = spec.get("people") or 1
    line.expected_files = spec.get("frames") or 1
    line.cautions = spec.get("cautions") or []
    line.setup_card = _card_for(view, cards)


def _new_line(
    session: Session, view: OwedView, position: int, cards: dict[str, SetupCard]
) -> ShotLine:
    line = ShotLine(
        session=session,
        object_id=view.object_id,
        position=position,
        face=view.face,
        surface=view.surface,
        technique=view.technique,
        variant=view.variant,
        detail_mm=view.detail_mm,
    )
    _take_over(line, view, cards)
    return line


def put_in_order(session: Session, *, now: datetime) -> None:
    """Number the lines as a visit goes: object by object, front, one turn, back, edges."""
    lines = list(session.shot_lines.order_by("position"))
    techniques = studio_for([line.object_id for line in lines], now).technique_order
    first: dict[int, int] = {}
    for line in lines:
        first.setdefault(line.object_id, line.position)
    lines.sort(
        key=lambda line: (
            first[line.object_id],
            order_key(line.technique, line.face, line.variant, techniques=techniques),
        )
    )
    moved = [(line, place) for place, line in enumerate(lines, start=1) if line.position != place]
    beyond = max((line.position for line in lines), default=0) + len(lines)
    for step, (line, _) in enumerate(moved, start=1):
        line.position = beyond + step
        line.save(update_fields=["position"])
    for line, place in moved:
        line.position = place
        line.save(update_fields=["position"])
