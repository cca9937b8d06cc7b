"""Scenes for tests of derived pages: pictures made long ago, steps recorded late, all derived.

Rows are written past the actions, with the instants that a scene needs; `derive` then settles the
objects as a worker would.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from imaging_requests.collection.models import CollectionObject
from imaging_requests.collection.stale import mark_stale
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableState,
    Package,
    PackageItem,
)
from imaging_requests.intake.models import Frame
from imaging_requests.people.models import User
from imaging_requests.progress.settle import settle
from imaging_requests.requesting.models import OwedView, Waiver
from imaging_requests.treatments.models import Intervention, InterventionRecord
from tests import factory


def derive(at: datetime = factory.NOW) -> None:
    """Derive every object anew; the scene was set past the actions that would leave marks."""
    mark_stale(CollectionObject.objects.values_list("pk", flat=True), "scene")
    settle(now=at)


def take_varnish_off(
    thing: CollectionObject, at: datetime, *, known_at: datetime | None = None
) -> Intervention:
    """A finished step of a treatment; entered at `known_at`, or at once."""
    known_at = known_at or at
    treatment = factory.treatment(thing, rows=(2,), state="finished", finished_at=at)
    step = treatment.interventions.get()
    type(treatment).objects.filter(pk=treatment.pk).update(recorded_at=known_at)
    Intervention.objects.filter(pk=step.pk).update(recorded_at=known_at)
    InterventionRecord.objects.create(
        intervention=step,
        recorded_at=known_at,
        state=step.state,
        started_at=step.started_at,
        finished_at=step.finished_at,
    )
    return step


def waive(view: OwedView, by: User, at: datetime) -> Waiver:
    """An ordinary waiver in force."""
    return Waiver.objects.create(
        owed_view=view,
        reason_code="covered",
        text="The frame covers it.",
        granted_by=by,
        granted_at=at,
        recorded_at=at,
    )


def picture(
    view: OwedView,
    at: datetime,
    *,
    by: User,
    state: str = DeliverableState.ACCEPTED,
    frames: Iterable[Frame] = (),
    accepted_after: timedelta = timedelta(days=1),
) -> Deliverable:
    """A complete picture of a view, captured at an instant and reviewed the next day."""
    made = factory.deliverable(
        view.object,
        view.technique,
        view.face,
        view.variant,
        surface=view.surface,
        px_per_mm=view.px_per_mm,
        captured_at=at,
        handed_in_at=at + timedelta(hours=2),
        created_at=at,
        state=state,
        frames=frames,
    )
    if state == DeliverableState.ACCEPTED:
        made.reviews.create(verdict="accepted", by=by, recorded_at=at + accepted_after)
    return made


def file(made: Deliverable, at: datetime, *, by: User) -> Package:
    """Seal a picture into a package of its own."""
    package = Package.objects.create(number=f"P-{made.pk}", purpose="print", made_by=by, made_at=at)
    PackageItem.objects.create(package=package, deliverable=made)
    Package.objects.filter(pk=package.pk).update(
        state=Package.State.SEALED, sealed_at=at, manifest_sha256="0" * 64
    )
    return package
