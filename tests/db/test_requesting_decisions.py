"""What people sign about duties: waivers, views that do not apply, replacements, gaps."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.requesting import actions, outlook, rules
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import GapStatement, OwedView, Waiver, WaiverProposal
from tests import factory
from tests.factory import NOW

pytestmark = pytest.mark.django_db
WHY = "The lining adhesive holds lead white."


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


@pytest.fixture
def people() -> dict[str, User]:
    return {
        "lead": factory.lead(),
        "conservator": factory.conservator(),
        "curator": factory.curator(),
        "head": factory.head(),
        "photographer": factory.photographer(),
    }


@pytest.fixture
def xray() -> OwedView:
    obj = factory.museum_object("AR 0024", "The Salt Merchant's Daughter")
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    return obj.owed_views.get(technique="XR")


@pytest.fixture
def last_look() -> OwedView:
    """UV of the front before a varnish removal: it can never be made again."""
    obj = factory.museum_object("AR 0070")
    factory.entry(obj)
    factory.treatment(obj, (1, 2))
    sync_owed_views([obj.pk], NOW)
    return obj.owed_views.get(technique="UV", anchor="BT")


def grant(actor: User, view: OwedView, **extra: object) -> Waiver:
    values = {"reason_code": "nothing_to_see", "text": WHY, "now": NOW} | extra
    return actions.grant_waiver(actor=actor, owed_view_id=view.pk, **values)


def propose(actor: User, view: OwedView, **extra: object) -> WaiverProposal:
    values = {"reason_code": "nothing_to_see", "text": WHY, "now": NOW} | extra
    return actions.propose_waiver(actor=actor, owed_view_id=view.pk, **values)


def sign(actor: User, proposal: WaiverProposal) -> WaiverProposal:
    proposal.refresh_from_db()
    return actions.sign_waiver(
        actor=actor, proposal_id=proposal.pk, read_version=proposal.row_version, now=NOW
    )


@pytest.mark.parametrize(
    ("role", "may"),
    [
        ("lead", True),
        ("conservator", False),
        ("curator", False),
        ("head", False),
        ("photographer", False),
    ],
)
def test_an_ordinary_waiver_is_the_leads(
    people: dict[str, User], xray: OwedView, role: str, may: bool
) -> None:
    if may:
        waiver = grant(people[role], xray)
        assert (waiver.granted_by, waiver.co_signed_by) == (people[role], None)
        assert AuditEvent.objects.get(code="requesting.waiver_granted").reason == WHY
    else:
        with pytest.raises(DomainError, match=r"signed by the imaging lead|is for the"):
            grant(people[role], xray)


def test_a_last_look_is_given_up_by_two_different_people(
    people: dict[str, User], last_look: OwedView
) -> None:
    lead, conservator = people["lead"], people["conservator"]
    with pytest.raises(DomainError, match="two different people"):
        grant(lead, last_look)
    with pytest.raises(DomainError, match="two different people"):
        grant(lead, last_look, co_signed_by=lead)
    with pytest.raises(DomainError, match="one is the imaging lead and one a conservator"):
        grant(lead, last_look, co_signed_by=people["curator"])
    waiver = grant(conservator, last_look, co_signed_by=lead)
    assert (waiver.granted_by, waiver.co_signed_by) == (lead, conservator)
    assert waiver.is_last_look is True


def test_two_people_sign_a_proposal_one_by_one(
    people: dict[str, User], last_look: OwedView
) -> None:
    proposal = propose(people["curator"], last_look)
    assert proposal.is_last_look is True
    assert {notice.user.name for notice in Notice.objects.all()} == {"Signe", "Runa"}
    once = sign(people["conservator"], proposal)
    assert (once.state, once.first_signed_by) == ("asked", people["conservator"])
    assert not Waiver.objects.exists()
    with pytest.raises(DomainError, match="two different people"):
        sign(people["conservator"], proposal)
    twice = sign(people["lead"], proposal)
    assert twice.state == "granted"
    assert twice.waiver is not None
    assert (twice.waiver.granted_by.name, twice.waiver.co_signed_by.name) == ("Signe", "Runa")


def test_an_ordinary_proposal_needs_only_the_lead(people: dict[str, User], xray: OwedView) -> None:
    proposal = propose(people["photographer"], xray)
    with pytest.raises(DomainError, match="An ordinary waiver is signed by the imaging lead"):
        sign(people["conservator"], proposal)
    assert sign(people["lead"], proposal).state == "granted"
    with pytest.raises(IllegalStep, match="waived already"):
        sign(people["lead"], proposal)


def test_a_refusal_says_why_to_the_one_who_asked(people: dict[str, User], xray: OwedView) -> None:
    proposal = propose(people["curator"], xray)
    Notice.objects.all().delete()
    for text in ("", "  "):
        with pytest.raises(DomainError, match="A refusal needs its reason in words"):
            actions.refuse_waiver(
                actor=people["lead"], proposal_id=proposal.pk, read_version=1, answer=text
            )
    actions.refuse_waiver(
        actor=people["lead"], proposal_id=proposal.pk, read_version=1, answer="It can be made."
    )
    assert Notice.objects.get().text.endswith("refused the waiver you proposed: It can be made.")
    with pytest.raises(StaleWrite):
        actions.refuse_waiver(
            actor=people["lead"], proposal_id=proposal.pk, read_version=1, answer="Again."
        )
    with pytest.raises(IllegalStep, match="refused already"):
        sign(people["lead"], proposal)


def test_nothing_is_waived_or_proposed_twice(people: dict[str, User], xray: OwedView) -> None:
    propose(people["curator"], xray)
    with pytest.raises(IllegalStep, match="has been proposed already"):
        propose(people["photographer"], xray)
    grant(people["lead"], xray)
    with pytest.raises(IllegalStep, match="waived already"):
        grant(people["lead"], xray)


def test_a_waiver_needs_words_and_a_day_to_come(people: dict[str, User], xray: OwedView) -> None:
    with pytest.raises(DomainError, match="A waiver needs its reason in words"):
        grant(people["lead"], xray, text=" ")
    with pytest.raises(DomainError, match="lapsed already would change nothing"):
        grant(people["lead"], xray, lapses_at=NOW)
    grant(people["lead"], xray, lapses_at=NOW + timedelta(days=1))


def test_an_ended_waiver_opens_the_view_again(people: dict[str, User], xray: OwedView) -> None:
    waiver = grant(people["lead"], xray)
    with pytest.raises(NotAllowed, match="Ending a waiver is for the imaging lead"):
        actions.end_waiver(actor=people["head"], waiver_id=waiver.pk, reason="No.")
    actions.end_waiver(
        actor=people["lead"], waiver_id=waiver.pk, reason="The owner agrees now.", now=NOW
    )
    waiver.refresh_from_db()
    assert (waiver.ended_at, waiver.end_reason) == (NOW, "The owner agrees now.")
    grant(people["lead"], xray)


def test_a_view_that_is_not_owed_any_more_is_not_waived(
    people: dict[str, User], xray: OwedView
) -> None:
    OwedView.objects.filter(pk=xray.pk).update(ended_at=NOW, end_reason="Nobody asks.")
    with pytest.raises(IllegalStep, match="not owed any more: Nobody asks"):
        grant(people["lead"], xray)


def test_a_decision_by_hand_stays_when_rules_are_derived_again(
    people: dict[str, User], xray: OwedView
) -> None:
    common = {"object_id": xray.object_id, "technique": "XR", "face": "T"}
    with pytest.raises(DomainError, match="needs its reason in words"):
        actions.decide_not_applicable(actor=people["lead"], reason="", **common)
    row = actions.decide_not_applicable(
        actor=people["lead"], reason="The plate would not fit.", now=NOW, **common
    )
    sync_owed_views([xray.object_id], NOW)
    row.refresh_from_db()
    assert row.until is None
    with pytest.raises(IllegalStep, match="does not apply already"):
        actions.decide_not_applicable(actor=people["lead"], reason="Twice.", **common)
    actions.end_not_applicable(actor=people["lead"], decision_id=row.pk, reason="It fits.", now=NOW)
    row.refresh_from_db()
    assert row.until == NOW


def test_what_a_rule_says_is_not_taken_back_by_hand(people: dict[str, User]) -> None:
    copper = factory.museum_object(**factory.COPPER_FACTS)
    factory.entry(copper)
    sync_owed_views([copper.pk], NOW)
    with pytest.raises(IllegalStep, match="Only a decision made by hand"):
        actions.end_not_applicable(
            actor=people["lead"], decision_id=copper.not_applicable.get().pk, reason="No."
        )


def test_replacements_never_run_in_a_circle(people: dict[str, User], xray: OwedView) -> None:
    first, second, third = list(OwedView.objects.filter(object=xray.object_id).order_by("pk")[:3])

    def replace(view: OwedView, by: OwedView) -> None:
        view.refresh_from_db()
        actions.replace_view(
            actor=people["lead"],
            owed_view_id=view.pk,
            by_view_id=by.pk,
            read_version=view.row_version,
            reason="The newer rule asks for the other.",
        )

    replace(first, second)
    replace(second, third)
    with pytest.raises(DomainError, match="in a circle"):
        replace(third, first)
    with pytest.raises(DomainError, match="in a circle"):
        replace(third, third)
    elsewhere = factory.owed_view(factory.museum_object())
    with pytest.raises(DomainError, match="Only a view that is owed of the same object"):
        replace(third, elsewhere)


def test_the_database_refuses_a_view_that_replaces_itself(xray: OwedView) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        OwedView.objects.filter(pk=xray.pk).update(replaced_by=xray.pk)


@pytest.mark.parametrize(
    ("links", "view", "by", "is_circle"),
    [({}, 1, 2, False), ({2: 3}, 1, 2, False), ({2: 1}, 1, 2, True), ({2: 3, 3: 1}, 1, 2, True)],
)
def test_circles(links: dict[int, int], view: int, by: int, is_circle: bool) -> None:
    if is_circle:
        with pytest.raises(DomainError, match="circle"):
            rules.check_replacement(links, view, by)
    else:
        rules.check_replacement(links, view, by)


def test_the_head_signs_for_what_is_lost(
    people: dict[str, User], xray: OwedView, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = xray.demands.get().entry
    with pytest.raises(NotAllowed, match="Signing a gap statement is for the department head"):
        actions.sign_gap_statement(actor=people["lead"], entry_id=entry.pk, text="Lost.")
    monkeypatch.setitem(outlook._lookups, "standing", lambda ids: {})
    with pytest.raises(DomainError, match=r"No view of entry \S+ is lost"):
        actions.sign_gap_statement(actor=people["head"], entry_id=entry.pk, text="Lost.")
    monkeypatch.setitem(
        outlook._lookups,
        "standing",
        lambda ids: {
            pk: outlook.Standing(status="lost", is_met=False) for pk in ids if pk == xray.pk
        },
    )
    first = actions.sign_gap_statement(
        actor=people["head"], entry_id=entry.pk, text="The back was lined.", now=NOW
    )
    assert first.view_ids == [xray.pk]
    second = actions.sign_gap_statement(
        actor=people["head"], entry_id=entry.pk, text="The original back was lined.", now=NOW
    )
    assert GapStatement.objects.get(ended_at=None) == second
