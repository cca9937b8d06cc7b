"""What a picture owes before it is accepted follows from the picture, not from rows of jobs."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.db import transaction
from django.urls import reverse

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import actions, tasks
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableKind,
    Registration,
)
from imaging_requests.deliverables.owed import WORDS, composed, owed_by
from imaging_requests.deliverables.registering import CODE_VERSION
from imaging_requests.intake.jobs import KINDS, enqueue, run
from imaging_requests.intake.models import Copy, Job, JobState
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.people.models import User
from tests import factory
from tests.factory import hours
from tests.picture_scene import derive_pictures, signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def line(stores: Path) -> ShotLine:
    factory.rules()
    session = factory.session(station=factory.station("easel"), by=factory.photographer())
    thing = factory.museum_object("AR 0070", "The Ferry House")
    return factory.shot_line(session, thing, "VF", expected_files=1)


def handed_in(line: ShotLine) -> Deliverable:
    """A picture with its screen pictures, handed in; no work was ever asked for."""
    frame = factory.frame(line)
    derive_pictures(frame)
    return factory.deliverable(
        line.object,
        line.technique,
        line.face,
        state="to_review",
        frames=[frame],
        shot_line=line,
    )


def accept(row: Deliverable, by: User, **extra: str) -> None:
    row.refresh_from_db()
    actions.accept(actor=by, deliverable_id=row.pk, read_version=row.row_version, **extra)


def kinds(row: Deliverable) -> set[str]:
    return {each.kind for each in owed_by(row)}


def registered(row: Deliverable, **extra: object) -> None:
    values = {
        "frame": row.cover, "code_version": CODE_VERSION, "width_px": 10, "height_px": 10,
        "verdict": "cannot_tell", "reason": "The size of the object is not recorded.",
    }  # fmt: skip
    Registration.objects.create(deliverable=row, **(values | extra))


def test_a_picture_for_which_no_work_was_ever_asked_is_not_accepted(
    line: ShotLine, signe: User
) -> None:
    row = handed_in(line)
    assert not Job.objects.exists()
    with pytest.raises(IllegalStep) as refused:
        accept(row, signe)
    assert str(refused.value).startswith(
        "Still to come: the measuring of its frames, where it lies on its face."
    )
    body = signed_in(signe).get(reverse("deliverables:review", args=[row.pk])).content.decode()
    assert "Still to come: the measuring of its frames; load the page again" in body
    assert "Every check passed" not in body


def test_the_sweep_asks_for_what_a_review_waits_for_and_then_it_passes(
    line: ShotLine, signe: User
) -> None:
    row = handed_in(line)
    tasks.sweep_registrations()
    asked = set(Job.objects.values_list("key", flat=True))
    assert asked == {f"measure:{line.pk}", f"register:{row.pk}"}
    assert all(each.is_under_way for each in owed_by(row))
    Job.objects.filter(kind="measure").update(state=JobState.DONE)
    registered(row)
    assert kinds(row) == {"measure"}, "done, but not of these frames as they lie"


def test_a_deleted_job_row_or_one_of_other_frames_does_not_count(
    line: ShotLine, signe: User
) -> None:
    row = handed_in(line)
    registered(row)
    job = Job.objects.create(
        kind="measure",
        key=f"measure:{line.pk}",
        subject_id=line.pk,
        queue="pixels",
        state=JobState.DONE,
        result={"of": composed(row.deliverable_frames.all())},
    )
    assert kinds(row) == set()
    Job.objects.update(result={"of": composed([])})
    assert kinds(row) == {"measure"}, "other frames were measured, or these elsewhere"
    Job.objects.update(result=job.result)
    other = factory.frame()
    Registration.objects.update(frame=other)
    assert kinds(row) == {"register"}, "the map is of another frame"
    Registration.objects.update(frame=row.cover)
    job.delete()
    with pytest.raises(IllegalStep, match="Still to come: the measuring"):
        accept(row, signe)


def test_tiles_are_joined_before_anybody_accepts_them(line: ShotLine, signe: User) -> None:
    frames = [factory.frame(tile_x=column) for column in range(2)]
    for each in frames:
        derive_pictures(each)
    row = factory.deliverable(
        line.object, "XR", "F", state="to_review", frames=frames, kind=DeliverableKind.MOSAIC
    )
    assert kinds(row) == {"join", "register"}
    with pytest.raises(IllegalStep, match="Still to come: the joining of its tiles, where it lies"):
        accept(row, signe)


def test_what_was_given_up_counts_as_failed_and_the_lead_may_override_it(
    line: ShotLine, signe: User
) -> None:
    row = handed_in(line)
    registered(row)
    Job.objects.create(
        kind="measure", key=f"measure:{line.pk}", subject_id=line.pk, queue="pixels",
        state=JobState.FAILED, last_error="The disk did not answer.",
    )  # fmt: skip
    with pytest.raises(DomainError, match=r"Not known: the measuring .* The disk did not answer\."):
        accept(row, signe)
    with pytest.raises(NotAllowed):
        accept(row, factory.person("Lioba", "photographer"), override_reason="It looks right.")
    accept(row, signe, override_reason="Measured by hand; the sheet lies with the object.")
    row.refresh_from_db()
    assert row.state == "accepted"


def test_a_history_that_was_entered_later_owes_nothing(line: ShotLine, signe: User) -> None:
    row = handed_in(line)
    Copy.objects.create(
        frame=row.cover, place="store", is_good=True, written_at=row.cover.received_at + hours(0.9)
    )
    assert kinds(row) == {"measure", "register"}, "most of an hour in quarantine is no history"
    Copy.objects.update(written_at=row.cover.received_at + hours(24 * 30))
    assert kinds(row) == set()
    accept(row, signe)


def test_every_kind_that_can_be_owed_has_words() -> None:
    assert set(WORDS) == {"measure", "join", "register"} <= set(KINDS)


def test_putting_a_picture_together_asks_for_all_it_owes_in_the_same_transaction(
    line: ShotLine,
) -> None:
    derive_pictures(factory.frame(line))
    with transaction.atomic():
        job = enqueue("assemble", line.pk, now=factory.NOW)
    run(job.pk, now=factory.NOW + hours(1))
    row = Deliverable.objects.get()
    assert row.is_complete
    assert {each.kind for each in owed_by(row) if each.is_under_way} == {"measure", "register"}
