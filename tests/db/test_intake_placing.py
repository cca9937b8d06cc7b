"""People place, set aside and take back; every refusal says why, and nothing is overwritten."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import StaleMark
from imaging_requests.intake import actions
from imaging_requests.intake.actions import placing
from imaging_requests.intake.actions.placing import Choice
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.models import Frame, FrameRole, FrameState, Job
from imaging_requests.intake.policies import (
    ASK_AGAIN,
    CLEAR_REFUSED,
    PLACE,
    READ_DROPS,
    SEE_PICTURES,
    UPLOAD,
)
from imaging_requests.intake.rules import (
    ARRIVAL_STEPS,
    FRAME_STEPS,
    demand_arrival_step,
    demand_frame_step,
)
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Role, User
from imaging_requests.people.policies import may
from tests import factory
from tests.intake_scene import settle

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


@pytest.fixture
def line(session: Session) -> ShotLine:
    return factory.shot_line(
        session, factory.museum_object("AR 0070"), "VF", tiles_across=2, expected_files=2
    )


def waiting(session: Session, name: str = "A.tif", minutes: float | None = 10) -> Frame:
    at = None if minutes is None else session.starts_at + timedelta(minutes=minutes)
    return Frame.objects.create(
        sha256=f"{Frame.objects.count():064x}",
        size_bytes=10,
        first_name=name,
        extension="tif",
        state=FrameState.WAITING,
        waiting_because="The program does not guess.",
        captured_at=at,
        read_at=timezone.now(),
    )


def place(frame: Frame, line: ShotLine, by: User, **more: Any) -> Frame:
    return actions.place_frame(
        actor=by,
        frame_id=frame.pk,
        read_version=more.pop("read_version", frame.row_version),
        shot_line_id=line.pk,
        **more,
    )


def test_a_frame_is_placed_by_hand_and_taken_back(
    amaro: User, session: Session, line: ShotLine
) -> None:
    frame = place(waiting(session), line, amaro, tile_x=1)
    assert (frame.state, frame.shot_line, frame.tile_x) == (FrameState.PLACED, line, 1)
    assert frame.placed_by == amaro
    assert Job.objects.filter(kind="assemble", subject_id=line.pk).exists()
    assert StaleMark.objects.filter(object=line.object).count() == 1
    back = actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)
    assert (back.state, back.shot_line) == (FrameState.WAITING, None)
    assert back.waiting_because.startswith("Taken back by Amaro on")
    codes = list(AuditEvent.objects.values_list("code", flat=True))
    assert codes == ["intake.frame_placed", "intake.frame_taken_back"]


def test_what_a_person_took_back_is_not_placed_again_by_the_program(
    amaro: User, session: Session, line: ShotLine
) -> None:
    from tests.intake_scene import bring, frame_of, open_drop, tiff

    single = factory.shot_line(session, factory.museum_object(), "VF")
    arrival = bring(
        open_drop(amaro, line=single), "A.tif", tiff(1, at=session.starts_at + timedelta(hours=1))
    )
    settle()
    frame = frame_of(arrival)
    assert frame.state == FrameState.PLACED
    actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)
    settle()
    frame.refresh_from_db()
    assert frame.state == FrameState.WAITING
    assert frame.waiting_because.startswith("Taken back by Amaro")


def test_a_taken_place_is_not_overwritten(amaro: User, session: Session, line: ShotLine) -> None:
    first = place(waiting(session, "A.tif"), line, amaro)
    second = waiting(session, "B.tif")
    with pytest.raises(DomainError, match=r"A\.tif lies already at tile 1 of 2 of AR 0070 front"):
        place(second, line, amaro)
    placed = place(second, line, amaro, instead=True)
    first.refresh_from_db()
    assert (placed.state, first.state) == (FrameState.PLACED, FrameState.SET_ASIDE)


def test_the_database_itself_refuses_two_frames_on_one_place(
    amaro: User, session: Session, line: ShotLine
) -> None:
    first = place(waiting(session, "A.tif"), line, amaro)
    second = waiting(session, "B.tif")
    with pytest.raises(IntegrityError), transaction.atomic():
        Frame.objects.filter(pk=second.pk).update(state=FrameState.PLACED, shot_line=line)
    assert first.state == FrameState.PLACED


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"tile_x": 2}, "asks for no frame at tile 3 of 2"),
        ({"ev": 1.0}, "asks for no frame at tile 1 of 2"),
        ({"focus_slice": 1}, "asks for no frame"),
    ],
)
def test_a_place_that_the_line_does_not_ask_for_is_refused(
    amaro: User, session: Session, line: ShotLine, more: dict[str, Any], words: str
) -> None:
    with pytest.raises(DomainError, match=words):
        place(waiting(session), line, amaro, **more)


def test_other_roles_than_the_view_take_no_place_away(
    amaro: User, session: Session, line: ShotLine
) -> None:
    flat = place(waiting(session, "flat.tif"), line, amaro, role=FrameRole.FLAT)
    view = place(waiting(session, "A.tif"), line, amaro)
    assert {flat.state, view.state} == {FrameState.PLACED}


def test_a_frame_without_a_time_needs_one(amaro: User, session: Session, line: ShotLine) -> None:
    frame = waiting(session, minutes=None)
    with pytest.raises(DomainError, match="does not say when it was taken"):
        place(frame, line, amaro)
    at = session.starts_at + timedelta(minutes=5)
    assert place(frame, line, amaro, captured_at=at).captured_at == at


def test_a_frame_from_outside_the_session_is_refused_also_by_hand(
    amaro: User, session: Session, line: ShotLine
) -> None:
    frame = waiting(session, minutes=-60)
    with pytest.raises(DomainError, match="but the session lasted from"):
        place(frame, line, amaro)
    inside = session.starts_at + timedelta(minutes=1)
    assert place(frame, line, amaro, captured_at=inside).state == FrameState.PLACED


def test_a_line_closed_as_not_done_is_refused(
    amaro: User, session: Session, line: ShotLine
) -> None:
    ShotLine.objects.filter(pk=line.pk).update(state="not_done", reason="lamp broken")
    with pytest.raises(IllegalStep, match=r"closed as not done \(lamp broken\)"):
        place(waiting(session), line, amaro)


def test_a_stale_write_is_refused(amaro: User, session: Session, line: ShotLine) -> None:
    frame = waiting(session)
    read = frame.row_version
    place(frame, line, amaro)
    with pytest.raises(StaleWrite, match=r"Amaro changed A\.tif while you were working on it"):
        actions.set_aside(actor=factory.lead(), frame_id=frame.pk, read_version=read)


def test_what_the_program_laid_out_anew_is_not_put_down_to_a_person(
    amaro: User, session: Session, line: ShotLine
) -> None:
    frame = waiting(session)
    audit.record("intake.frame_received", actor=amaro, subject=frame)
    read = frame.row_version
    Frame.objects.filter(pk=frame.pk).update(row_version=read + 1)
    with pytest.raises(StaleWrite, match=r"The program changed A\.tif while you were working"):
        actions.set_aside(actor=amaro, frame_id=frame.pk, read_version=read)


def test_an_outer_room_can_keep_a_frame_where_it_is(
    amaro: User, session: Session, line: ShotLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = place(waiting(session), line, amaro)
    rules: list[Callable[[Frame], str]] = [lambda each: f"{each} belongs to an accepted picture."]
    monkeypatch.setattr(placing, "_hold_rules", rules)
    with pytest.raises(IllegalStep, match=r"A\.tif belongs to an accepted picture"):
        actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)
    with pytest.raises(IllegalStep, match="belongs to an accepted picture"):
        place(waiting(session, "B.tif"), line, amaro, instead=True)
    rules.clear()
    actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)


def test_one_refusal_does_not_hold_up_the_other_frames(
    amaro: User, session: Session, line: ShotLine
) -> None:
    frames = [waiting(session, f"{number}.tif") for number in range(3)]
    spots = [Spot(line.pk, 0, x, 0, 0.0) for x in (0, 1, 2)]
    outcome = actions.place_frames(
        actor=amaro,
        choices=[
            Choice(frame.pk, frame.row_version, spot)
            for frame, spot in zip(frames, spots, strict=True)
        ],
    )
    assert [frame.first_name for frame in outcome.moved] == ["0.tif", "1.tif"]
    assert len(outcome.refusals) == 1
    assert "asks for no frame at tile 3 of 2" in outcome.refusals[0]
    undone = actions.take_back_frames(
        actor=amaro, versions={frame.pk: frame.row_version for frame in outcome.moved}
    )
    assert len(undone.moved) == 2


@pytest.mark.parametrize("state", FrameState.values)
@pytest.mark.parametrize("wanted", FrameState.values)
def test_every_step_of_a_frame_is_in_the_table_or_refused(state: str, wanted: str) -> None:
    allowed = {
        ("received", "waiting"),
        ("received", "placed"),
        ("waiting", "placed"),
        ("waiting", "set_aside"),
        ("placed", "waiting"),
        ("set_aside", "waiting"),
    }
    assert (wanted in FRAME_STEPS[FrameState(state)]) == ((state, wanted) in allowed)
    if (state, wanted) in allowed:
        demand_frame_step("A.tif", before=state, after=wanted)
    else:
        with pytest.raises(IllegalStep, match=r"A\.tif (is|lies|has)"):
            demand_frame_step("A.tif", before=state, after=wanted)


def test_no_answer_of_an_arrival_is_ever_taken_back() -> None:
    for state, steps in ARRIVAL_STEPS.items():
        if state in ("checked", "already_here", "given_up"):
            assert not steps
            with pytest.raises(IllegalStep, match="has had its answer already"):
                demand_arrival_step("A.tif", before=state, after="received")
    demand_arrival_step("A.tif", before="refused", after="given_up")


def test_taking_back_what_nobody_has_put_anywhere_is_refused(amaro: User, session: Session) -> None:
    frame = waiting(session)
    with pytest.raises(IllegalStep, match="lies on the sorting table already"):
        actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)


STUDIO = {Role.PHOTOGRAPHER, Role.LEAD}
ALLOWED = {
    READ_DROPS: STUDIO | {Role.KEEPER},
    UPLOAD: STUDIO,
    PLACE: STUDIO,
    SEE_PICTURES: set(Role),
    CLEAR_REFUSED: {Role.KEEPER},
    ASK_AGAIN: STUDIO | {Role.KEEPER},
}


@pytest.mark.parametrize("role", Role.values)
def test_who_may_do_what(role: str) -> None:
    user = factory.person("Somebody", role)
    closed = factory.person("Gone", role)
    closed.is_active = False
    for act, roles in ALLOWED.items():
        assert may(user, act) == (role in roles), act.code
        assert not may(closed, act)


def test_only_the_studio_places(amaro: User, session: Session, line: ShotLine) -> None:
    frame = waiting(session)
    with pytest.raises(NotAllowed, match="Placing frames is for the photographer or imaging lead"):
        place(frame, line, factory.curator())
    assert place(frame, line, factory.lead()).state == FrameState.PLACED
