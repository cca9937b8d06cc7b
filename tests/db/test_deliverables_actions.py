"""From placed frames to an accepted picture: versions, hand-in, review, recall, lone work."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.collection.models import CollectionObject, StaleMark
from imaging_requests.deliverables import actions, jobs, queries
from imaging_requests.deliverables.models import Deliverable, DeliverableState, Review
from imaging_requests.intake.jobs import KINDS, Outcome, enqueue, run
from imaging_requests.intake.models import Frame, FrameState
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.requesting.models import Anchor
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db
LATER = NOW + hours(6)


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0070", "The Quarantine Island")


@pytest.fixture
def line(obj: CollectionObject, amaro: User) -> ShotLine:
    view = factory.owed_view(obj)
    return factory.shot_line(factory.session(by=amaro), obj, meets=[view])


def assemble(line: ShotLine) -> Deliverable:
    made = actions.assemble_line(shot_line_id=line.pk, now=LATER)
    assert made is not None
    return made


def handed_in(line: ShotLine, by: User, **more: Any) -> Deliverable:
    if not line.frames.exists():
        factory.frames_for(line)
    row = assemble(line)
    return actions.hand_in(
        actor=by, deliverable_id=row.pk, read_version=row.row_version, now=LATER, **more
    )


def accept(row: Deliverable, by: User, **more: Any) -> Review:
    return actions.accept(
        actor=by,
        deliverable_id=row.pk,
        read_version=more.pop("read_version", row.row_version),
        now=LATER,
        **more,
    )


def send_back(row: Deliverable, by: User, *reasons: str, note: str = "Look again.") -> Review:
    return actions.send_back(
        actor=by,
        deliverable_id=row.pk,
        read_version=row.row_version,
        reasons=reasons or ("filter",),
        note=note,
        now=LATER,
    )


# Putting together


def test_frames_of_a_line_become_a_picture_and_its_photographer_is_told(
    line: ShotLine, amaro: User
) -> None:
    frames = factory.frames_for(line)
    row = assemble(line)
    assert (row.kind, row.state, row.is_complete, row.missing) == (
        "bracket",
        DeliverableState.BUILDING,
        True,
        [],
    )
    assert (row.object, row.surface, row.technique, row.px_per_mm) == (
        line.object,
        "F.1",
        "UV",
        6,
    )
    assert row.captured_at == frames[0].captured_at
    assert row.cover == next(frame for frame in frames if frame.ev == 0)
    assert row.photographer == amaro
    assert "UV of the front of AR 0070 is complete" in Notice.objects.get(user=amaro).text
    assert StaleMark.objects.filter(object=line.object, reason="deliverables.begun").exists()


def test_putting_together_twice_does_it_once(line: ShotLine) -> None:
    factory.frames_for(line)
    first = assemble(line)
    events = AuditEvent.objects.count()
    again = assemble(line)
    assert (again.pk, again.row_version) == (first.pk, first.row_version)
    assert AuditEvent.objects.count() == events
    assert Deliverable.objects.count() == 1


def test_a_missing_exposure_keeps_it_incomplete_until_it_comes(line: ShotLine) -> None:
    *present, last = factory.frames_for(line)
    Frame.objects.filter(pk=last.pk).update(state=FrameState.WAITING, waiting_because="doubt")
    row = assemble(line)
    assert not row.is_complete
    assert row.missing == ["Exposure +2 is missing; have −1, 0 and +1."]
    assert row.deliverable_frames.count() == len(present) == 3
    Frame.objects.filter(pk=last.pk).update(state=FrameState.PLACED)
    again = assemble(line)
    assert (again.pk, again.is_complete) == (row.pk, True)


def test_a_line_without_frames_makes_no_picture(line: ShotLine) -> None:
    assert actions.assemble_line(shot_line_id=line.pk, now=LATER) is None
    assert actions.assemble_line(shot_line_id=987654, now=LATER) is None


def test_flats_and_spares_are_no_part_of_it(line: ShotLine) -> None:
    factory.frames_for(line)
    factory.frame(line, role="flat")
    factory.frame(line, state=FrameState.SET_ASIDE, ev=5)
    assert assemble(line).deliverable_frames.count() == 4


def test_the_job_does_the_same_and_ends_in_one_transaction(
    line: ShotLine, django_capture_on_commit_callbacks: Any
) -> None:
    factory.frames_for(line)
    assert KINDS["assemble"].handler is jobs.assemble
    job = enqueue("assemble", line.pk, queue="pixels", again=True)
    assert run(job.pk) is Outcome.DONE
    assert run(job.pk) is Outcome.NOT_MINE
    job.refresh_from_db()
    assert job.result == {"deliverable": Deliverable.objects.get().pk, "state": "building"}


def test_a_line_that_is_gone_harms_no_job() -> None:
    job = enqueue("assemble", 987654, queue="pixels")
    assert run(job.pk) is Outcome.DONE


# Handing in


def test_a_complete_picture_is_handed_in_and_taken_back(line: ShotLine, amaro: User) -> None:
    row = handed_in(line, amaro)
    assert (row.state, row.handed_in_at) == (DeliverableState.TO_REVIEW, LATER)
    back = actions.take_back(
        actor=amaro, deliverable_id=row.pk, read_version=row.row_version, now=LATER
    )
    assert (back.state, back.handed_in_at) == (DeliverableState.BUILDING, None)


def test_an_incomplete_picture_is_not_handed_in(line: ShotLine, amaro: User) -> None:
    factory.frames_for(line)[0].delete()
    row = assemble(line)
    with pytest.raises(DomainError, match=r"not complete\. Exposure −1 is missing; have"):
        handed_in(line, amaro)
    row.refresh_from_db()
    assert row.state == DeliverableState.BUILDING


def test_frames_that_come_later_are_spares_of_a_picture_under_review(
    line: ShotLine, amaro: User
) -> None:
    row = handed_in(line, amaro)
    first = row.deliverable_frames.order_by("pk")[0].frame
    Frame.objects.filter(pk=first.pk).update(state=FrameState.SET_ASIDE)
    factory.frame(line, ev=first.ev)
    assert assemble(line).pk == row.pk
    assert first in [seat.frame for seat in row.deliverable_frames.all()]
    back = actions.take_back(
        actor=amaro, deliverable_id=row.pk, read_version=row.row_version, now=LATER
    )
    assert first not in [seat.frame for seat in back.deliverable_frames.all()]


@pytest.mark.parametrize("role", ["curator", "conservator", "head", "keeper"])
def test_only_the_studio_hands_in(line: ShotLine, role: str) -> None:
    factory.frames_for(line)
    assemble(line)
    with pytest.raises(NotAllowed, match="Handing in a picture is for the photographer"):
        handed_in(line, factory.person("Other", role))


def test_an_x_ray_is_handed_in_with_its_polarity(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    plate = factory.shot_line(factory.session(by=amaro), obj, "XR", "T")
    factory.frames_for(plate)
    assert assemble(plate).polarity == "unknown"
    with pytest.raises(DomainError, match="Nobody has stated the polarity"):
        handed_in(plate, amaro)
    row = handed_in(plate, amaro, polarity="negative")
    assert row.polarity == "negative"
    accept(row, signe)


# Reviewing


def test_an_accepted_picture_is_told_and_makes_its_object_stale(
    line: ShotLine, amaro: User, signe: User
) -> None:
    oda = factory.curator()
    wish = factory.request_line(factory.request(oda), line.object, state="agreed")
    view = factory.owed_view(line.object, "UV", demanded_by=wish, surface="F.2")
    line.owed_views.add(view)
    row = handed_in(line, amaro)
    review = accept(row, signe, note="  Clean. ")
    row.refresh_from_db()
    assert row.state == DeliverableState.ACCEPTED
    assert (review.verdict, review.by, review.note) == (Review.Verdict.ACCEPTED, signe, "Clean.")
    assert "is accepted." in Notice.objects.filter(user=amaro).first().text
    assert "which you asked for, is accepted" in Notice.objects.get(user=oda).text
    assert StaleMark.objects.filter(reason="deliverables.accepted").exists()
    assert AuditEvent.objects.filter(code="deliverables.accepted", actor=signe).exists()


@pytest.mark.parametrize("role", ["curator", "conservator", "head", "keeper"])
def test_only_the_studio_reviews(line: ShotLine, amaro: User, role: str) -> None:
    row = handed_in(line, amaro)
    other = factory.person("Other", role)
    with pytest.raises(NotAllowed, match="Reviewing a picture is for"):
        accept(row, other)
    with pytest.raises(NotAllowed, match="Reviewing a picture is for"):
        send_back(row, other)


def test_nobody_reviews_an_own_picture_not_even_as_lead(obj: CollectionObject, signe: User) -> None:
    both = factory.person("Lioba", "photographer", "lead", "conservator")
    own = factory.shot_line(factory.session(by=both), obj)
    row = handed_in(own, both)
    with pytest.raises(NotAllowed, match="You made this picture; somebody else reviews it"):
        accept(row, both)
    with pytest.raises(NotAllowed, match="You made this picture yourself"):
        send_back(row, both)
    accept(row, signe)


def test_who_works_alone_reviews_an_own_picture_and_it_is_counted(
    line: ShotLine, amaro: User, signe: User
) -> None:
    row = handed_in(line, amaro)
    with pytest.raises(NotAllowed, match="Nobody allows it to oneself"):
        actions.allow_lone_work(
            actor=signe, person_id=signe.pk, since=NOW, until=LATER, reason="alone", now=NOW
        )
    actions.allow_lone_work(
        actor=signe,
        person_id=amaro.pk,
        since=NOW,
        until=LATER + hours(1),
        reason="Lioba is ill, nobody else is trained",
        now=NOW,
    )
    review = accept(row, amaro)
    assert review.is_lone_worker
    assert queries.reviews_of_month(LATER) == (1, 1)
    assert AuditEvent.objects.get(code="deliverables.accepted").after["is_lone_worker"] is True


def test_lone_work_ends_with_its_stretch(line: ShotLine, amaro: User, signe: User) -> None:
    row = handed_in(line, amaro)
    actions.allow_lone_work(
        actor=signe, person_id=amaro.pk, since=NOW, until=LATER, reason="alone", now=NOW
    )
    with pytest.raises(NotAllowed, match="somebody else reviews it"):
        accept(row, amaro)


def test_a_failed_check_needs_the_lead_and_a_reason(
    line: ShotLine, amaro: User, signe: User
) -> None:
    lioba = factory.photographer("Lioba")
    frames = factory.frames_for(line)
    factory.check(frames[0], "cannot_tell", "G12", sentence="The outline is not known yet.")
    factory.check(frames[1])
    row = handed_in(line, amaro)
    with pytest.raises(NotAllowed, match=r"1 check failed\. The master has 8 bits"):
        accept(row, lioba)
    with pytest.raises(DomainError, match="1 check failed"):
        accept(row, signe)
    review = accept(row, signe, override_reason="the object has left for good")
    assert review.override_reason == "the object has left for good"


def test_an_override_is_kept_only_when_something_failed(
    line: ShotLine, amaro: User, signe: User
) -> None:
    row = handed_in(line, amaro)
    assert accept(row, signe, override_reason="typed by mistake").override_reason == ""


def test_only_the_newest_version_of_a_check_counts(
    line: ShotLine, amaro: User, signe: User
) -> None:
    frames = factory.frames_for(line)
    factory.check(frames[0], rule_version=1)
    factory.check(frames[0], "pass", rule_version=2, sentence="16 bits per channel.")
    accept(handed_in(line, amaro), signe)


def test_frames_still_being_measured_are_waited_for(
    line: ShotLine, amaro: User, signe: User
) -> None:
    factory.frames_for(line, read_at=None)
    row = handed_in(line, amaro)
    with pytest.raises(IllegalStep, match="4 frames are still being measured"):
        accept(row, signe)


def test_the_answer_which_way_round_a_picture_is_is_waited_for(
    line: ShotLine, amaro: User, signe: User
) -> None:
    factory.frames_for(line)
    row = handed_in(line, amaro)
    with transaction.atomic():
        job = enqueue(queries.REGISTER, row.pk)
    with pytest.raises(IllegalStep, match="4 frames are still being measured"):
        accept(row, signe)
    assert run(job.pk) is Outcome.DONE
    assert accept(row, signe).deliverable_id == row.pk


def test_exposures_that_do_not_belong_together_count_as_failed(
    line: ShotLine, amaro: User, signe: User
) -> None:
    frames = factory.frames_for(line)
    Frame.objects.filter(pk=frames[3].pk).update(captured_at=frames[0].captured_at + hours(1))
    row = handed_in(line, amaro)
    with pytest.raises(DomainError, match="The exposures took 60 min"):
        accept(row, signe)


def test_two_reviewers_at_once_one_wins_and_the_other_is_told(
    line: ShotLine, amaro: User, signe: User
) -> None:
    lioba = factory.photographer("Lioba")
    row = handed_in(line, amaro)
    accept(row, signe)
    with pytest.raises(
        StaleWrite, match="Signe changed UV of the front while you were working on it"
    ):
        send_back(row, lioba)
    row.refresh_from_db()
    with pytest.raises(IllegalStep, match="it is accepted") as refusal:
        send_back(row, lioba)
    assert "an acceptance is never undone" in refusal.value.next_step


def test_a_picture_comes_back_with_reasons_and_words(
    line: ShotLine, amaro: User, signe: User
) -> None:
    row = handed_in(line, amaro)
    with pytest.raises(DomainError, match="Choose at least one reason"):
        actions.send_back(
            actor=signe,
            deliverable_id=row.pk,
            read_version=row.row_version,
            reasons=[],
            note="x",
            now=LATER,
        )
    with pytest.raises(DomainError, match="Say in your own words"):
        send_back(row, signe, note="  ")
    review = send_back(row, signe, "filter", "focus", note="Put filter 420-B on.")
    row.refresh_from_db()
    assert row.state == DeliverableState.SENT_BACK
    assert (review.reasons, review.frames_good) == (["filter", "focus"], False)
    text = Notice.objects.filter(user=amaro).first().text
    assert "was sent back: wrong filter, or none, out of focus. Put filter 420-B on." in text
    assert "It has to be shot again." in text


def test_while_the_session_runs_the_photographer_is_told_until_when(
    line: ShotLine, amaro: User, signe: User
) -> None:
    row = handed_in(line, amaro)
    actions.send_back(
        actor=signe,
        deliverable_id=row.pk,
        read_version=row.row_version,
        reasons=["join"],
        note="Plates 3 and 4.",
        now=line.session.starts_at + hours(1),
    )
    text = Notice.objects.get(user=amaro, text__contains="sent back").text
    assert "Desk work can mend it. The session ends at 13:00." in text


# Versions


def reshoot(line: ShotLine) -> None:
    """Set every frame of a line aside and place new ones."""
    spots = list(line.frames.filter(state=FrameState.PLACED))
    line.frames.update(state=FrameState.SET_ASIDE)
    for old in spots:
        factory.frame(
            line,
            tile_x=old.tile_x,
            tile_y=old.tile_y,
            ev=old.ev,
            captured_at=(old.captured_at or NOW) + hours(1),
        )


def test_after_a_sending_back_the_reshoot_is_the_next_version(
    line: ShotLine, amaro: User, signe: User
) -> None:
    first = handed_in(line, amaro)
    send_back(first, signe)
    assert assemble(line).pk == first.pk, "the same frames make no new version by themselves"
    reshoot(line)
    second = assemble(line)
    assert (second.chain, second.version) == (first.chain, 2)


def test_a_reshoot_in_another_session_follows_by_the_view_it_meets(
    line: ShotLine, amaro: User, signe: User
) -> None:
    first = handed_in(line, amaro)
    send_back(first, signe)
    again = factory.shot_line(
        factory.session(by=amaro, starts_at=NOW + hours(72)),
        line.object,
        meets=line.owed_views.all(),
    )
    factory.frames_for(again)
    assert assemble(again).chain == first.chain
    elsewhere = factory.shot_line(factory.session(by=amaro, starts_at=NOW + hours(96)), line.object)
    factory.frames_for(elsewhere)
    assert assemble(elsewhere).chain != first.chain


def test_a_detail_and_the_whole_face_are_two_pictures(
    line: ShotLine, amaro: User, signe: User
) -> None:
    region = {"x": 10, "y": 20, "w": 30, "h": 40}
    first = handed_in(line, amaro)
    send_back(first, signe)
    detail = factory.shot_line(
        factory.session(by=amaro, starts_at=NOW + hours(72)),
        line.object,
        meets=line.owed_views.all(),
        detail_mm=region,
    )
    factory.frames_for(detail)
    made = assemble(detail)
    assert made.chain != first.chain
    send_back(handed_in(detail, amaro), signe)
    reshoot(detail)
    assert assemble(detail).chain == made.chain


def test_after_a_treatment_the_reshoot_is_a_picture_of_its_own(
    line: ShotLine, amaro: User, signe: User
) -> None:
    first = handed_in(line, amaro)
    accept(first, signe)
    first.refresh_from_db()
    actions.recall(
        actor=signe,
        deliverable_id=first.pk,
        read_version=first.row_version,
        reasons=["focus"],
        note="soft",
        now=LATER,
    )
    factory.treatment(line.object, (2,), finished_at=NOW + hours(24), code="T900")
    again = factory.shot_line(
        factory.session(by=amaro, starts_at=NOW + hours(72)),
        line.object,
        meets=line.owed_views.all(),
    )
    factory.frames_for(again)
    second = assemble(again)
    assert (second.chain == first.chain, second.version) == (False, 1)


def test_the_same_frames_are_handed_in_again_on_purpose(
    line: ShotLine, amaro: User, signe: User
) -> None:
    first = handed_in(line, amaro)
    send_back(first, signe, "naming", note="Sent back by mistake.")
    first.refresh_from_db()
    second = actions.start_again(
        actor=amaro, deliverable_id=first.pk, read_version=first.row_version, now=LATER
    )
    assert (second.chain, second.version, second.is_complete) == (first.chain, 2, True)
    with pytest.raises(IllegalStep, match="There is a newer version of this picture"):
        actions.start_again(
            actor=amaro, deliverable_id=first.pk, read_version=first.row_version, now=LATER
        )


def test_frames_that_had_to_be_shot_again_are_begun_anew_only_with_a_reason(
    line: ShotLine, amaro: User, signe: User
) -> None:
    first = handed_in(line, amaro)
    send_back(first, signe, "focus", note="Soft all over.")
    first.refresh_from_db()
    asked: dict[str, Any] = {
        "actor": amaro, "deliverable_id": first.pk, "read_version": first.row_version, "now": LATER
    }  # fmt: skip
    with pytest.raises(DomainError, match="has to be shot again, and its frames are still the"):
        actions.start_again(**asked, reason="  ")
    assert queries.begun_because(first) is None
    second = actions.start_again(**asked, reason="The focus lies on the paint; the frame is soft.")
    told = queries.begun_because(second)
    assert told is not None
    assert (told.actor, told.reason) == (amaro, "The focus lies on the paint; the frame is soft.")


# Recall


def test_a_recall_tells_everybody_who_relied_on_the_picture(
    line: ShotLine, amaro: User, signe: User
) -> None:
    entry = factory.entry(line.object)
    frames = factory.frames_for(line)
    factory.proven(frames)
    row = handed_in(line, amaro)
    accept(row, signe)
    package = actions.file_accepted(actor=signe, entry_id=entry.pk, now=LATER)
    row.refresh_from_db()
    again = factory.lead("Berit")
    with pytest.raises(NotAllowed, match="Recalling a picture is for the imaging lead"):
        actions.recall(
            actor=amaro,
            deliverable_id=row.pk,
            read_version=row.row_version,
            reasons=["join"],
            note="swapped",
            now=LATER,
        )
    review = actions.recall(
        actor=again,
        deliverable_id=row.pk,
        read_version=row.row_version,
        reasons=["join"],
        note="Plates 3 and 4 are swapped.",
        now=LATER,
    )
    row.refresh_from_db()
    assert row.state == DeliverableState.RECALLED
    assert review.frames_good
    assert package.number in Notice.objects.filter(user=signe).first().text
    event = AuditEvent.objects.get(code="deliverables.package_holds_recalled")
    assert event.after["number"] == package.number
    with pytest.raises(IllegalStep, match="it is recalled"):
        accept(row, signe, read_version=row.row_version)


# Before treatment


def test_a_picture_that_comes_too_late_is_not_accepted_for_the_state_before(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    treatment = factory.treatment(obj, (2,), finished_at=NOW + hours(1))
    before = factory.owed_view(
        obj,
        anchor=Anchor.BT,
        treatment=treatment,
        anchor_key=f"BT:{treatment.pk}",
    )
    current = factory.owed_view(obj)
    line = factory.shot_line(
        factory.session(by=amaro, starts_at=NOW + hours(2)), obj, meets=[before, current]
    )
    row = handed_in(line, amaro)
    accept(row, signe)
    assert list(line.owed_views.all()) == [current]
    text = Notice.objects.filter(user=amaro).first().text
    assert f"but not as before {treatment.code}: it came too late" in text


def test_a_picture_in_time_stays_for_the_state_before(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    treatment = factory.treatment(obj, (2,), finished_at=NOW + hours(30))
    before = factory.owed_view(
        obj, anchor=Anchor.BT, treatment=treatment, anchor_key=f"BT:{treatment.pk}"
    )
    line = factory.shot_line(factory.session(by=amaro), obj, meets=[before])
    accept(handed_in(line, amaro), signe)
    assert list(line.owed_views.all()) == [before]


def test_another_object_is_said_before_every_other_failure(
    line: ShotLine, amaro: User, signe: User
) -> None:
    row = handed_in(line, amaro)
    frame = line.frames.first()
    factory.check(frame, "fail", "C1", sentence="Light reached the camera.")
    factory.check(frame, "fail", "G12", sentence="This shows AR 0055, not AR 0070.")
    with pytest.raises(DomainError, match=r"2 checks failed\. This shows AR 0055, not AR 0070\."):
        accept(row, signe)
