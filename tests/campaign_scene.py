"""Sessions for tests of campaigns, by the acts of their people."""

from __future__ import annotations

from datetime import timedelta

from django.test import Client
from django.utils import timezone

from imaging_requests.campaigns import actions
from imaging_requests.campaigns.models import Session, Station
from imaging_requests.campaigns.words import local
from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import User
from imaging_requests.requesting.derivation import sync_owed_views
from tests import factory
from tests.factory import NOW, hours

FRIDAY = NOW + timedelta(days=1, hours=4)


def draft(
    signe: User, amaro: User, at: Station, *techniques: str, length_h: float = 6, **facts: object
) -> Session:
    obj = factory.museum_object(**facts)
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    views = obj.owed_views.filter(technique__in=techniques).values_list("pk", flat=True)
    return actions.plan_session(
        actor=signe,
        campaign_id=factory.campaign().pk,
        station_id=at.pk,
        photographer_id=amaro.pk,
        starts_at=FRIDAY,
        ends_at=FRIDAY + hours(length_h),
        owed_view_ids=list(views),
        handlers=2,
        now=NOW,
    )


def confirm(actor: User, session: Session) -> Session:
    session.refresh_from_db()
    return actions.confirm_session(
        actor=actor, session_id=session.pk, read_version=session.row_version, now=NOW
    )


def owed(number: str = "", title: str = "") -> CollectionObject:
    obj = factory.museum_object(
        number, title, height_mm=790, width_mm=1060, warp_mm=5, weight_kg=10
    )
    factory.entry(obj)
    sync_owed_views([obj.pk], timezone.now())
    return obj


def at(hour: int, *, days: int = 1) -> object:
    """A full hour on the studio's clock, some days ahead."""
    day = local(timezone.now()).replace(hour=hour, minute=0, second=0, microsecond=0)
    return day + timedelta(days=days)


def plan(
    people: dict[str, User], obj: CollectionObject, *techniques: str, **extra: object
) -> Session:
    views = obj.owed_views.filter(technique__in=techniques or ("UV",), face="F")
    values = {
        "campaign_id": factory.campaign().pk,
        "station_id": factory.station("bay").pk,
        "photographer_id": people["photographer"].pk,
        "starts_at": at(13),
        "ends_at": at(16),
    } | extra
    return actions.plan_session(
        actor=people["lead"],
        owed_view_ids=list(views.values_list("pk", flat=True)),
        **values,
    )


def confirmed(people: dict[str, User], session: Session, *, running: bool = False) -> Session:
    session.refresh_from_db()
    actions.confirm_session(
        actor=people["lead"], session_id=session.pk, read_version=session.row_version
    )
    session.refresh_from_db()
    if running:
        actions.start_session(
            actor=people["photographer"],
            session_id=session.pk,
            read_version=session.row_version,
        )
        session.refresh_from_db()
    return session


def signed_in(client: Client, user: User) -> Client:
    client.force_login(user)
    return client


def text(response: object) -> str:
    return " ".join(response.content.decode().split())  # type: ignore[attr-defined]
