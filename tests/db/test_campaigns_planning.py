"""Planning sessions: lines from owed views, bookings, refusals in words, stale edits."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from imaging_requests.campaigns import actions, bookings
from imaging_requests.campaigns.models import (
    Booking,
    Campaign,
    Resource,
    Session,
    ShotLine,
    Station,
)
from imaging_requests.campaigns.rules import count_turns
from imaging_requests.campaigns.words import duration_words, time_words
from imaging_requests.collection.models import CollectionObject, StaleMark
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, User
from imaging_requests.requesting import outlook
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import OwedView
from tests import factory
from tests.campaign_scene import FRIDAY
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
def ropewalk() -> CollectionObject:
    obj = factory.museum_object(
        "AR 0011", "The Ropewalk", height_mm=920, width_mm=740, warp_mm=4, weight_kg=7
    )
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    return obj


def at_bay(obj: CollectionObject, *techniques: str) -> list[int]:
    found = obj.owed_views.filter(technique__in=techniques or ("VF", "VC", "RK", "UV"))
    return list(found.order_by("-pk").values_list("pk", flat=True))


def plan(signe: User, amaro: User, at: Station, views: list[int], **extra: object) -> Session:
    values = {
        "campaign_id": factory.campaign().pk,
        "station_id": at.pk,
        "photographer_id": amaro.pk,
        "starts_at": FRIDAY,
        "ends_at": FRIDAY + hours(4),
        "now": NOW,
    } | extra
    return actions.plan_session(actor=signe, owed_view_ids=views, **values)


def test_lines_come_in_the_order_of_a_visit(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject
) -> None:
    session = plan(signe, amaro, bay, at_bay(ropewalk))
    lines = list(session.shot_lines.all())
    assert [str(line) for line in lines] == [
        "Visible light (flash) of the front",
        "Visible light (continuous) of the front",
        "Raking light from the left of the front",
        "Raking light from the top of the front",
        "UV of the front",
        "Visible light (flash) of the back",
        "Raking light from the left of the back",
        "UV of the back",
    ]
    assert [line.position for line in lines] == list(range(1, 9))
    assert count_turns([line.face for line in lines]) == 1
    first = lines[0]
    assert (first.tiles_across, first.tiles_down, first.minutes) == (1, 2, 30)
    assert lines[4].expected_files == 4
    assert lines[4].uv_minutes > 0
    assert lines[1].light_lxh > 0
    assert lines[2].cautions


def test_everything_a_session_takes_is_booked(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject
) -> None:
    lioba = factory.photographer("Lioba")
    session = plan(signe, amaro, bay, at_bay(ropewalk, "UV"), helper_ids=[lioba.pk])
    booked = {booking.resource.name for booking in session.bookings.all()}
    assert booked == {"Bay", "Amaro", "Lioba", "AR 0011 The Ropewalk"}


def test_one_line_serves_views_before_treatment_and_now(
    signe: User, amaro: User, bay: Station
) -> None:
    obj = factory.museum_object("AR 0070")
    factory.entry(obj)
    factory.treatment(obj, (1, 2))
    sync_owed_views([obj.pk], NOW)
    both = list(obj.owed_views.filter(technique="UV", face="F").values_list("pk", flat=True))
    assert len(both) == 2
    session = plan(signe, amaro, bay, both)
    line = session.shot_lines.get()
    assert set(line.owed_views.values_list("pk", flat=True)) == set(both)


@pytest.mark.parametrize("what", ["station", "photographer", "object"])
def test_an_overlap_is_refused_in_words(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject, what: str
) -> None:
    plan(signe, amaro, bay, at_bay(ropewalk, "UV"))
    other = factory.museum_object("AR 0034")
    factory.entry(other)
    sync_owed_views([other.pk], NOW)
    lioba = factory.photographer("Lioba")
    second = factory.station("loft", techniques=["VF", "VC", "RK", "UV"])
    values = {
        "station": (lioba, bay, at_bay(other, "UV"), "Bay is booked 13:00 to 17:00"),
        "photographer": (amaro, second, at_bay(other, "UV"), "Amaro is booked 13:00 to 17:00"),
        "object": (lioba, second, at_bay(ropewalk, "VC"), "AR 0011 The Ropewalk is booked"),
    }[what]
    person, station, views, words = values
    with pytest.raises(DomainError, match=words) as refusal:
        plan(signe, person, station, views, starts_at=FRIDAY + hours(3), ends_at=FRIDAY + hours(6))
    assert "on Fri 17 Apr 2026 by a session at the Bay" in refusal.value.message
    assert Session.objects.count() == 1, "a refused plan leaves nothing behind"
    plan(signe, person, station, views, starts_at=FRIDAY + hours(4), ends_at=FRIDAY + hours(6))


def test_the_database_decides_when_two_leads_plan_at_the_same_instant(
    signe: User,
    amaro: User,
    bay: Station,
    ropewalk: CollectionObject,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Neither has seen the other's booking yet; the second is refused all the same, in words."""
    plan(signe, amaro, bay, at_bay(ropewalk, "UV"))
    monkeypatch.setattr(bookings, "overlapping", lambda session, resources: [])
    with pytest.raises(DomainError, match="Somebody booked the same station, person or object"):
        plan(signe, factory.photographer("Lioba"), bay, [])
    assert Session.objects.count() == 1


def test_an_object_on_loan_is_not_booked(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject
) -> None:
    away = factory.unavailable(
        ropewalk, NOW - timedelta(days=30), NOW + timedelta(days=109), note="Velsund"
    )
    with pytest.raises(DomainError) as refusal:
        plan(signe, amaro, bay, at_bay(ropewalk, "UV"))
    assert refusal.value.message == (
        "AR 0011 cannot be had: on loan until Mon 3 Aug 2026 (Velsund)."
    )
    later = NOW + timedelta(days=110)
    plan(signe, amaro, bay, at_bay(ropewalk, "UV"), starts_at=later, ends_at=later + hours(2))
    away.withdrawn_at = NOW
    away.save()
    plan(signe, amaro, bay, at_bay(ropewalk, "VC"))


def test_a_consent_that_is_lacking_blocks_its_technique_only(
    signe: User, amaro: User, ropewalk: CollectionObject, bay: Station
) -> None:
    factory.unavailable(ropewalk, NOW, reason="consent", techniques=["XR"])
    xray = factory.station("xray")
    with pytest.raises(DomainError, match="waiting for the owner's consent"):
        plan(signe, amaro, xray, at_bay(ropewalk, "XR"))
    plan(signe, amaro, bay, at_bay(ropewalk, "UV"))


def test_what_cannot_be_planned_is_refused(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject
) -> None:
    with pytest.raises(DomainError, match="The Bay does not make infrared of the front of AR 0011"):
        plan(signe, amaro, bay, at_bay(ropewalk, "IR"))
    unmeasured = factory.museum_object("AR 0118", height_mm=None)
    factory.entry(unmeasured)
    sync_owed_views([unmeasured.pk], NOW)
    with pytest.raises(DomainError, match="AR 0118 cannot be planned yet: height is not known"):
        plan(signe, amaro, bay, at_bay(unmeasured, "UV"))
    ended = OwedView.objects.get(object=ropewalk, technique="VC")
    ended.ended_at, ended.end_reason = NOW, "The last wish for it was withdrawn."
    ended.save()
    with pytest.raises(DomainError, match="Nobody asks for visible light"):
        plan(signe, amaro, bay, [ended.pk])
    with pytest.raises(DomainError, match="The session ends before it starts"):
        plan(signe, amaro, bay, [], ends_at=FRIDAY)


def test_a_view_is_planned_in_one_session_at_a_time(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject
) -> None:
    first = plan(signe, amaro, bay, at_bay(ropewalk, "UV"))
    later = {"starts_at": FRIDAY + hours(24), "ends_at": FRIDAY + hours(26)}
    with pytest.raises(DomainError, match=r"is planned already, in the session at the Bay"):
        plan(signe, amaro, bay, at_bay(ropewalk, "UV"), **later)
    actions.cancel_session(
        actor=signe, session_id=first.pk, read_version=first.row_version, reason="Amaro is ill."
    )
    plan(signe, amaro, bay, at_bay(ropewalk, "UV"), **later)


def test_planning_is_for_the_lead(amaro: User, bay: Station, ropewalk: CollectionObject) -> None:
    with pytest.raises(NotAllowed, match="Planning sessions is for the imaging lead"):
        plan(amaro, amaro, bay, at_bay(ropewalk))
    with pytest.raises(NotAllowed):
        actions.create_campaign(
            actor=amaro, name="Mine", starts_on=date(2026, 5, 1), ends_on=date(2026, 5, 2)
        )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"name": " "}, "A campaign needs a name"),
        ({"ends_on": date(2026, 4, 1)}, "ends before it starts"),
        ({"name": "Spring backs and X-ray"}, "There is a campaign “Spring backs and X-ray”"),
    ],
)
def test_a_campaign_that_cannot_be(signe: User, change: dict, words: str) -> None:
    factory.campaign()
    values = {"name": "C4", "starts_on": date(2026, 6, 8), "ends_on": date(2026, 7, 3)} | change
    with pytest.raises(DomainError, match=words):
        actions.create_campaign(actor=signe, **values)
    assert Campaign.objects.count() == 1


@pytest.fixture
def session(signe: User, amaro: User, bay: Station, ropewalk: CollectionObject) -> Session:
    return plan(signe, amaro, bay, at_bay(ropewalk, "UV"))


def edit(actor: User, session: Session, read_version: int, **changes: object) -> Session:
    session.refresh_from_db()
    values = {
        "station_id": session.station_id,
        "photographer_id": session.photographer_id,
        "starts_at": session.starts_at,
        "ends_at": session.ends_at,
        "handlers": session.handlers,
        "note": session.note,
        "now": NOW,
    } | changes
    return actions.edit_session(
        actor=actor, session_id=session.pk, read_version=read_version, **values
    )


def test_two_windows_on_one_session(signe: User, session: Session) -> None:
    """The second to save sees what the first has changed, and nothing is lost."""
    read = session.row_version
    edit(signe, session, read, starts_at=FRIDAY + hours(1))
    with pytest.raises(StaleWrite) as refusal:
        edit(signe, session, read, starts_at=FRIDAY, note="bring the gauge")
    assert refusal.value.message.startswith("Signe changed session at the Bay")
    fields = {label: (now, mine) for label, now, mine in refusal.value.differences}
    assert fields["Note"] == ("–", "bring the gauge")
    assert fields["Start"][0] == "17 Apr 2026, 13:00"
    session.refresh_from_db()
    assert session.starts_at == FRIDAY + hours(1)


def test_moving_a_session_moves_its_bookings(signe: User, session: Session) -> None:
    lioba = factory.photographer("Lioba")
    edit(
        signe,
        session,
        session.row_version,
        starts_at=FRIDAY + hours(24),
        ends_at=FRIDAY + hours(26),
        photographer_id=lioba.pk,
        helper_ids=[signe.pk],
    )
    held = session.bookings.filter(released_at=None)
    assert {booking.resource.name for booking in held} == {
        "Bay",
        "Lioba",
        "Signe",
        "AR 0011 The Ropewalk",
    }
    assert {booking.starts_at for booking in held} == {FRIDAY + hours(24)}
    assert session.bookings.filter(released_at__isnull=False).count() == 3
    event = AuditEvent.objects.get(code="campaigns.session_edited")
    assert event.before["photographer"] == "Amaro"


def test_a_move_onto_another_session_changes_nothing(
    signe: User, amaro: User, bay: Station, session: Session
) -> None:
    other = factory.museum_object("AR 0034")
    factory.entry(other)
    sync_owed_views([other.pk], NOW)
    plan(
        signe,
        amaro,
        bay,
        at_bay(other, "UV"),
        starts_at=FRIDAY + hours(5),
        ends_at=FRIDAY + hours(7),
    )
    with pytest.raises(DomainError, match="Bay is booked 18:00 to 20:00"):
        edit(signe, session, session.row_version, ends_at=FRIDAY + hours(6))
    session.refresh_from_db()
    assert session.ends_at == FRIDAY + hours(4)
    assert session.bookings.filter(released_at=None, ends_at=session.ends_at).count() == 3


def test_adding_and_dropping_lines(
    signe: User, session: Session, ropewalk: CollectionObject
) -> None:
    made = actions.add_owed_views(
        actor=signe,
        session_id=session.pk,
        read_version=session.row_version,
        owed_view_ids=at_bay(ropewalk, "VF", "VC"),
        now=NOW,
    )
    assert len(made) == 3
    names = [f"{line.technique} {line.face}" for line in session.shot_lines.all()]
    assert names == ["VF F", "VC F", "UV F", "VF B", "UV B"]
    session.refresh_from_db()
    line = session.shot_lines.get(technique="VC")
    actions.drop_shot_line(actor=signe, line_id=line.pk, read_version=session.row_version, now=NOW)
    assert [line.position for line in session.shot_lines.all()] == [1, 2, 3, 4]
    with pytest.raises(StaleWrite):
        actions.drop_shot_line(actor=signe, line_id=session.shot_lines.first().pk, read_version=1)


def test_the_plan_of_a_running_session_stands(
    signe: User, session: Session, ropewalk: CollectionObject
) -> None:
    Session.objects.filter(pk=session.pk).update(state="running")
    with pytest.raises(IllegalStep, match="This session is running, so its plan stands"):
        edit(signe, session, session.row_version, note="late")
    with pytest.raises(IllegalStep, match="so its plan stands"):
        actions.add_owed_views(
            actor=signe,
            session_id=session.pk,
            read_version=session.row_version,
            owed_view_ids=at_bay(ropewalk, "VC"),
        )


def test_a_line_that_nobody_wants_is_kept_with_a_reason(signe: User, session: Session) -> None:
    line = session.shot_lines.first()
    with pytest.raises(DomainError, match="needs a reason"):
        actions.keep_line(actor=signe, line_id=line.pk, read_version=1, reason=" ")
    actions.keep_line(actor=signe, line_id=line.pk, read_version=1, reason="The set-up stands.")
    line.refresh_from_db()
    assert line.kept_because == "The set-up stands."


@pytest.fixture
def told() -> Iterator[None]:
    yield
    assert "plans" in outlook._lookups


def test_requests_are_told_what_is_planned(
    signe: User, session: Session, ropewalk: CollectionObject, told: None
) -> None:
    ids = at_bay(ropewalk, "UV")
    assert outlook.plans_of(ids) == {}, "a draft promises nothing"
    Session.objects.filter(pk=session.pk).update(state="confirmed")
    plans = outlook.plans_of(ids)
    assert {plan.session for plan in plans.values()} == {
        "session at the Bay on Fri 17 Apr 2026, 13:00 to 17:00"
    }
    ShotLine.objects.filter(session=session).update(state="done")
    assert {plan.is_captured for plan in outlook.plans_of(ids).values()} == {True}


def test_a_night_on_which_the_clocks_change_is_counted_in_real_time() -> None:
    starts_at = factory.datetime(2026, 3, 28, 22, tzinfo=factory.UTC)
    ends_at = factory.datetime(2026, 3, 29, 2, 30, tzinfo=factory.UTC)
    assert time_words(starts_at, ends_at) == "22:00 GMT to 03:30 BST"
    assert duration_words(ends_at - starts_at) == "4 h 30 min"


def test_names_of_resources_are_made_once(
    signe: User, amaro: User, bay: Station, ropewalk: CollectionObject
) -> None:
    plan(signe, amaro, bay, at_bay(ropewalk, "UV"))
    before = Resource.objects.count()
    later = {"starts_at": FRIDAY + hours(24), "ends_at": FRIDAY + hours(26)}
    plan(signe, amaro, bay, at_bay(ropewalk, "VC"), **later)
    assert Resource.objects.count() == before
    assert Booking.objects.filter(released_at=None).count() == 6
    assert not StaleMark.objects.exists(), "drafts change no status"
