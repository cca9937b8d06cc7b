"""Limits that a session passes only with signatures: light, ultraviolet, turns."""

from __future__ import annotations

from datetime import timedelta

import pytest

from imaging_requests.campaigns import actions
from imaging_requests.campaigns.checks import CheckCode, Finding, check_session
from imaging_requests.campaigns.models import (
    LightDose,
    Session,
    ShotLine,
    Station,
)
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import User
from tests import factory
from tests.campaign_scene import confirm, draft
from tests.factory import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


@pytest.fixture
def signe() -> User:
    return factory.lead("Signe")


@pytest.fixture
def amaro() -> User:
    return factory.photographer("Amaro")


@pytest.fixture
def bay() -> Station:
    return factory.station("bay")


@pytest.fixture
def session(signe: User, amaro: User, bay: Station) -> Session:
    return draft(signe, amaro, bay, "VC", "RK")


def found(session: Session, code: CheckCode) -> Finding | None:
    session.refresh_from_db()
    return next((each for each in check_session(session, now=NOW) if each.code == code), None)


def sign(actor: User, session: Session, finding: Finding, reason: str = "Agreed.") -> None:
    session.refresh_from_db()
    actions.sign_limit(
        actor=actor,
        session_id=session.pk,
        read_version=session.row_version,
        check_code=finding.code,
        object_id=finding.object_id or 0,
        face=finding.face,
        reason=reason,
        now=NOW,
    )


def test_the_light_book_asks_for_a_signature(signe: User, amaro: User, bay: Station) -> None:
    session = draft(signe, amaro, bay, "VC", light_class="high")
    line = session.shot_lines.get()
    assert found(session, CheckCode.LIGHT) is None
    runa = factory.conservator("Runa")
    actions.record_light(
        actor=runa,
        object_id=line.object_id,
        received_on=NOW.date(),
        lxh=1120,
        note="Shown in the autumn room",
    )
    finding = found(session, CheckCode.LIGHT)
    assert finding is not None
    assert "1,120 lx·h used this year, 0 planned in other sessions and 650 here" in finding.sentence
    assert "together 1,770 of the studio's yearly 1,500" in finding.sentence
    with pytest.raises(DomainError, match="Light book of"):
        confirm(signe, session)
    with pytest.raises(NotAllowed, match="not yours"):
        sign(signe, session, finding)
    with pytest.raises(DomainError, match="A signature needs its reason"):
        sign(runa, session, finding, " ")
    sign(runa, session, finding)
    with pytest.raises(DomainError, match="Nothing is to be signed here any more"):
        sign(runa, session, finding)
    confirm(signe, session)


def test_a_signature_holds_only_up_to_its_amount(signe: User, amaro: User, bay: Station) -> None:
    session = draft(signe, amaro, bay, "VC", light_class="high")
    runa = factory.conservator("Runa")
    line = session.shot_lines.get()
    dose = {"object": line.object, "received_on": NOW.date(), "recorded_by": runa, "note": "Film"}
    LightDose.objects.create(lxh=900, **dose)
    finding = found(session, CheckCode.LIGHT)
    assert finding is not None
    sign(runa, session, finding)
    LightDose.objects.create(lxh=100, **dose)
    with pytest.raises(DomainError, match="together 1,650"):
        confirm(signe, session)


def test_light_of_another_year_and_of_unpainted_faces_does_not_count(
    signe: User, amaro: User, bay: Station
) -> None:
    session = draft(signe, amaro, bay, "VF", "VC", light_class="high")
    line = session.shot_lines.get(technique="VC")
    LightDose.objects.create(
        object=line.object,
        lxh=9000,
        received_on=NOW.date().replace(year=2025),
        recorded_by=signe,
        note="Last year's exhibition",
    )
    ShotLine.objects.filter(session=session, face="B").update(light_lxh=9000)
    assert found(session, CheckCode.LIGHT) is None


def test_lines_shot_this_year_are_in_the_light_book(signe: User, amaro: User, bay: Station) -> None:
    session = draft(signe, amaro, bay, "VC", light_class="high")
    line = session.shot_lines.get()
    earlier = factory.session(by=amaro, starts_at=NOW - timedelta(days=40), state="closed")
    factory.shot_line(earlier, line.object, "VC", light_lxh=600, state="done")
    factory.shot_line(earlier, line.object, "RK", light_lxh=600, state="not_done", reason="x")
    ahead = factory.session(by=amaro, starts_at=NOW + timedelta(days=5))
    factory.shot_line(ahead, line.object, "IR", light_lxh=300)
    finding = found(session, CheckCode.LIGHT)
    assert finding is not None
    assert "600 lx·h used this year, 300 planned in other sessions and 650 here" in finding.sentence


def test_ultraviolet_is_capped_for_each_face_and_state(
    signe: User, amaro: User, bay: Station
) -> None:
    session = draft(signe, amaro, bay, "UV", uv_cap_min=1.5)
    line = session.shot_lines.get(face="F")
    earlier = factory.session(by=amaro, starts_at=NOW - timedelta(days=40), state="closed")
    shot = factory.shot_line(earlier, line.object, "UV", state="done", uv_minutes=1)
    finding = found(session, CheckCode.ULTRAVIOLET)
    assert finding is not None
    assert "2 min in its present state, more than the cap of 1.5 min" in finding.sentence
    assert finding.face == "F"
    shot.delete()
    assert found(session, CheckCode.ULTRAVIOLET) is None
    factory.shot_line(earlier, line.object, "UV", state="done", uv_minutes=1)
    factory.treatment(line.object, (1,), state="finished", finished_at=NOW - timedelta(days=3))
    assert found(session, CheckCode.ULTRAVIOLET) is None, "cleaning has opened a new state"


def test_a_second_turn_needs_two_names(signe: User, amaro: User, bay: Station) -> None:
    session = draft(signe, amaro, bay, "VC", "RK")
    lines = list(session.shot_lines.all())
    assert [line.face for line in lines] == ["F", "F", "F", "B"]
    ShotLine.objects.filter(pk=lines[-1].pk).update(position=100)
    ShotLine.objects.filter(pk=lines[2].pk).update(position=101)
    finding = found(session, CheckCode.TURNS)
    assert finding is not None
    assert "would be turned 2 times in one visit" in finding.sentence
    assert finding.lacking == ("lead", "conservator")
    runa = factory.conservator("Runa")
    sign(signe, session, finding)
    half = found(session, CheckCode.TURNS)
    assert half is not None
    assert half.lacking == ("conservator",)
    with pytest.raises(DomainError, match="would be turned 2 times"):
        confirm(signe, session)
    sign(runa, session, half)
    confirm(signe, session)


def test_one_person_with_both_roles_is_still_one_name(
    signe: User, amaro: User, bay: Station
) -> None:
    both = factory.person("Ysolde", "lead", "conservator")
    session = draft(signe, amaro, bay, "VC", "RK")
    lines = list(session.shot_lines.all())
    ShotLine.objects.filter(pk=lines[-1].pk).update(position=100)
    ShotLine.objects.filter(pk=lines[2].pk).update(position=101)
    finding = found(session, CheckCode.TURNS)
    assert finding is not None
    sign(both, session, finding)
    with pytest.raises(DomainError, match="the second signature is somebody else's"):
        sign(both, session, finding)
