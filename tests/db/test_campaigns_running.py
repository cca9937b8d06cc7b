"""The life of a session: what stands against it, signatures, running, closing, cancelling."""

from __future__ import annotations

import pytest

from imaging_requests.campaigns import actions, rules
from imaging_requests.campaigns.checks import CheckCode, Finding, check_session
from imaging_requests.campaigns.models import (
    Session,
    SessionState,
    ShotLine,
    ShotLineState,
    Station,
)
from imaging_requests.campaigns.rules import SessionStep
from imaging_requests.collection.models import StaleMark
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import Notice, User
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import OwedView
from tests import factory
from tests.campaign_scene import FRIDAY, confirm, draft
from tests.factory import NOW, hours

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


def run(actor: User, session: Session) -> Session:
    session.refresh_from_db()
    return actions.start_session(
        actor=actor, session_id=session.pk, read_version=session.row_version, now=FRIDAY
    )


def found(session: Session, code: CheckCode) -> Finding | None:
    session.refresh_from_db()
    return next((each for each in check_session(session, now=NOW) if each.code == code), None)


@pytest.mark.parametrize("state", SessionState.values)
@pytest.mark.parametrize("step", list(SessionStep))
def test_steps_of_a_session(state: str, step: SessionStep) -> None:
    allowed = {
        ("draft", "confirm"): "confirmed",
        ("draft", "cancel"): "cancelled",
        ("confirmed", "start"): "running",
        ("confirmed", "cancel"): "cancelled",
        ("running", "close"): "closed",
    }
    wanted = allowed.get((state, step.value))
    if wanted is None:
        with pytest.raises(IllegalStep, match="This session"):
            rules.next_state(state, step)
    else:
        assert rules.next_state(state, step) == wanted


def test_a_whole_session(signe: User, amaro: User, session: Session) -> None:
    assert found(session, CheckCode.PEOPLE) is None
    StaleMark.objects.all().delete()
    confirm(signe, session)
    assert StaleMark.objects.count() == 1
    assert Notice.objects.get(user=amaro).text.startswith("Your session at the Bay on Fri 17 Apr")
    run(amaro, session)
    lines = list(session.shot_lines.all())
    for line in lines[:-1]:
        actions.mark_line_done(actor=amaro, line_id=line.pk, read_version=1, now=FRIDAY)
    session.refresh_from_db()
    close = {"actor": amaro, "session_id": session.pk, "read_version": session.row_version}
    with pytest.raises(DomainError, match="1 line is neither done nor not done"):
        actions.close_session(**close)
    with pytest.raises(DomainError, match="Why it was not possible is missing"):
        actions.mark_line_not_done(actor=amaro, line_id=lines[-1].pk, read_version=1, reason=" ")
    actions.mark_line_not_done(
        actor=amaro, line_id=lines[-1].pk, read_version=1, reason="No time was left", now=FRIDAY
    )
    closed = actions.close_session(**close, now=FRIDAY + hours(6))
    assert (closed.state, closed.closed_at) == (SessionState.CLOSED, FRIDAY + hours(6))
    last = ShotLine.objects.get(pk=lines[-1].pk)
    assert (last.state, last.reason, last.decided_at) == ("not_done", "No time was left", FRIDAY)


def test_what_was_said_of_a_line_is_taken_back_while_the_session_runs(
    signe: User, amaro: User, session: Session
) -> None:
    confirm(signe, session)
    run(amaro, session)
    line = session.shot_lines.first()
    actions.mark_line_done(actor=amaro, line_id=line.pk, read_version=1)
    with pytest.raises(StaleWrite):
        actions.mark_line_done(actor=amaro, line_id=line.pk, read_version=1)
    line = actions.reopen_line(actor=amaro, line_id=line.pk, read_version=2)
    assert (line.state, line.decided_at) == (ShotLineState.PLANNED, None)


def test_lines_are_decided_only_while_the_session_runs(
    signe: User, amaro: User, session: Session
) -> None:
    confirm(signe, session)
    line = session.shot_lines.first()
    with pytest.raises(IllegalStep, match="is confirmed, so nothing is shot in it now"):
        actions.mark_line_done(actor=amaro, line_id=line.pk, read_version=1)


@pytest.mark.parametrize(
    ("who", "may"), [("Amaro", True), ("Signe", True), ("Lioba", False), ("Runa", False)]
)
def test_a_session_is_run_by_its_photographer_or_the_lead(
    signe: User, amaro: User, session: Session, who: str, may: bool
) -> None:
    people = {
        "Amaro": amaro,
        "Signe": signe,
        "Lioba": factory.photographer("Lioba"),
        "Runa": factory.conservator("Runa"),
    }
    confirm(signe, session)
    if may:
        assert run(people[who], session).state == SessionState.RUNNING
    else:
        with pytest.raises(NotAllowed, match=r"the session of Amaro|Running a session is for"):
            run(people[who], session)


def test_a_cancelled_session_frees_everything_and_opens_its_views(
    signe: User, amaro: User, session: Session
) -> None:
    confirm(signe, session)
    session.refresh_from_db()
    cancel = {"actor": signe, "session_id": session.pk, "read_version": session.row_version}
    with pytest.raises(DomainError, match="need to know why it is cancelled"):
        actions.cancel_session(**cancel, reason="")
    StaleMark.objects.all().delete()
    Notice.objects.all().delete()
    cancelled = actions.cancel_session(**cancel, reason="The tube is broken.", now=NOW)
    assert cancelled.cancelled_at == NOW
    assert not session.bookings.filter(released_at=None).exists()
    assert StaleMark.objects.count() == 1
    assert Notice.objects.get(user=amaro).text.endswith("is cancelled: The tube is broken.")


def test_a_session_without_lines_is_not_confirmed(signe: User, amaro: User, bay: Station) -> None:
    session = draft(signe, amaro, bay)
    with pytest.raises(DomainError, match="The session has no line yet"):
        confirm(signe, session)


def test_a_photographer_who_has_left_is_replaced_first(
    signe: User, amaro: User, session: Session
) -> None:
    User.objects.filter(pk=amaro.pk).update(is_active=False)
    with pytest.raises(DomainError, match="Amaro's account is closed: name another photographer"):
        confirm(signe, session)


def test_a_loan_that_is_entered_later_stands_against_the_session(
    signe: User, session: Session
) -> None:
    line = session.shot_lines.first()
    factory.unavailable(line.object, FRIDAY - hours(1), FRIDAY + hours(30))
    with pytest.raises(DomainError, match="cannot be had: on loan until"):
        confirm(signe, session)


def test_on_display_is_told_and_not_refused(signe: User, session: Session) -> None:
    line = session.shot_lines.first()
    factory.unavailable(
        line.object, NOW, reason="display", blocks_capture=False, note="Mondays only"
    )
    finding = found(session, CheckCode.AWAY)
    assert finding is not None
    assert not finding.stands_against
    assert finding.sentence.endswith("on display, closing days only (Mondays only).")
    confirm(signe, session)


def test_turning_needs_hands(signe: User, session: Session) -> None:
    Session.objects.filter(pk=session.pk).update(handlers=0)
    with pytest.raises(DomainError, match=r"needs 2 people for turning; 1 is named"):
        confirm(signe, session)
    Session.objects.filter(pk=session.pk).update(handlers=1)
    confirm(signe, session)


def test_an_x_ray_needs_two_people(signe: User, amaro: User) -> None:
    session = draft(signe, amaro, factory.station("xray"), "XR")
    Session.objects.filter(pk=session.pk).update(handlers=0)
    with pytest.raises(DomainError, match=r"needs 2 people for this technique; 1 is named"):
        confirm(signe, session)


def test_lines_that_take_longer_than_the_session_are_told(
    signe: User, amaro: User, bay: Station
) -> None:
    session = draft(
        signe,
        amaro,
        bay,
        "VF",
        "VC",
        "RK",
        "UV",
        length_h=4,
        height_mm=920,
        width_mm=740,
        warp_mm=4,
        weight_kg=7,
    )
    finding = found(session, CheckCode.LENGTH)
    assert finding is not None
    assert finding.sentence == (
        "The lines take 250 min with reserve, 10 min more than the session's 4 h."
    )
    confirm(signe, session)


def test_a_view_before_treatment_that_comes_too_late_is_told(
    signe: User, amaro: User, bay: Station
) -> None:
    obj = factory.museum_object("AR 0070")
    factory.entry(obj)
    factory.treatment(obj, (1, 2), code="T4", planned_from=FRIDAY.date())
    sync_owed_views([obj.pk], NOW)
    session = actions.plan_session(
        actor=signe,
        campaign_id=factory.campaign().pk,
        station_id=bay.pk,
        photographer_id=amaro.pk,
        starts_at=FRIDAY,
        ends_at=FRIDAY + hours(2),
        owed_view_ids=[OwedView.objects.get(technique="UV", anchor="BT").pk],
        now=NOW,
    )
    finding = found(session, CheckCode.DUE)
    assert finding is not None
    assert finding.sentence == (
        "UV of the front of AR 0070 is needed before T4 starts, by Fri 17 Apr 2026."
    )
    assert not finding.stands_against


def test_a_line_that_nobody_wants_any_more_is_asked_about(signe: User, session: Session) -> None:
    line = session.shot_lines.first()
    line.owed_views.update(ended_at=NOW, end_reason="The last wish for it was withdrawn.")
    finding = found(session, CheckCode.UNWANTED)
    assert finding is not None
    assert "Nobody asks for" in finding.sentence
    actions.keep_line(
        actor=signe, line_id=line.pk, read_version=line.row_version, reason="It is set up."
    )
    assert found(session, CheckCode.UNWANTED) is None


@pytest.mark.parametrize(
    ("code", "words", "kept"),
    [
        ("not_there", "", "The object was not at its place"),
        ("stopped", " flakes ", "Stopped by the conservator: flakes"),
        ("other", "The lift is stuck", "Another reason: The lift is stuck"),
        ("never heard of", "but said", "Another reason: but said"),
    ],
)
def test_reasons_of_lines_not_done(code: str, words: str, kept: str) -> None:
    assert rules.not_done_reason(code, words) == kept


def test_another_reason_needs_its_words() -> None:
    with pytest.raises(DomainError, match="needs its words"):
        rules.not_done_reason("other", " ")
