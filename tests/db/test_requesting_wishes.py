"""People's wishes: filing, overlaps, agreeing, withdrawing, fulfilling."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from imaging_requests.collection.models import CollectionObject, EntryObject, StaleMark
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.requesting import actions, outlook, rules
from imaging_requests.requesting.actions import WishedView
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import LineState, OwedView, Request, RequestLine
from imaging_requests.requesting.overlaps import find_overlaps
from imaging_requests.requesting.rules import LineStep
from tests import factory
from tests.factory import NOW

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


@pytest.fixture
def oda() -> User:
    return factory.curator("Oda")


@pytest.fixture
def signe() -> User:
    return factory.lead("Signe")


@pytest.fixture
def banner() -> CollectionObject:
    obj = factory.museum_object("AR 0067", "Processional Banner of the Pilots")
    factory.entry(obj, number="22")
    sync_owed_views([obj.pk], NOW)
    return obj


def wish(
    obj: CollectionObject, technique: str = "UV", face: str = "F", **extra: object
) -> WishedView:
    return WishedView(object_id=obj.pk, technique=technique, face=face, **extra)


def file(actor: User, *wishes: WishedView, **extra: object) -> Request:
    values = {"purpose": "text", "why": "The text speaks of it.", "wanted_by": None} | extra
    return actions.file_request(actor=actor, lines=wishes, now=NOW, **values)


def agree(actor: User, line: RequestLine) -> RequestLine:
    line.refresh_from_db()
    return actions.agree_line(
        actor=actor, line_id=line.pk, read_version=line.row_version, now=LATER
    )


def withdraw(actor: User, *lines: RequestLine) -> actions.Withdrawal:
    for line in lines:
        line.refresh_from_db()
    return actions.withdraw_lines(
        actor=actor, read_versions={line.pk: line.row_version for line in lines}, now=LATER
    )


@pytest.fixture
def standing() -> Iterator[dict[int, outlook.Standing]]:
    """What an outer room would tell about views, by id; a test fills it."""
    known: dict[int, outlook.Standing] = {}
    before = dict(outlook._lookups)
    outlook.tell_standing(lambda ids: {pk: known[pk] for pk in ids if pk in known})
    yield known
    outlook._lookups.clear()
    outlook._lookups.update(before)


def test_a_request_waits_for_the_lead_and_tells_them(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    request = file(oda, wish(banner), wish(banner, "RK", direction="L"))
    assert request.number == f"R-{request.pk:04}"
    assert [line.state for line in request.lines.all()] == ["submitted", "submitted"]
    assert Notice.objects.get(user=signe).text == f"Oda asks for 2 pictures ({request.number})."
    event = AuditEvent.objects.get(code="requesting.request_filed")
    assert event.after["lines"] == [
        "UV of the front",
        "Raking light from the left of the front",
    ]


def test_the_same_wish_twice_is_one_line(oda: User, banner: CollectionObject) -> None:
    assert file(oda, wish(banner), wish(banner)).lines.count() == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"technique": "RK"}, "Raking light needs the side it comes from"),
        ({"technique": "XR"}, "An X-ray goes through the whole object"),
        ({"face": "T"}, "An X-ray goes through the whole object"),
        ({"direction": "L"}, "Only raking light has a direction"),
        ({"technique": "ZZ"}, "There is no technique “ZZ”"),
        ({"detail_mm": (0, 0, 2000, 10), "px_per_mm": 48}, "the face is 1060 mm wide"),
        ({"detail_mm": (0, 700, 10, 91), "px_per_mm": 48}, "the face is 790 mm high"),
        ({"detail_mm": (0, 0, 0, 10), "px_per_mm": 48}, "must be wider and higher than 0 mm"),
        ({"detail_mm": (0, 0, 10, 10)}, "A detail needs the density wanted"),
        ({"px_per_mm": 48}, "A density of its own belongs to a detail"),
    ],
)
def test_a_wish_that_cannot_be_meant_is_refused(
    oda: User, banner: CollectionObject, change: dict, words: str
) -> None:
    values = {"object_id": banner.pk, "technique": "UV", "face": "F"} | change
    with pytest.raises(DomainError, match=words):
        file(oda, WishedView(**values))
    assert not Request.objects.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"why": "  "}, "does not say what the pictures are needed for"),
        ({"wanted_by": date(2026, 4, 15)}, "wanted by 15 Apr 2026, which has passed"),
    ],
)
def test_a_request_without_reason_or_with_a_past_date_is_refused(
    oda: User, banner: CollectionObject, change: dict, words: str
) -> None:
    with pytest.raises(DomainError, match=words):
        file(oda, wish(banner), **change)
    file(oda, wish(banner), wanted_by=date(2026, 4, 16))


def test_an_empty_request_is_refused(oda: User) -> None:
    with pytest.raises(DomainError, match="No picture is chosen"):
        file(oda)


def test_the_keeper_of_the_system_asks_for_nothing(banner: CollectionObject) -> None:
    with pytest.raises(NotAllowed, match="Asking for pictures is for the curator"):
        file(factory.person("Kuno", "keeper"), wish(banner))


def test_what_is_here_already_is_answered_at_once(
    oda: User, signe: User, banner: CollectionObject, standing: dict[int, outlook.Standing]
) -> None:
    view = banner.owed_views.get(technique="UV", face="F")
    standing[view.pk] = outlook.Standing(status="filed", is_met=True, met_on=date(2026, 3, 3))
    request = file(oda, wish(banner))
    line = request.lines.get()
    assert (line.state, line.fulfilled_at) == (LineState.FULFILLED, NOW)
    assert line.reason == "Here already, since 3 Mar 2026."
    assert not line.demands.exists()
    assert not Notice.objects.filter(user=signe).exists(), "there is nothing for the lead to do"
    insisting = file(oda, wish(banner, insists_because="The filter was the old one."))
    assert insisting.lines.get().state == LineState.SUBMITTED
    assert insisting.lines.get().insists_because == "The filter was the old one."


def test_overlaps_name_who_asks_already(oda: User, signe: User, banner: CollectionObject) -> None:
    matthis = factory.curator("Matthis")
    agree(signe, file(oda, wish(banner)).lines.get())
    file(matthis, wish(banner, "IR"))
    both, infrared, nothing = find_overlaps(
        [wish(banner), wish(banner, "IR"), wish(banner, "IR", "B")]
    )
    assert both.askers == ("catalogue entry 22", "Oda (R-0001)") or both.askers[0].startswith(
        "catalogue entry 22"
    )
    assert any(name.startswith("Oda (R-") for name in both.askers)
    assert any(name.startswith("Matthis (R-") for name in infrared.askers)
    assert nothing.view is None
    assert nothing.askers == ()


def test_two_requests_on_the_same_shot_are_one_view_with_two_demands(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    matthis = factory.curator("Matthis")
    for person in (oda, matthis):
        agree(signe, file(person, wish(banner, "IR", "B")).lines.get())
    view = OwedView.objects.get(object=banner, technique="IR", face="B")
    assert view.demands.filter(until=None).count() == 2
    assert view.spec["tiles"]


def test_withdrawing_leaves_what_others_need(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    """Three of five shots are owed to the catalogue and stay."""
    extra = [wish(banner, "IR", "B"), wish(banner, "VC", "B")]
    shared = [wish(banner), wish(banner, "IR"), wish(banner, "XR", "T")]
    request = file(oda, *shared, *extra)
    lines = list(request.lines.all())
    for line in lines:
        agree(signe, line)
    assert OwedView.objects.filter(object=banner, ended_at=None).count() == 12
    StaleMark.objects.all().delete()
    left = withdraw(oda, *lines)
    assert left.sentence == "3 of 5 shots stay for others."
    assert (left.stayed, left.total, len(left.ended_views)) == (3, 5, 2)
    assert OwedView.objects.filter(object=banner, ended_at=None).count() == 10
    ended = OwedView.objects.get(object=banner, technique="VC", face="B")
    assert ended.end_reason == "The last wish for it was withdrawn."
    assert {line.state for line in request.lines.all()} == {LineState.WITHDRAWN}
    assert StaleMark.objects.filter(object=banner).exists()
    sync_owed_views([banner.pk], LATER + timedelta(hours=1))
    assert OwedView.objects.filter(object=banner, ended_at=None).count() == 10


def test_a_view_of_two_people_ends_with_the_second_withdrawal(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    matthis = factory.curator("Matthis")
    first = file(oda, wish(banner, "IR", "B")).lines.get()
    second = file(matthis, wish(banner, "IR", "B")).lines.get()
    for line in (first, second):
        agree(signe, line)
    assert withdraw(oda, first).sentence == "The shot stays for others."
    assert withdraw(matthis, second).sentence == "The shot is not owed any more."


def test_only_the_asker_and_the_lead_withdraw(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    line = file(oda, wish(banner)).lines.get()
    with pytest.raises(NotAllowed, match="Only Oda or the imaging lead withdraws"):
        withdraw(factory.curator("Matthis"), line)
    withdraw(signe, line)
    line.refresh_from_db()
    assert line.state == LineState.WITHDRAWN


def test_the_lead_hears_of_a_planned_shot_that_nobody_wants_any_more(
    oda: User, signe: User, banner: CollectionObject, standing: dict
) -> None:
    line = file(oda, wish(banner, "IR", "B")).lines.get()
    agree(signe, line)
    view = OwedView.objects.get(technique="IR", face="B")
    outlook.tell_plans(
        lambda ids: {view.pk: outlook.Plan(session="session at the IR stand on 17 Apr 2026")}
    )
    withdraw(oda, line)
    notice = Notice.objects.filter(user=signe).first()
    assert notice is not None
    assert notice.text == (
        "Oda withdrew the last wish for infrared of the back of AR 0067 "
        "(session at the IR stand on 17 Apr 2026). "
        "Its session asks whether to drop or keep the line."
    )


def test_agreeing_is_for_the_lead(oda: User, banner: CollectionObject) -> None:
    line = file(oda, wish(banner)).lines.get()
    with pytest.raises(NotAllowed, match="Agreeing to requests is for the imaging lead"):
        agree(oda, line)


def test_agreeing_tells_the_asker_the_promised_day(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    line = file(oda, wish(banner)).lines.get()
    with pytest.raises(DomainError, match="15 Apr 2026 has passed"):
        actions.agree_line(
            actor=signe,
            line_id=line.pk,
            read_version=line.row_version,
            promised_on=date(2026, 4, 15),
            now=NOW,
        )
    actions.agree_line(
        actor=signe,
        line_id=line.pk,
        read_version=line.row_version,
        promised_on=date(2026, 4, 24),
        now=NOW,
    )
    assert Notice.objects.get(user=oda).text == (
        f"1 of the pictures you asked for ({line.request.number}) is agreed, "
        "promised for 24 Apr 2026."
    )


def test_declining_needs_a_reason_and_tells_it(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    line = file(oda, wish(banner)).lines.get()
    with pytest.raises(DomainError, match="needs to know why"):
        actions.decline_line(
            actor=signe, line_id=line.pk, read_version=line.row_version, reason=" "
        )
    actions.decline_line(
        actor=signe, line_id=line.pk, read_version=line.row_version, reason="The banner is fragile."
    )
    line.refresh_from_db()
    assert (line.state, line.reason) == (LineState.DECLINED, "The banner is fragile.")
    assert "declined: The banner is fragile." in Notice.objects.get(user=oda).text


def test_a_stale_decision_is_refused(oda: User, signe: User, banner: CollectionObject) -> None:
    line = file(oda, wish(banner)).lines.get()
    read = line.row_version
    actions.decline_line(actor=signe, line_id=line.pk, read_version=read, reason="No.")
    with pytest.raises(StaleWrite, match="Signe changed"):
        actions.agree_line(actor=signe, line_id=line.pk, read_version=read)


@pytest.mark.parametrize("state", LineState.values)
@pytest.mark.parametrize("step", list(LineStep))
def test_steps_of_a_line(state: str, step: LineStep) -> None:
    allowed = {
        ("submitted", "agree"): "agreed",
        ("submitted", "decline"): "declined",
        ("submitted", "withdraw"): "withdrawn",
        ("agreed", "withdraw"): "withdrawn",
        ("agreed", "fulfil"): "fulfilled",
    }
    wanted = allowed.get((state, step.value))
    if wanted is None:
        with pytest.raises(IllegalStep, match="cannot be changed like this any more"):
            rules.next_state(state, step)
    else:
        assert rules.next_state(state, step) == wanted


def test_a_detail_is_a_view_of_its_own(oda: User, signe: User, banner: CollectionObject) -> None:
    region = (120.0, 80.0, 60.0, 40.0)
    first = file(oda, wish(banner, detail_mm=region, px_per_mm=48)).lines.get()
    agree(signe, first)
    detail = OwedView.objects.get(detail_mm__isnull=False)
    assert (detail.variant, detail.px_per_mm) == ("detail 1", 48)
    assert detail.spec["tiles"] == [1, 1]
    whole = banner.owed_views.get(technique="UV", face="F", detail_mm__isnull=True)
    assert whole.px_per_mm == 6
    nearly = tuple(value + 0.2 for value in region)
    same = file(factory.curator("Matthis"), wish(banner, detail_mm=nearly, px_per_mm=40))
    agree(signe, same.lines.get())
    assert detail.demands.filter(until=None).count() == 2, "one drawing, coarser wish"
    finer = file(oda, wish(banner, detail_mm=region, px_per_mm=60)).lines.get()
    agree(signe, finer)
    raking = wish(banner, "RK", direction="L", detail_mm=region, px_per_mm=48)
    agree(signe, file(oda, raking).lines.get())
    names = set(OwedView.objects.filter(detail_mm__isnull=False).values_list("variant", flat=True))
    assert names == {"detail 1", "detail 2", "L detail 3"}


def test_what_a_rule_takes_out_is_wanted_only_with_a_reason(oda: User, signe: User) -> None:
    copper = factory.museum_object("AR 0015", "Night Ferry", **factory.COPPER_FACTS)
    factory.entry(copper)
    sync_owed_views([copper.pk], NOW)
    with pytest.raises(DomainError, match="X-ray of AR 0015 does not apply: the metal plate"):
        file(oda, wish(copper, "XR", "T"))
    line = file(
        oda, wish(copper, "XR", "T", insists_because="Above 100 kV the operator can do it.")
    ).lines.get()
    agree(signe, line)
    sync_owed_views([copper.pk], LATER)
    assert OwedView.objects.get(object=copper, technique="XR").ended_at is None
    assert not copper.not_applicable.filter(until=None).exists()


def test_fulfilled_when_the_view_is_met(oda: User, signe: User, banner: CollectionObject) -> None:
    request = file(oda, wish(banner), wish(banner, "IR"))
    for line in request.lines.all():
        agree(signe, line)
    view = banner.owed_views.get(technique="UV", face="F")
    Notice.objects.all().delete()
    assert [line.technique for line in actions.fulfil_lines([view.pk], LATER)] == ["UV"]
    states = dict(request.lines.values_list("technique", "state"))
    assert states == {"UV": "fulfilled", "IR": "agreed"}
    assert "1 of the pictures you asked for" in Notice.objects.get(user=oda).text
    assert actions.fulfil_lines([view.pk], LATER) == [], "a second time nothing happens"


@pytest.mark.parametrize("counts", [True, False])
def test_a_fulfilled_wish_makes_no_debt_unless_it_counts_for_the_catalogue(
    oda: User, signe: User, banner: CollectionObject, counts: bool
) -> None:
    line = file(oda, wish(banner, "IR", "B"), counts_for_catalogue=counts).lines.get()
    agree(signe, line)
    view = OwedView.objects.get(technique="IR", face="B")
    actions.fulfil_lines([view.pk], LATER)
    view.refresh_from_db()
    assert view.ended_at is None, "it ends when something else moves, not under the reader's eyes"
    sync_owed_views([banner.pk], LATER)
    view.refresh_from_db()
    assert (view.ended_at is None) is counts


def test_a_request_follows_the_entry_it_named(oda: User, signe: User) -> None:
    stays, leaves, comes = (factory.museum_object() for _ in range(3))
    entry = factory.entry(stays, leaves)
    request = file(oda, wish(stays, entry_id=entry.pk), wish(leaves, entry_id=entry.pk))
    EntryObject.objects.filter(object=leaves).update(removed_at=LATER)
    EntryObject.objects.create(entry=entry, object=comes, added_at=LATER)
    gone = request.lines.get(object=leaves)
    with pytest.raises(DomainError, match="has left entry"):
        agree(signe, gone)
    actions.follow_entry(
        actor=signe, request_id=request.pk, entry_id=entry.pk, read_version=request.row_version
    )
    assert dict(request.lines.values_list("object", "state")) == {
        stays.pk: "submitted",
        leaves.pk: "withdrawn",
        comes.pk: "submitted",
    }


def test_the_wish_of_somebody_who_left_stays_with_the_department(
    oda: User, signe: User, banner: CollectionObject
) -> None:
    line = file(oda, wish(banner, "IR", "B")).lines.get()
    agree(signe, line)
    oda.is_active = False
    oda.save()
    sync_owed_views([banner.pk], LATER)
    assert OwedView.objects.get(technique="IR", face="B").ended_at is None
    assert withdraw(signe, line).sentence == "The shot is not owed any more."
