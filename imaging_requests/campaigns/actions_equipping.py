"""Writes of what the studio works with: its stations and its set-up cards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from imaging_requests.campaigns.models import SetupCard, Station
from imaging_requests.campaigns.policies import PLAN
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand


@transaction.atomic
def create_station(
    *,
    actor: User,
    code: str,
    name: str,
    techniques: Sequence[str],
    cautions: Sequence[str] = (),
    now: datetime | None = None,
) -> Station:
    """Set up a station; its code is the one under which the studio's settings know it."""
    demand(actor, PLAN)
    if Station.objects.filter(code=code).exists():
        raise DomainError(
            f"There is a station “{code}” already.",
            code="campaigns.station_code_taken",
            next_step="Choose another code.",
        )
    station = Station(
        code=code, name=name.strip(), techniques=list(techniques), cautions=list(cautions)
    )
    station.full_clean()
    station.save(force_insert=True)
    audit.record(
        "campaigns.station_created",
        actor=actor,
        subject=station,
        after={"code": code, "name": station.name, "techniques": station.techniques},
        now=now,
    )
    return station


@transaction.atomic
def write_setup_card(
    *,
    actor: User,
    code: str,
    station_id: int,
    technique: str,
    values: Mapping[str, Any],
    note: str = "",
    now: datetime | None = None,
) -> SetupCard:
    """Write a set-up card, or its next version: a card that was used is never changed."""
    demand(actor, PLAN)
    now = now or timezone.now()
    last = SetupCard.objects.filter(code=code).aggregate(last=Max("version"))["last"] or 0
    card = SetupCard.objects.create(
        code=code,
        version=last + 1,
        station=Station.objects.select_for_update().get(pk=station_id),
        technique=technique,
        values=dict(values),
        note=note.strip(),
        created_at=now,
    )
    audit.record(
        "campaigns.setup_card_written",
        actor=actor,
        subject=card,
        after={"code": code, "version": card.version, "values": card.values},
        now=now,
    )
    return card
