"""Putting a picture together from the frames of a shot line, handing it in, taking it back."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import queries, rules
from imaging_requests.deliverables.actions.measuring import ask_to_measure
from imaging_requests.deliverables.actions.records import record, spoken, tell_about
from imaging_requests.deliverables.composing import Composition
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    Polarity,
)
from imaging_requests.deliverables.policies import HAND_IN
from imaging_requests.deliverables.rules import Act
from imaging_requests.intake.models import FileCheck
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

COMPOSED = (
    "kind",
    "captured_at",
    "px_per_mm",
    "is_complete",
    "missing",
    "faults",
    "photographer",
    "cover",
)


@transaction.atomic
def assemble_line(*, shot_line_id: int, now: datetime | None = None) -> Deliverable | None:
    """Bring the picture of a shot line in step with the frames placed on it.

    The newest version that is still building is refreshed. Without one a version is begun, unless
    the line's newest version waits for review or is accepted (then new frames are spares), or was
    sent back or recalled and the frames are the same as before. Doing it twice does it once.
    """
    now = now or timezone.now()
    line = (
        ShotLine.objects.select_for_update(of=("self",))
        .select_related("session", "object")
        .filter(pk=shot_line_id)
        .first()
    )
    if line is None:
        return None
    CollectionObject.objects.select_for_update().get(pk=line.object_id)
    composition = queries.composition_of(line)
    newest = queries.newest_of_line(line.pk)
    if newest is not None and newest.state == DeliverableState.BUILDING:
        return _refresh(newest, line, composition, now=now)
    if newest is not None and rules.is_settled(newest.state):
        return newest
    if not composition.seats:
        return newest
    if newest is not None and queries.fingerprint_of(newest) == composition.fingerprint:
        return newest
    return _begin(line, composition, actor=None, now=now)


@transaction.atomic
def keep_recognition(*, row: Deliverable, check: FileCheck | None) -> None:
    """Keep what was found when a picture was compared with references, in place of what was."""
    if check is None:
        return
    frames = DeliverableFrame.objects.filter(deliverable=row).values("frame")
    FileCheck.objects.filter(frame__in=frames, rule=check.rule).delete()
    check.save(force_insert=True)


def _begin(
    line: ShotLine,
    composition: Composition,
    *,
    actor: User | None,
    reason: str = "",
    now: datetime,
) -> Deliverable:
    captured_at = composition.captured_at or line.session.starts_at
    earlier = queries.newest_for_same_views(line)
    continues = earlier is not None and rules.continues_chain(
        rules.Earlier(earlier.state, earlier.captured_at),
        event_between=queries.has_event_between(line.object_id, earlier.captured_at, captured_at),
    )
    made = Deliverable(
        chain=earlier.chain if continues and earlier is not None else uuid.uuid4(),
        version=queries.next_version(earlier.chain) if continues and earlier is not None else 1,
        object=line.object,
        face=line.face,
        surface=line.surface,
        technique=line.technique,
        variant=line.variant,
        detail_mm=line.detail_mm,
        polarity=Polarity.UNKNOWN if line.technique == "XR" else "",
        shot_line=line,
        created_at=now,
    )
    _compose(made, line, composition)
    made.save(force_insert=True)
    _seat(made, composition)
    record(
        "deliverables.begun",
        made,
        actor=actor,
        before="",
        after={"chain": str(made.chain), "version": made.version, "line": line.pk},
        reason=reason,
        now=now,
    )
    _tell_if_complete(made, was_complete=False, now=now)
    return made


def _refresh(
    row: Deliverable, line: ShotLine, composition: Composition, *, now: datetime
) -> Deliverable:
    row = Deliverable.objects.select_for_update().get(pk=row.pk)
    rules.next_state(row.state, Act.ASSEMBLE)
    same_frames = queries.fingerprint_of(row) == composition.fingerprint
    before = {name: getattr(row, name) for name in COMPOSED}
    was_complete = row.is_complete
    _compose(row, line, composition)
    if same_frames and before == {name: getattr(row, name) for name in COMPOSED}:
        return row
    save_row(row, fields=list(COMPOSED))
    if not same_frames:
        DeliverableFrame.objects.filter(deliverable=row).delete()
        _seat(row, composition)
    record(
        "deliverables.refreshed",
        row,
        actor=None,
        before=row.state,
        after={"frames": len(composition.seats), "is_complete": row.is_complete},
        now=now,
    )
    _tell_if_complete(row, was_complete=was_complete, now=now)
    return row


def _compose(row: Deliverable, line: ShotLine, composition: Composition) -> None:
    row.kind = composition.kind
    row.captured_at = composition.captured_at or line.session.starts_at
    row.px_per_mm = line.px_per_mm
    row.is_complete = composition.is_complete
    row.missing = list(composition.missing)
    row.faults = list(composition.faults)
    row.photographer_id = line.session.photographer_id
    row.cover_id = composition.cover_id


def _seat(row: Deliverable, composition: Composition) -> None:
    DeliverableFrame.objects.bulk_create(
        DeliverableFrame(
            deliverable=row,
            frame_id=seat.frame.frame_id,
            tile_x=seat.spot.tile_x,
            tile_y=seat.spot.tile_y,
            ev=seat.spot.ev,
            focus_slice=seat.spot.focus_slice,
        )
        for seat in composition.seats
    )


def _tell_if_complete(row: Deliverable, *, was_complete: bool, now: datetime) -> None:
    if row.is_complete and not was_complete:
        text = f"{spoken(row)} is complete: look at it and hand it in."
        tell_about(row, [row.photographer], text, actor=None, now=now)


@transaction.atomic
def start_again(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    reason: str = "",
    now: datetime | None = None,
) -> Deliverable:
    """Begin the next version from the frames as they lie now, after a sending back or a recall.

    If it was to be shot again and the frames are still the same, the next reviewer is told why
    (`reason`).
    """
    now = now or timezone.now()
    ids = Deliverable.objects.values_list("shot_line_id", flat=True).get(pk=deliverable_id)
    line = None if ids is None else queries.locked_line(ids)
    row = lock_row(Deliverable, deliverable_id, read_version=read_version)
    demand(actor, HAND_IN, row)
    if line is None:
        raise DomainError(
            "This picture was not made from a shot line, so it cannot be put together again.",
            code="deliverables.no_line",
            next_step="Plan the view in a session.",
        )
    newest = queries.newest_of_line(line.pk)
    if newest is None or newest.pk != row.pk or rules.is_settled(row.state):
        raise IllegalStep(
            "There is a newer version of this picture, or it needs none.",
            code="deliverables.no_need_to_start_again",
            next_step="Look at the newest version.",
        )
    if row.state == DeliverableState.BUILDING:
        return row
    composition = queries.composition_of(line)
    rules.demand_complete(composition.missing, is_complete=bool(composition.seats))
    words = reason.strip()
    if not words and queries.must_be_shot_again(row):
        same = queries.fingerprint_of(row) == composition.fingerprint
        rules.demand_reason_for_same_frames(is_same=same)
    return _begin(line, composition, actor=actor, reason=words, now=now)


@transaction.atomic
def hand_in(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    polarity: str = "",
    now: datetime | None = None,
) -> Deliverable:
    """Put a complete picture before a reviewer; an X-ray states its polarity."""
    now = now or timezone.now()
    row = lock_row(Deliverable, deliverable_id, read_version=read_version)
    demand(actor, HAND_IN, row)
    before = row.state
    row.state = rules.next_state(row.state, Act.HAND_IN)
    rules.demand_complete(row.missing, is_complete=row.is_complete)
    if row.technique == "XR" and polarity:
        row.polarity = polarity
    rules.demand_polarity(row.technique, row.polarity)
    row.handed_in_at = now
    save_row(row, fields=["state", "polarity", "handed_in_at"])
    if row.technique == "XR" and row.shot_line_id is not None:
        ask_to_measure(row.shot_line_id, because="polarity")
    record(
        "deliverables.handed_in",
        row,
        actor=actor,
        before=before,
        after={"polarity": row.polarity},
        now=now,
    )
    return row


@transaction.atomic
def take_back(
    *, actor: User, deliverable_id: int, read_version: int, now: datetime | None = None
) -> Deliverable:
    """Take a picture back before anybody has decided about it, and bring it in step again."""
    now = now or timezone.now()
    line_id = Deliverable.objects.values_list("shot_line_id", flat=True).get(pk=deliverable_id)
    if line_id is not None:
        queries.locked_line(line_id)
    row = lock_row(Deliverable, deliverable_id, read_version=read_version)
    demand(actor, HAND_IN, row)
    before = row.state
    row.state = rules.next_state(row.state, Act.TAKE_BACK)
    row.handed_in_at = None
    save_row(row, fields=["state", "handed_in_at"])
    record("deliverables.taken_back", row, actor=actor, before=before, now=now)
    if line_id is not None:
        assemble_line(shot_line_id=line_id, now=now)
        row.refresh_from_db()
    return row
