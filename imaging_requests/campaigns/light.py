"""The light book: what objects received this year, and what sessions will add.

A session's own light is counted from its lines: those that were shot, and those still planned in
confirmed sessions. Light from elsewhere (an exhibition, a film) is written in by hand. Only
painted faces count.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max, Q, Sum

from imaging_requests.campaigns.minutes import Studio
from imaging_requests.campaigns.models import (
    LightDose,
    Session,
    SessionState,
    ShotLine,
    ShotLineState,
)
from imaging_requests.campaigns.words import local, studio_zone
from imaging_requests.reckoning.shots import ObjectFacts
from imaging_requests.treatments.models import Intervention, InterventionState

_AHEAD = (SessionState.CONFIRMED, SessionState.RUNNING)


@dataclass(frozen=True, kw_only=True)
class LightBook:
    """Lux hours of one object in one year; `share` is None while its light class is unknown."""

    object_id: int
    used: float
    elsewhere: float
    planned: float
    share: float | None

    @property
    def total(self) -> float:
        """Used, planned elsewhere and planned here."""
        return self.used + self.elsewhere + self.planned


def yearly_share(facts: ObjectFacts | None, studio: Studio) -> float | None:
    """The studio's share of the yearly limit for an object's light class."""
    if studio.settings is None or facts is None or facts.light_class is None:
        return None
    limit = studio.settings.number(f"light.yearly_limit_lxh.{facts.light_class}")
    return limit * studio.settings.number("light.studio_share_fraction")


def _counts(face: str, facts: ObjectFacts | None) -> bool:
    painted = facts.painted_faces if facts is not None else None
    return face in (painted or ("F",))


def _year(instant: datetime) -> tuple[datetime, datetime]:
    year = local(instant).year
    zone = studio_zone()
    return datetime(year, 1, 1, tzinfo=zone), datetime(year + 1, 1, 1, tzinfo=zone)


def light_books(session: Session, lines: Sequence[ShotLine], studio: Studio) -> list[LightBook]:
    """The light book of each object of a session, for the session's year: two queries."""
    begin, end = _year(session.starts_at)
    planned: dict[int, float] = defaultdict(float)
    for line in lines:
        if line.state != ShotLineState.NOT_DONE and _counts(
            line.face, studio.facts.get(line.object_id)
        ):
            planned[line.object_id] += line.light_lxh
    used, elsewhere = _counted(session, planned, begin, end, studio)
    by_hand = dict(
        LightDose.objects.filter(
            object_id__in=planned, received_on__gte=begin.date(), received_on__lt=end.date()
        )
        .values_list("object_id")
        .annotate(Sum("lxh"))
    )
    return [
        LightBook(
            object_id=object_id,
            used=used[object_id] + by_hand.get(object_id, 0),
            elsewhere=elsewhere[object_id],
            planned=amount,
            share=yearly_share(studio.facts.get(object_id), studio),
        )
        for object_id, amount in planned.items()
    ]


def _counted(
    session: Session,
    object_ids: Collection[int],
    begin: datetime,
    end: datetime,
    studio: Studio,
) -> tuple[defaultdict[int, float], defaultdict[int, float]]:
    """Light of lines in other sessions of the year: shot already, and still to come."""
    used: defaultdict[int, float] = defaultdict(float)
    elsewhere: defaultdict[int, float] = defaultdict(float)
    rows = (
        ShotLine.objects.filter(
            object_id__in=object_ids,
            session__starts_at__gte=begin,
            session__starts_at__lt=end,
        )
        .filter(
            Q(state=ShotLineState.DONE) | Q(state=ShotLineState.PLANNED, session__state__in=_AHEAD)
        )
        .exclude(session=session.pk)
        .values_list("object_id", "face", "state", "light_lxh")
    )
    for object_id, face, state, light in rows:
        if _counts(face, studio.facts.get(object_id)):
            (used if state == ShotLineState.DONE else elsewhere)[object_id] += light
    return used, elsewhere


def ultraviolet_used(
    session: Session, places: Mapping[tuple[int, str], float]
) -> dict[tuple[int, str], float]:
    """Ultraviolet minutes of each face since the object's state last changed: two queries."""
    ids = {object_id for object_id, _ in places}
    changed = dict(
        Intervention.objects.filter(
            object_id__in=ids,
            state=InterventionState.FINISHED,
            finished_at__lte=session.starts_at,
        )
        .values_list("object_id")
        .annotate(Max("finished_at"))
    )
    used: dict[tuple[int, str], float] = defaultdict(float)
    rows = (
        ShotLine.objects.filter(object_id__in=ids, uv_minutes__gt=0)
        .filter(
            Q(state=ShotLineState.DONE) | Q(state=ShotLineState.PLANNED, session__state__in=_AHEAD)
        )
        .exclude(session=session.pk)
        .values_list("object_id", "face", "session__starts_at", "uv_minutes")
    )
    for object_id, face, starts_at, minutes in rows:
        since = changed.get(object_id)
        if since is None or starts_at >= since:
            used[object_id, face] += minutes
    return used
