"""Frames find their places by time and exposure, or wait with a sentence and what is likely."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import StaleMark
from imaging_requests.intake import actions, jobs, queries
from imaging_requests.intake.models import Arrival, Drop, Frame, FrameState, Job, JobState
from imaging_requests.people.models import AuditEvent, User
from tests import factory
from tests.intake_scene import bracket, bring, frame_of, open_drop, settle, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


@pytest.fixture
def raking(session: Session) -> ShotLine:
    return factory.shot_line(session, factory.museum_object("AR 0070"), "RK", "F", "L")


def places(drop: Drop) -> dict[str, tuple[int, int, float] | None]:
    """Return (tile from the left, tile from the top, exposure) of each file that is placed."""
    found: dict[str, tuple[int, int, float] | None] = {}
    for arrival in drop.arrivals.select_related("frame"):
        frame = arrival.frame
        is_placed = frame is not None and frame.state == FrameState.PLACED
        found[arrival.name] = (
            (frame.tile_x, frame.tile_y, frame.ev) if is_placed and frame is not None else None
        )
    return found


def gaps(drop: Drop) -> list[str]:
    return [line.sentence for line in queries.progress_by_line(queries.lines_of(drop))]


def single(session: Session, seed: int, minutes: float, **more: Any) -> bytes:
    return tiff(seed, at=session.starts_at + timedelta(minutes=minutes), **more)


def test_a_bracket_finds_its_places_whatever_its_files_are_called(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    files = bracket(session, (-1, 0, 1))
    for number, (_, data) in enumerate(reversed(files)):
        bring(drop, f"{number}.tif", data)
    settle()
    assert places(drop) == {"0.tif": (0, 0, 1.0), "1.tif": (0, 0, 0.0), "2.tif": (0, 0, -1.0)}
    assert gaps(drop) == ["complete"]
    frame = Frame.objects.first()
    assert frame is not None
    assert frame.placed_by is None
    event = AuditEvent.objects.filter(code="intake.frame_placed").first()
    assert event is not None
    assert (event.actor, event.object_id) == (None, raking.object_id)
    assert StaleMark.objects.filter(object=raking.object).exists()
    assemble = Job.objects.get(kind="assemble")
    assert (assemble.subject_id, assemble.queue) == (raking.pk, "pixels")


@pytest.mark.any_database
def test_a_missing_middle_is_named_while_the_object_is_on_the_easel(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 1)):
        bring(drop, name, data)
    settle()
    assert list(places(drop).values()) == [(0, 0, -1.0), (0, 0, 1.0)]
    assert gaps(drop) == ["exposure 0 is missing; have −1 and +1"]
    bring(drop, "late.tif", single(session, 900, 14, exposure_s=1.0))
    settle()
    assert gaps(drop) == ["complete"]


@pytest.mark.any_database
def test_two_steps_of_three_wait_and_the_likely_gap_is_named(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0)):
        bring(drop, name, data)
    settle()
    assert set(places(drop).values()) == {None}
    assert gaps(drop) == [
        "exposure +1 is missing; have −1 and 0 "
        "(as far as the files tell; 2 frames on the sorting table)"
    ]
    waiting = Frame.objects.order_by("captured_at").first()
    assert waiting is not None
    assert waiting.waiting_because == (
        "It may be exposure −1 or exposure 0 of AR 0070 front, raking light from the left; time "
        "and exposure do not tell which. Something may be missing."
    )


@pytest.mark.any_database
def test_the_set_up_card_tells_the_likely_steps_but_does_not_place(
    amaro: User, session: Session
) -> None:
    card = factory.setup_card(technique="RK", exposure_s=2.0, aperture=8, iso=100)
    line = factory.shot_line(
        session, factory.museum_object("AR 0070"), "RK", "F", "L", setup_card=card
    )
    drop = open_drop(amaro, line=line)
    for name, data in bracket(session, (0, 1), base_s=2.0):
        bring(drop, name, data)
    settle()
    assert set(places(drop).values()) == {None}
    first = Frame.objects.order_by("captured_at").first()
    assert first is not None
    assert (first.proposal[0]["ev"], first.proposal[0]["why"]) == (
        0.0,
        "the exposure of the set-up card speaks for it",
    )
    assert gaps(drop)[0].startswith("exposure −1 is missing; have 0 and +1")


def test_a_repeated_exposure_proposes_the_newest_and_keeps_the_other(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
    bring(drop, "again.tif", single(session, 901, 13, exposure_s=1.0))
    settle()
    assert places(drop) == {
        "F0100.tif": (0, 0, -1.0),
        "F0101.tif": None,
        "F0102.tif": (0, 0, 1.0),
        "again.tif": None,
    }
    proposals = {
        frame.first_name: [entry["why"] for entry in frame.proposal]
        for frame in Frame.objects.filter(state=FrameState.WAITING)
    }
    assert proposals == {
        "again.tif": ["the first that is free in the order of the list"],
        "F0101.tif": ["it would fit by time and exposure"],
    }
    assert (
        "More frames came than there are places"
        in Frame.objects.get(first_name="again.tif").waiting_because
    )


@pytest.mark.any_database
def test_one_frame_more_than_a_full_line_is_a_spare_to_be_decided(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    first = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(first, name, data)
    settle()
    second = open_drop(amaro, line=raking)
    late = bring(second, "late.tif", single(session, 902, 14, exposure_s=1.0))
    settle()
    assert frame_of(late).waiting_because == (
        "Every place of AR 0070 front, raking light from the left is taken, so this is one frame "
        "more. Set it aside as a spare, or put it in the place of another."
    )


@pytest.mark.any_database
@pytest.mark.parametrize(
    ("minutes", "is_inside"),
    [(-14, True), (-16, False), (194, True), (196, False)],
    ids=["just before", "too early", "just after", "too late"],
)
def test_a_frame_outside_the_session_waits(
    amaro: User, session: Session, minutes: float, is_inside: bool
) -> None:
    line = factory.shot_line(session, factory.museum_object(), "VF")
    arrival = bring(open_drop(amaro, line=line), "A.tif", single(session, 1, minutes))
    settle()
    frame = frame_of(arrival)
    assert (frame.state == FrameState.PLACED) == is_inside
    assert ("outside the session" in frame.waiting_because) != is_inside


def test_a_clock_that_was_an_hour_slow_is_corrected_once_per_drop(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0, 1), after_min=10 - 60):
        bring(drop, name, data)
    settle()
    assert set(places(drop).values()) == {None}
    drop.refresh_from_db()
    actions.correct_clock(
        actor=amaro, drop_id=drop.pk, read_version=drop.row_version, clock_offset_s=3600
    )
    settle()
    assert list(places(drop).values()) == [(0, 0, -1.0), (0, 0, 0.0), (0, 0, 1.0)]
    frame = Frame.objects.order_by("captured_at").first()
    assert frame is not None
    assert frame.captured_at == session.starts_at + timedelta(minutes=10)
    assert frame.wall_clock, "what the camera wrote is kept verbatim"


@pytest.mark.any_database
def test_a_bracket_that_took_too_long_waits(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0, 1), step_s=8 * 60):
        bring(drop, name, data)
    settle()
    assert set(places(drop).values()) == {None}
    frame = Frame.objects.first()
    assert frame is not None
    assert "taken over 16 minutes; 15 are allowed" in frame.waiting_because


@pytest.mark.any_database
def test_ultraviolet_has_twenty_minutes(amaro: User, session: Session) -> None:
    line = factory.shot_line(session, factory.museum_object(), "UV")
    drop = open_drop(amaro, line=line)
    for name, data in bracket(session, (-1, 0, 1, 2), step_s=6 * 60):
        bring(drop, name, data)
    settle()
    assert None not in places(drop).values()


@pytest.mark.any_database
def test_a_late_exposure_does_not_join_a_bracket_that_lies_already(
    amaro: User, session: Session
) -> None:
    line = factory.shot_line(session, factory.museum_object(), "UV")
    first = open_drop(amaro, line=line)
    for name, data in bracket(session, (-1, 0, 2), step_s=60):
        bring(first, name, data)
    settle()
    assert [at[2] for at in places(first).values() if at] == [-1, 0, 2]
    late = open_drop(amaro, line=line)
    ((name, data),) = bracket(session, (1,), seed=200, after_min=40)
    bring(late, name, data)
    settle()
    frame = frame_of(late.arrivals.get())
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "slow")
    assert "taken over 30 minutes; 20 are allowed" in frame.waiting_because


@pytest.mark.any_database
def test_another_camera_than_the_card_names_waits(amaro: User, session: Session) -> None:
    card = factory.setup_card(technique="VF", body_serial="FO-100413")
    line = factory.shot_line(session, factory.museum_object(), "VF", setup_card=card)
    drop = open_drop(amaro, line=line)
    other = bring(drop, "A.tif", single(session, 1, 10, body_serial="FO-9"))
    settle()
    assert "Taken with the camera FO-9; the set-up card names FO-100413" in (
        frame_of(other).waiting_because
    )
    own = bring(drop, "B.tif", single(session, 2, 11))
    settle()
    assert frame_of(own).state == FrameState.PLACED


def test_a_session_without_a_line_places_only_what_leaves_no_doubt(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    uv = factory.shot_line(session, factory.museum_object("AR 0011"), "UV")
    drop = open_drop(amaro, session=session)
    for name, data in bracket(session, (-1, 0, 1), seed=100):
        bring(drop, name, data)
    for name, data in bracket(session, (-1, 0, 1, 2), seed=200, after_min=30, base_s=8):
        bring(drop, name, data)
    settle()
    assert None not in places(drop).values()
    assert Frame.objects.filter(shot_line=raking).count() == 3
    assert Frame.objects.filter(shot_line=uv).count() == 4


@pytest.mark.any_database
def test_one_bracket_that_two_lines_could_take_is_not_guessed(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    factory.shot_line(session, factory.museum_object("AR 0011"), "RK", "F", "T")
    drop = open_drop(amaro, session=session)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
    settle()
    assert set(places(drop).values()) == {None}
    frame = Frame.objects.order_by("captured_at").first()
    assert frame is not None
    for words in ("AR 0070 front, raking light from the left", "or exposure −1 of AR 0011"):
        assert words in frame.waiting_because


@pytest.mark.any_database
def test_a_line_that_was_closed_as_not_done_takes_nothing(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    ShotLine.objects.filter(pk=raking.pk).update(state="not_done", reason="object not found")
    other = factory.shot_line(session, factory.museum_object("AR 0011"), "RK", "F", "T")
    drop = open_drop(amaro, session=session)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
    settle()
    assert Frame.objects.filter(shot_line=other).count() == 3


def test_without_a_session_frames_find_the_one_of_their_time(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
    settle()
    assert list(places(drop).values()) == [(0, 0, -1.0), (0, 0, 0.0), (0, 0, 1.0)]
    assert Frame.objects.filter(shot_line=raking).count() == 3


@pytest.mark.any_database
def test_without_a_session_and_outside_every_one_frames_wait_and_say_so(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro)
    late = bring(drop, "A.tif", single(session, 1, 60 * 12))
    settle()
    frame = frame_of(late)
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "session")
    assert "when no session was going on" in frame.waiting_because


def test_two_sessions_at_once_are_told_apart_by_the_camera(amaro: User, session: Session) -> None:
    other = factory.session(by=amaro, station=factory.station("ir"), starts_at=session.starts_at)
    lines = []
    for each, body in ((session, "FO-100413"), (other, "IR-7")):
        card = factory.setup_card(technique="VF", body_serial=body)
        thing = factory.museum_object(f"AR 00{len(lines)}1")
        lines.append(factory.shot_line(each, thing, "VF", setup_card=card))
    drop = open_drop(amaro)
    own = bring(drop, "A.tif", single(session, 1, 10))
    infrared = bring(drop, "B.tif", single(session, 2, 10, body_serial="IR-7"))
    settle()
    assert [frame_of(each).shot_line_id for each in (own, infrared)] == [line.pk for line in lines]


@pytest.mark.any_database
def test_two_sessions_at_once_that_nothing_tells_apart_are_asked_about(
    amaro: User, session: Session
) -> None:
    other = factory.session(by=amaro, station=factory.station("ir"), starts_at=session.starts_at)
    for number, each in enumerate((session, other)):
        factory.shot_line(each, factory.museum_object(f"AR 00{number}1"), "VF")
    drop = open_drop(amaro)
    arrival = bring(drop, "A.tif", single(session, 1, 10))
    settle()
    frame = frame_of(arrival)
    assert frame.waiting_reason == "session"
    assert "neither its camera nor its exposures tell which" in frame.waiting_because
    assert len(frame.proposal) == 2


def test_the_same_name_at_the_same_time_with_other_bytes_is_asked_about(
    amaro: User, session: Session
) -> None:
    line = factory.shot_line(session, factory.museum_object(), "VF")
    drop = open_drop(amaro, line=line)
    first = bring(drop, "A.tif", single(session, 1, 10))
    twin = bring(drop, "A.tif", single(session, 2, 10))
    settle()
    assert frame_of(first).state == FrameState.PLACED
    frame = frame_of(twin)
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "twin")
    assert "came before with other bytes. Both are stored" in frame.waiting_because


@pytest.mark.any_database
@pytest.mark.parametrize("second", [{"body_serial": "IR-7"}, {"minutes": 11}], ids=str)
def test_of_two_sessions_at_once_the_line_that_the_drop_names_gets_its_frames(
    amaro: User, session: Session, second: dict[str, Any]
) -> None:
    """Two stations count their files alike; only one camera's own second exposure is a question."""
    other = factory.session(by=amaro, station=factory.station("ir"), starts_at=session.starts_at)
    for number, each in enumerate((session, other)):
        line = factory.shot_line(each, factory.museum_object(f"AR 00{number}1"), "VF")
        more = {"minutes": 10} | (second if number else {})
        arrival = bring(open_drop(amaro, line=line), "A.tif", single(each, number + 1, **more))
        settle()
        frame = frame_of(arrival)
        assert (frame.state, frame.shot_line_id) == (FrameState.PLACED, line.pk), number


@pytest.mark.any_database
def test_frames_that_lay_without_a_session_find_their_place_when_brought_for_a_line(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    files = bracket(session, (-1, 0, 1))
    for target in (open_drop(amaro), open_drop(amaro, line=raking)):
        for name, data in files:
            bring(target, name, data)
        settle()
    assert Frame.objects.filter(shot_line=raking, state=FrameState.PLACED).count() == 3


@pytest.mark.any_database
def test_tiles_are_laid_out_row_by_row_and_empty_ones_are_left_out(
    amaro: User, session: Session
) -> None:
    obj = factory.museum_object()
    view = factory.owed_view(obj, "VF", spec={"empty_tiles": [[1, 0]]})
    line = factory.shot_line(
        session, obj, "VF", tiles_across=2, tiles_down=2, expected_files=3, meets=[view]
    )
    drop = open_drop(amaro, line=line)
    for number in range(3):
        bring(drop, f"{number}.tif", single(session, number, 10 + number))
    settle()
    assert list(places(drop).values()) == [(0, 0, 0.0), (0, 1, 0.0), (1, 1, 0.0)]


@pytest.fixture
def two_tiles(session: Session) -> ShotLine:
    return factory.shot_line(
        session, factory.museum_object(), "VF", tiles_across=2, expected_files=2
    )


def test_while_files_arrive_places_are_for_now(
    amaro: User, session: Session, two_tiles: ShotLine
) -> None:
    """The second and third frame look like the two tiles until the first one turns up."""
    drop = open_drop(amaro, line=two_tiles)
    first = single(session, 1, 10)
    announced = actions.begin_arrival(
        actor=amaro, drop_id=drop.pk, name="1.tif", size_bytes=len(first)
    )
    for number in (2, 3):
        bring(drop, f"{number}.tif", single(session, number, 10 + number))
    settle()
    assert places(drop) == {"1.tif": None, "2.tif": (0, 0, 0.0), "3.tif": (1, 0, 0.0)}
    drop.refresh_from_db()
    assert drop.settled_at is None
    actions.append_bytes(actor=amaro, token=announced.token, offset=0, chunks=[first])
    settle()
    assert set(places(drop).values()) == {None}
    assert AuditEvent.objects.filter(code="intake.frame_lifted").count() == 2
    drop.refresh_from_db()
    assert drop.settled_at is not None


def test_places_for_now_are_settled_when_nothing_more_comes(
    amaro: User, session: Session, two_tiles: ShotLine
) -> None:
    drop = open_drop(amaro, line=two_tiles)
    announced = actions.begin_arrival(actor=amaro, drop_id=drop.pk, name="1.tif", size_bytes=1000)
    bring(drop, "2.tif", single(session, 2, 12))
    settle()
    assert not Job.objects.filter(kind="assemble").exists()
    bring(drop, "3.tif", single(session, 3, 13))
    settle()
    assert Job.objects.filter(kind="assemble").count() == 1, "a complete line need not wait"
    actions.give_up_arrival(actor=amaro, token=announced.token)
    settle()
    drop.refresh_from_db()
    assert drop.settled_at is not None
    assert places(drop) == {"1.tif": None, "2.tif": (0, 0, 0.0), "3.tif": (1, 0, 0.0)}


def test_a_settled_place_is_moved_by_people_only(
    amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
    settle()
    before = places(drop)
    for number, seconds in enumerate((0.5, 1.0, 2.0)):
        bring(drop, f"again-{number}.tif", single(session, 910 + number, 20, exposure_s=seconds))
    settle()
    assert {name: place for name, place in places(drop).items() if name in before} == before
    assert sum(place is not None for place in places(drop).values()) == 3


def test_laying_out_twice_changes_nothing(amaro: User, session: Session, raking: ShotLine) -> None:
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0)):
        bring(drop, name, data)
    settle()
    before = list(Frame.objects.order_by("pk").values())
    events = AuditEvent.objects.count()
    Job.objects.filter(kind="sort").update(state=JobState.DUE)
    assert jobs.run_due() == 1
    assert list(Frame.objects.order_by("pk").values()) == before
    assert AuditEvent.objects.count() == events


def test_a_layout_job_for_a_drop_that_is_gone_does_nothing() -> None:
    Job.objects.create(kind="sort", key="sort:9", subject_id=987_654, queue="ingest")
    assert jobs.run_due() == 1


def test_the_layout_reads_a_fixed_number_of_queries(
    amaro: User, session: Session, django_assert_max_num_queries: Any
) -> None:
    from imaging_requests.intake.laying import read_sheet

    for size in (2, 12):
        obj = factory.museum_object()
        line = factory.shot_line(session, obj, "VF", tiles_across=size, expected_files=size)
        drop = open_drop(amaro, line=line)
        for number in range(size - 1):
            bring(drop, f"{number}.tif", single(session, size * 50 + number, 10 + number))
        settle()
        with django_assert_max_num_queries(9):
            read_sheet(drop.pk)
        assert Arrival.objects.filter(drop=drop).count() == size - 1
