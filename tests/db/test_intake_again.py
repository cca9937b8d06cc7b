"""Files that come a second time never move what their first coming has settled."""

from __future__ import annotations

import pytest

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake.models import Arrival, ArrivalState, Frame, FrameState
from imaging_requests.people.models import AuditEvent, User
from tests import factory
from tests.intake_scene import bracket, bring, open_drop, settle

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


def places() -> set[tuple[int | None, float, str]]:
    return {(frame.shot_line_id, frame.ev, frame.state) for frame in Frame.objects.all()}


@pytest.mark.parametrize("comes_in", ["no session", "the session", "another session"])
def test_placed_frames_stay_when_some_of_them_come_again(
    amaro: User, session: Session, raking: ShotLine, comes_in: str
) -> None:
    files = bracket(session, (-1, 0, 1))
    first = open_drop(amaro, line=raking)
    for name, data in files:
        bring(first, name, data)
    settle()
    before = places()
    assert before == {(raking.pk, ev, FrameState.PLACED) for ev in (-1.0, 0.0, 1.0)}

    other = factory.session(by=amaro, starts_at=session.ends_at)
    given = {"no session": None, "the session": session, "another session": other}[comes_in]
    again = open_drop(amaro, session=given)
    for name, data in files[:2]:
        bring(again, f"again-{name}", data)
    settle()

    assert places() == before
    states = Arrival.objects.filter(drop=again).values_list("state", flat=True)
    assert list(states) == [ArrivalState.ALREADY_HERE] * 2
    assert not AuditEvent.objects.filter(code="intake.frame_lifted").exists()
