"""Keeping what joining gave, and laying the plate map by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Case, Exists, IntegerField, OuterRef, Value, When
from django.utils import timezone

from imaging_requests.deliverables import joining, rules
from imaging_requests.deliverables.actions.records import record, spoken, tell_about
from imaging_requests.deliverables.actions.registering import REGISTER
from imaging_requests.deliverables.joined import stored_path
from imaging_requests.deliverables.joining import JOIN
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableKind,
    DeliverableState,
    Join,
    PlateMap,
)
from imaging_requests.deliverables.policies import LAY_PLATES, TAKE_FULL_DEPTH
from imaging_requests.intake import jobs as background
from imaging_requests.intake.actions.made import MadeFile, drop_made, keep_made
from imaging_requests.intake.models import FileCheck, Job
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

#: What stands where somebody took back what was laid by hand.
AS_FOUND = "Taken back: the tiles lie again as the program finds them."
OPEN_STATES = (DeliverableState.BUILDING, DeliverableState.TO_REVIEW)


def ask_for_join(row: Deliverable, *, now: datetime) -> None:
    """Ask for the joining of a picture's tiles, inside the transaction that completed it."""
    if row.is_complete and joining.is_joined_kind(row):
        background.enqueue(JOIN, row.pk, again=True, now=now)


@transaction.atomic
def ask_to_join(*, actor: User, deliverable_id: int, now: datetime | None = None) -> Job:
    """Ask for the joining of a picture's tiles because somebody wants it now."""
    now = now or timezone.now()
    row = Deliverable.objects.select_for_update().get(pk=deliverable_id)
    demand(actor, LAY_PLATES, row)
    if not joining.is_joined_kind(row) or joining.plan_of(row) is None:
        raise DomainError(
            "This picture is not made of tiles that are joined.",
            code="deliverables.nothing_to_join",
            next_step="Go back to the picture.",
        )
    rules.demand_complete(row.missing, is_complete=row.is_complete)
    job = background.enqueue(JOIN, row.pk, again=True, now=now)
    record("deliverables.join_asked", row, actor=actor, before=row.state, after={}, now=now)
    return job


@transaction.atomic
def ask_for_missing_joins(*, most: int) -> int:
    """Ask for joinings that nobody ever asked for, as of pictures that were entered later.

    What is open comes first, then the newest captures.
    """
    asked = Job.objects.filter(kind=JOIN, subject_id=OuterRef("pk"))
    open_first = Case(
        When(state__in=OPEN_STATES, then=Value(0)), default=Value(1), output_field=IntegerField()
    )
    rows = (
        Deliverable.objects.filter(kind=DeliverableKind.MOSAIC, is_complete=True, joins=None)
        .exclude(state__in=(DeliverableState.SENT_BACK, DeliverableState.RECALLED))
        .filter(~Exists(asked))
        .order_by(open_first, "-captured_at", "pk")
    )
    chosen = list(rows.values_list("pk", flat=True)[:most])
    for pk in chosen:
        background.enqueue(JOIN, pk)
    return len(chosen)


def ask_for_joins(deliverable_ids: Sequence[int]) -> None:
    """Ask for joinings again whose derived files are gone; what is there is not made anew."""
    for pk in deliverable_ids:
        with transaction.atomic():
            background.enqueue(JOIN, pk, again=True)


def ask_where_it_lies(row: Deliverable, *, now: datetime) -> None:
    """Ask anew where a picture lies on its face, for another joining may stand for it now."""
    background.enqueue(REGISTER, row.pk, again=True, now=now)


@transaction.atomic
def keep_join(
    *,
    row: Deliverable,
    plan: joining.Plan,
    values: Mapping[str, Any],
    checks: Sequence[Mapping[str, Any]],
    files: Sequence[MadeFile] = (),
    now: datetime,
) -> Join:
    """Keep one joining with its checks and its files; doing it twice does it once.

    A picture that was decided about keeps the checks that its reviewer saw, and nobody is asked to
    do anything about it: what its joining found stands with the joining alone.

    The same recipe may give other bytes on another machine. If the file was lost, the new one takes
    its place, and that is written down.
    """
    made, is_new = Join.objects.get_or_create(
        deliverable=row,
        recipe=plan.recipe,
        defaults={
            **values,
            "ingredients": plan.ingredients,
            "plate_map": plan.plate_map,
            "made_at": now,
        },
    )
    keep_made(files, now=now)
    if not is_new and values.get("sha256", made.sha256) != made.sha256:
        _keep_other_bytes(made, values, now)
    is_open = is_undecided(row)
    if is_open:
        keep_checks(row, plan, checks, now=now)
    if is_new:
        ask_where_it_lies(row, now=now)
        record(
            "deliverables.joined",
            row,
            actor=None,
            before=row.state,
            after={"join": made.verdict, "recipe": made.recipe, "sha256": made.sha256},
            now=now,
        )
        if is_open and made.verdict != Join.Verdict.JOINED:
            text = f"The tiles of {spoken(row)} wait for you: {made.sentence}"
            tell_about(
                row,
                [row.photographer],
                text,
                actor=None,
                now=now,
                page="deliverables:plates",
            )
    return made


def is_undecided(row: Deliverable) -> bool:
    """Whether nobody has decided about a picture by now, whatever its row said when it was read."""
    return Deliverable.objects.filter(pk=row.pk, state__in=OPEN_STATES).exists()


def _keep_other_bytes(made: Join, values: Mapping[str, Any], now: datetime) -> None:
    before, path = made.sha256, stored_path(made)
    for name, value in values.items():
        setattr(made, name, value)
    made.save(update_fields=list(values))
    if path and not Join.objects.filter(sha256=before).exists():
        drop_made(path)
    record(
        "deliverables.joined_anew",
        made.deliverable,
        actor=None,
        before=made.deliverable.state,
        after={"join": made.verdict, "recipe": made.recipe, "from": before, "sha256": made.sha256},
        now=now,
    )


@transaction.atomic
def record_taking(
    *, actor: User, row: Deliverable, join: Join, kind: str, now: datetime | None = None
) -> None:
    """Write down that somebody takes a joined picture with all its levels."""
    demand(actor, TAKE_FULL_DEPTH)
    audit.record(
        "deliverables.joined_taken",
        actor=actor,
        subject=row,
        object_id=row.object_id,
        after={"kind": kind, "recipe": join.recipe, "sha256": join.sha256},
        now=now,
    )


@transaction.atomic
def keep_checks(
    row: Deliverable,
    plan: joining.Plan,
    checks: Sequence[Mapping[str, Any]],
    *,
    now: datetime,
) -> None:
    """Put what a joining says in place of what an earlier one said, on whichever frame.

    What names no frame of its own stands on the cover.
    """
    frame_ids = [plate.frame for plate in plan.plates]
    if row.cover_id is not None:
        frame_ids.append(row.cover_id)
    FileCheck.objects.filter(
        frame__in=frame_ids, rule__in=joining.rules_of(plan.technique)
    ).delete()
    for check in checks:
        frame_id = check.get("frame", row.cover_id)
        if frame_id is not None:
            FileCheck.objects.update_or_create(
                frame_id=frame_id,
                rule=check["rule"],
                rule_version=check["rule_version"],
                defaults={
                    name: check[name] for name in ("value", "unit", "limit", "verdict", "sentence")
                }
                | {"place_px": check.get("place_px"), "checked_at": now},
            )


@transaction.atomic
def lay_plates(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    plates: Sequence[Mapping[str, Any]],
    note: str,
    now: datetime | None = None,
) -> PlateMap:
    """Lay the tiles by hand: each on one place, with the reason; the picture is joined anew.

    The frames and where they were shot stay as they are; what changes is how they are put together.
    """
    now = now or timezone.now()
    row, plan = _laid_anew(actor, deliverable_id, read_version)
    words = note.strip()
    if not words:
        raise DomainError(
            "Say how you know where the tiles lie.",
            code="deliverables.plates_without_reason",
            next_step="For example: “The lead markers read 4 and 3.”",
        )
    if {plate["frame"] for plate in plates} != {plate.frame for plate in plan.plates}:
        raise DomainError(
            "The tiles have changed since the page was loaded.",
            code="deliverables.plates_changed",
            next_step="Load the plate map again.",
        )
    places = [(plate["column"], plate["row"]) for plate in plates]
    if len(set(places)) < len(places):
        twice = next(place for place in places if places.count(place) > 1)
        raise DomainError(
            f"Two tiles lie in column {twice[0] + 1}, row {twice[1] + 1}.",
            code="deliverables.place_taken_twice",
            next_step="Give every tile a place of its own.",
        )
    return _keep_map(row, plates, words, actor=actor, now=now)


@transaction.atomic
def lay_as_found(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    now: datetime | None = None,
) -> PlateMap:
    """Take back what was laid by hand: the tiles lie again as the program finds them.

    The plate maps that people laid are kept; one without tiles follows them and counts from now.
    """
    now = now or timezone.now()
    row, plan = _laid_anew(actor, deliverable_id, read_version)
    if plan.plate_map is None:
        raise IllegalStep(
            "Nobody has laid these tiles by hand.",
            code="deliverables.plates_as_found",
            next_step="They lie as the program found them already.",
        )
    return _keep_map(row, (), AS_FOUND, actor=actor, now=now)


def _laid_anew(
    actor: User, deliverable_id: int, read_version: int
) -> tuple[Deliverable, joining.Plan]:
    """Lock a picture whose tiles may be laid anew, or refuse with the reason."""
    row = lock_row(Deliverable, deliverable_id, read_version=read_version)
    demand(actor, LAY_PLATES, row)
    if row.state not in OPEN_STATES:
        raise IllegalStep(
            f"The tiles of this picture cannot be laid anew: it is "
            f"{row.get_state_display().lower()}.",
            code="deliverables.plates_decided",
            next_step="Start the next version of the picture, or have it recalled first.",
        )
    plan = joining.plan_of(row)
    if plan is None or not joining.is_joined_kind(row):
        raise DomainError(
            "This picture is not made of tiles, so there is nothing to lay.",
            code="deliverables.no_plates",
            next_step="Go back to the picture.",
        )
    return row, plan


def _keep_map(
    row: Deliverable,
    plates: Sequence[Mapping[str, Any]],
    words: str,
    *,
    actor: User,
    now: datetime,
) -> PlateMap:
    made = PlateMap.objects.create(
        deliverable=row,
        plates=[dict(plate) for plate in plates],
        note=words,
        by=actor,
        recorded_at=now,
    )
    save_row(row, fields=[])
    record(
        "deliverables.plates_laid",
        row,
        actor=actor,
        before=row.state,
        after={"plate_map": made.pk, "plates": made.plates},
        reason=words,
        now=now,
    )
    ask_for_join(row, now=now)
    return made
