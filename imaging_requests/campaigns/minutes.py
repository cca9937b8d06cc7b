"""How long a session's lines take: views, placing each object, turns, reserve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from imaging_requests.campaigns.rules import count_turns
from imaging_requests.collection.models import CollectionObject
from imaging_requests.protocols.queries import settings_for_words
from imaging_requests.reckoning.shots import ObjectFacts, StudioSettings
from imaging_requests.reckoning.shots.methods import SizeClass
from imaging_requests.reckoning.shots.minutes import with_reserve
from imaging_requests.requesting.known_facts import latest_facts, shot_facts


@dataclass(frozen=True, kw_only=True)
class Handling:
    """What it takes to place and turn one object at a station."""

    place_min: float
    turn_min: float
    people: int
    needs_lift: bool


@dataclass(frozen=True, kw_only=True)
class Studio:
    """The studio's numbers and the facts of the objects of a session."""

    settings: StudioSettings | None
    facts: Mapping[int, ObjectFacts]

    def handling(self, object_id: int, station_code: str) -> Handling:
        """How an object is handled; nothing is known of an object without size."""
        facts = self.facts.get(object_id)
        if self.settings is None or facts is None or facts.long_side_mm is None:
            return Handling(place_min=0, turn_min=0, people=1, needs_lift=False)
        size = _size_class(facts, self.settings)
        station = self.settings.stations.get(station_code)
        placed = station is None or station.is_placed_separately
        return Handling(
            place_min=size.place_min if placed else 0,
            turn_min=size.turn_min,
            people=size.people,
            needs_lift=size.lift,
        )

    def booked_minutes(self, minutes: float) -> float:
        """Minutes to book: with reserve, rounded up."""
        if self.settings is None:
            return minutes
        return with_reserve(
            minutes,
            factor=self.settings.number("reserve.factor"),
            round_up_to=self.settings.number("reserve.round_up_to_min"),
        )

    @property
    def technique_order(self) -> tuple[str, ...]:
        """Techniques in the order in which they are shot on one face."""
        return () if self.settings is None else self.settings.values.texts("order.techniques")


def _size_class(facts: ObjectFacts, settings: StudioSettings) -> SizeClass:
    long_side, weight = facts.long_side_mm or 0.0, facts.weight_kg or 0.0
    return next(size for size in settings.sizes if size.fits(long_side, weight))


def studio_for(object_ids: Sequence[int], now: datetime) -> Studio:
    """Read the numbers and facts that a session needs: three queries."""
    rows = latest_facts(object_ids, now)
    kinds = dict(CollectionObject.objects.filter(pk__in=set(object_ids)).values_list("pk", "kind"))
    return Studio(
        settings=settings_for_words(now),
        facts={pk: shot_facts(rows.get(pk), kind=kind) for pk, kind in kinds.items()},
    )


@dataclass(frozen=True, kw_only=True)
class Piece:
    """What a line or a view to come contributes: object, face, minutes."""

    object_id: int
    face: str
    minutes: float


@dataclass(frozen=True, kw_only=True)
class Total:
    """Minutes of a session: shooting, placing, turning, and what to book for it."""

    shooting: float
    placing: float
    turning: float
    booked: float


def total_minutes(pieces: Sequence[Piece], *, station_code: str, studio: Studio) -> Total:
    """Add up lines in their order: each object is placed once, and turned as the order turns it."""
    faces: dict[int, list[str]] = {}
    for piece in pieces:
        faces.setdefault(piece.object_id, []).append(piece.face)
    placing = turning = 0.0
    for object_id, own in faces.items():
        handling = studio.handling(object_id, station_code)
        placing += handling.place_min
        turning += handling.turn_min * count_turns(own)
    shooting = sum(piece.minutes for piece in pieces)
    return Total(
        shooting=shooting,
        placing=placing,
        turning=turning,
        booked=studio.booked_minutes(shooting + placing + turning),
    )
