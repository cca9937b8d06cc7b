"""The write about files that were offered and could not be taken from where they lie."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from imaging_requests.intake import quarantine
from imaging_requests.intake.actions.layout import ask_for_layout
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.intake.policies import UPLOAD
from imaging_requests.intake.rules import clean_name, demand_arrival_step
from imaging_requests.people import audit
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand


@transaction.atomic
def leave_behind(
    *,
    actor: User,
    drop_id: int,
    name: str,
    because: str,
    token: UUID | None = None,
    is_needed: bool = True,
    now: datetime | None = None,
) -> Arrival:
    """Say in a drop what was not taken and why, so that its receipt names it.

    `token`: the upload that could not be brought to its end; without one the file never began.
    What is not needed, as a system's own note, is named and does not hold the card up.
    """
    now = now or timezone.now()
    state = ArrivalState.REFUSED if is_needed else ArrivalState.GIVEN_UP
    drop = Drop.objects.select_for_update().get(pk=drop_id)
    demand(actor, UPLOAD, drop)
    if token is None:
        arrival = Arrival(drop=drop, name=clean_name(name), size_bytes=0, created_at=now)
    else:
        arrival = Arrival.objects.select_for_update().get(token=token, drop=drop)
        demand_arrival_step(arrival.name, before=arrival.state, after=state)
    arrival.state, arrival.answer, arrival.writer = state, because, None
    arrival.touched_at = now
    arrival.save()
    audit.record(
        "intake.file_left_behind",
        actor=actor,
        subject=arrival,
        after={"name": arrival.name, "state": state},
        reason=because,
        now=now,
    )
    if token is not None:
        ask_for_layout([drop_id])
        transaction.on_commit(lambda: quarantine.discard(token))
    return arrival
