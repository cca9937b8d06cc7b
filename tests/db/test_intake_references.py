"""Pictures speak: they name the missing tile, the mirrored back, the stranger; none is guessed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import cv2
import numpy as np
import pytest

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.imaging.likeness.pattern import pattern_of, pattern_text
from imaging_requests.intake.actions.layout import ask_for_layout
from imaging_requests.intake.models import Arrival, Drop, Frame, FrameLook, FrameState
from imaging_requests.people.models import AuditEvent, User
from tests import factory
from tests.intake_scene import bring, frame_of, open_drop, settle, tiff

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


def rough(seed: int) -> Any:
    """Paint a face: grey, 240 x 320."""
    rng = np.random.default_rng(seed)
    face = np.zeros((240, 320), np.float32)
    for cells, weight in ((4, 1.0), (9, 0.7), (25, 0.4)):
        small = rng.normal(0, 1, (cells, cells)).astype(np.float32)
        face += weight * cv2.resize(small, (320, 240), interpolation=cv2.INTER_CUBIC)
    return np.clip(128 + 40 * face / face.std(), 0, 255)


def master(grey: Any, seed: int) -> Any:
    """Make 16-bit RGB of a grey picture, with noise."""
    noise = np.random.default_rng(seed).normal(0, 300, (*grey.shape, 3))
    return np.clip(grey[:, :, None] * 250 + noise, 0, 65535).astype(np.uint16)


def refer(thing: CollectionObject, face: str, grey: Any) -> None:
    """Give a face of an object an accepted reference picture."""
    cover = factory.frame()
    pattern = pattern_text(pattern_of(grey.astype(np.uint8)))
    FrameLook.objects.create(frame=cover, pattern=pattern)
    factory.deliverable(thing, "VF", face, frames=[cover])


def shot(drop: Drop, minutes: float, picture: Any, seed: int, **more: Any) -> Arrival:
    assert drop.session is not None
    at = drop.session.starts_at + timedelta(minutes=minutes)
    return bring(drop, f"{seed}.tif", tiff(seed, at=at, picture=master(picture, seed), **more))


def tiles(face: Any) -> list[Any]:
    """Cut a face into three tiles with a fifth in common, as `pattern.tile_region` has them."""
    wide = round(320 / 2.6)
    return [face[:, left : left + wide] for left in (0, (320 - wide) // 2, 320 - wide)]


def row_of_tiles(session: Session, thing: CollectionObject) -> ShotLine:
    return factory.shot_line(session, thing, "VF", tiles_across=3, expected_files=3)


def test_the_picture_tells_which_tile_is_missing(amaro: User, session: Session) -> None:
    thing, face = factory.museum_object(), rough(1)
    refer(thing, "F", face)
    row_of_tiles(session, thing)
    drop = open_drop(amaro, session=session)
    parts = tiles(face)
    arrivals = [shot(drop, 10 + place, parts[tile], place) for place, tile in enumerate((0, 2))]
    settle()
    assert [frame_of(each).state for each in arrivals] == [FrameState.PLACED] * 2
    assert [frame_of(each).tile_x for each in arrivals] == [0, 2]


def test_a_frame_whose_clock_was_never_set_is_placed_by_its_picture(
    amaro: User, session: Session
) -> None:
    thing, face = factory.museum_object(), rough(1)
    refer(thing, "F", face)
    row_of_tiles(session, thing)
    drop = open_drop(amaro, session=session)
    parts = tiles(face)
    for place in (0, 2):
        shot(drop, 10 + place, parts[place], place)
    lost = shot(drop, -60 * 24 * 365 * 20 - 17, parts[1], 1)
    settle()
    frame = frame_of(lost)
    assert (frame.state, frame.tile_x) == (FrameState.PLACED, 1), frame.waiting_because
    assert frame.captured_at == session.starts_at + timedelta(minutes=11)
    event = AuditEvent.objects.filter(code="intake.frame_placed", subject_id=str(frame.pk)).last()
    assert event is not None
    assert "its picture shows this place and no other" in event.reason


def test_a_clock_an_hour_off_is_asked_about_with_the_place_it_would_have(
    amaro: User, session: Session
) -> None:
    thing, face = factory.museum_object(), rough(1)
    refer(thing, "F", face)
    row_of_tiles(session, thing)
    drop = open_drop(amaro, session=session)
    parts = tiles(face)
    for place in (0, 2):
        shot(drop, 10 + place, parts[place], place)
    off = shot(drop, 11 - 60, parts[1], 1)
    settle()
    frame = frame_of(off)
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "clock")
    assert "if its clock had been 1 hour slow" in frame.waiting_because
    assert frame.proposal[0]["tile_x"] == 1
    assert "its picture looks like it" in frame.proposal[0]["why"]


def nearly_even(seed: int) -> Any:
    """Paint a back that is nearly 0.8 like its mirrored self, as stretchers and boards are."""
    face = rough(seed) - 128
    even, odd = (face + face[:, ::-1]) / 2, (face - face[:, ::-1]) / 2
    return np.clip(128 + 40 * even / even.std() + 16 * odd / odd.std(), 0, 255)


@pytest.mark.parametrize("back", [rough(2), nearly_even(2)], ids=["uneven", "nearly even"])
def test_a_mirrored_back_waits_and_says_so(amaro: User, session: Session, back: Any) -> None:
    thing = factory.museum_object()
    refer(thing, "B", back)
    line = factory.shot_line(session, thing, "VF", "B")
    mirrored = shot(open_drop(amaro, session=session), 10, back[:, ::-1], 1)
    settle()
    frame = frame_of(mirrored)
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "turned")
    assert frame.waiting_because.startswith("It looks mirrored left to right")
    assert frame.proposal[0]["line"] == line.pk


def test_another_object_waits_and_is_named(amaro: User, session: Session) -> None:
    another_day = factory.session(by=amaro, starts_at=session.starts_at + timedelta(days=1))
    for number, each in enumerate((session, another_day)):
        thing = factory.museum_object(f"AR 00{number}1")
        refer(thing, "F", rough(10 + number))
        factory.shot_line(each, thing, "VF")
    drop = open_drop(amaro, session=session)
    stranger = shot(drop, 10, rough(11), 1)
    settle()
    frame = frame_of(stranger)
    assert frame.state == FrameState.WAITING
    assert frame.waiting_reason == "other_object"
    assert "It looks like AR 0011" in frame.waiting_because
    assert not Frame.objects.filter(state=FrameState.PLACED).exists()


def refer_by_tiles(line: ShotLine, grey: Any) -> None:
    """Give a front an accepted reference picture that is kept as three tiles."""
    frames = []
    for x, part in enumerate(tiles(grey)):
        frame = factory.frame(line, tile_x=x)
        FrameLook.objects.create(
            frame=frame, pattern=pattern_text(pattern_of(part.astype(np.uint8)))
        )
        frames.append(frame)
    factory.deliverable(line.object, "VF", frames=frames, kind="mosaic", shot_line=line)


@pytest.mark.parametrize("is_named", [True, False], ids=["line named", "session named"])
@pytest.mark.parametrize("technique", ["UV", "RK"])
@pytest.mark.parametrize("is_stranger", [True, False], ids=["stranger", "right"])
def test_another_object_waits_also_where_both_are_known_by_tiles(
    is_stranger: bool, technique: str, is_named: bool, amaro: User, session: Session
) -> None:
    things = [factory.museum_object(number) for number in ("AR 0070", "AR 0055")]
    for seed, each in enumerate(things):
        refer_by_tiles(row_of_tiles(session, each), rough(20 + seed))
    later = factory.session(by=amaro, starts_at=session.starts_at + timedelta(days=1))
    line = factory.shot_line(later, things[0], technique, exposures_ev=[0], expected_files=1)
    drop = open_drop(amaro, session=later, line=line if is_named else None)
    brought = shot(drop, 10, rough(21 if is_stranger else 20), 1)
    settle()
    frame = frame_of(brought)
    if not is_stranger:
        assert frame.state == FrameState.PLACED, frame.waiting_because
        return
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "other_object")
    assert "It looks like AR 0055, not like" in frame.waiting_because


@pytest.mark.parametrize("is_named", [True, False], ids=["line named", "session named"])
def test_the_back_of_another_object_waits_where_a_front_is_asked_for(
    is_named: bool, amaro: User, session: Session
) -> None:
    front, back = rough(31), nearly_even(32)
    own, other = factory.museum_object("AR 0070"), factory.museum_object("AR 0055")
    refer(own, "F", front)
    refer(other, "B", back)
    later = factory.session(by=amaro, starts_at=session.starts_at + timedelta(days=1))
    line = factory.shot_line(later, own, "UV", exposures_ev=[0], expected_files=1)
    factory.shot_line(session, other, "VF", "B")
    drop = open_drop(amaro, session=later, line=line if is_named else None)
    stranger = shot(drop, 10, back, 1)
    settle()
    frame = frame_of(stranger)
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "other_object")
    assert "It looks like AR 0055" in frame.waiting_because
    ask_for_layout([drop.pk])
    settle()
    frame.refresh_from_db()
    assert frame.state == FrameState.WAITING, "laid out anew it waits as before"
    right = shot(drop, 12, front, 2)
    settle()
    assert frame_of(right).state == FrameState.PLACED, frame_of(right).waiting_because
