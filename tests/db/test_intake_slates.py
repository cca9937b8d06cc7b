"""Slates set clocks and lead to lines; clocks that nobody set are proposed, never assumed."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import cv2
import numpy as np
import pytest
import segno

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.imaging.slate.payload import Slate, slate_text
from imaging_requests.intake import actions
from imaging_requests.intake.models import CameraClock, Frame, FrameRole, FrameState
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import bring, frame_of, open_drop, settle, tiff

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]
FAST = timedelta(minutes=37)


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


def lines(session: Session, number: int) -> list[ShotLine]:
    return [
        factory.shot_line(session, factory.museum_object(f"AR 00{place}1"), "VF")
        for place in range(number)
    ]


def slate_picture(line: ShotLine, shown_at: datetime) -> Any:
    """Draw a photographed slate, 16-bit RGB."""
    text = slate_text(Slate(line.session_id, line.pk, "FO-100413", shown_at))
    code = np.array([list(row) for row in segno.make(text, error="q").matrix], np.uint8)
    sheet = np.kron(1 - np.pad(code, 4), np.ones((7, 7), np.uint8)) * 190 + 30
    room = np.random.default_rng(3).integers(60, 90, (480, 640)).astype(np.uint8)
    room[40 : 40 + sheet.shape[0], 100 : 100 + sheet.shape[1]] = sheet
    grey = cv2.GaussianBlur(room, (0, 0), 0.8).astype(np.uint16) * 256
    grey += np.random.default_rng(4).integers(0, 256, grey.shape).astype(np.uint16)
    return np.repeat(grey[:, :, None], 3, axis=2)


def test_a_slate_sets_the_clock_and_opens_its_line(amaro: User, session: Session) -> None:
    """The clock is 37 min fast, and only the second of two like lines was shot."""
    first, second = lines(session, 2)
    drop = open_drop(amaro, session=session)
    shown_at = (session.starts_at + timedelta(minutes=5)).replace(microsecond=0)
    picture = slate_picture(second, shown_at)
    slate = bring(drop, "S.tif", tiff(1, at=shown_at + FAST, picture=picture))
    view = bring(drop, "V.tif", tiff(2, at=shown_at + timedelta(minutes=2) + FAST))
    settle()
    clock = CameraClock.objects.get()
    assert (clock.body_serial, clock.offset_s) == ("FO-100413", -37 * 60)
    assert (clock.source, clock.state) == ("slate", "in_force")
    photographed = frame_of(slate)
    assert (photographed.role, photographed.state) == (FrameRole.SLATE, FrameState.PLACED)
    assert photographed.shot_line_id == second.pk
    frame = frame_of(view)
    assert frame.shot_line_id == second.pk, frame.waiting_because
    assert frame.captured_at == shown_at + timedelta(minutes=2)
    assert not Frame.objects.filter(shot_line=first).exists()


def test_a_slate_of_another_session_is_asked_about(amaro: User, session: Session) -> None:
    lines(session, 1)
    other = factory.session(by=amaro, starts_at=session.starts_at + timedelta(days=1))
    (elsewhere,) = [factory.shot_line(other, factory.museum_object("AR 0900"), "VF")]
    drop = open_drop(amaro, session=session)
    at = session.starts_at + timedelta(minutes=5)
    arrival = bring(drop, "S.tif", tiff(1, at=at, picture=slate_picture(elsewhere, at)))
    settle()
    frame = frame_of(arrival)
    assert (frame.state, frame.waiting_reason) == (FrameState.WAITING, "slate")


def test_summer_time_that_was_forgotten_is_proposed_and_used_only_when_agreed(
    amaro: User, session: Session
) -> None:
    lines(session, 8)
    drop = open_drop(amaro, session=session)
    for number in range(8):
        at = session.starts_at + timedelta(minutes=5 + 24 * number) - timedelta(hours=1)
        bring(drop, f"{number}.tif", tiff(number, at=at))
    settle()
    clock = CameraClock.objects.get()
    assert (clock.source, clock.state, clock.offset_s) == ("estimate", "proposed", 3600)
    assert "8 of 8 frames of this camera find their places" in clock.because
    assert not Frame.objects.filter(state=FrameState.PLACED).exists()
    actions.decide_clock(actor=amaro, clock_id=clock.pk, agrees=True)
    settle()
    assert Frame.objects.filter(state=FrameState.PLACED).count() == 8


def test_a_declined_clock_is_not_proposed_again(amaro: User, session: Session) -> None:
    lines(session, 6)
    drop = open_drop(amaro, session=session)
    for number in range(6):
        at = session.starts_at + timedelta(minutes=5 + 34 * number) - timedelta(hours=1)
        bring(drop, f"{number}.tif", tiff(number, at=at))
    settle()
    actions.decide_clock(actor=amaro, clock_id=CameraClock.objects.get().pk, agrees=False)
    bring(drop, "more.tif", tiff(77, at=session.starts_at - timedelta(hours=2)))
    settle()
    assert CameraClock.objects.get().state == "declined"
