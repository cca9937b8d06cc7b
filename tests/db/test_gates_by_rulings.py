"""A gate stands against what one person rules out, under a cover, and after an emergency."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.actions import record_facts
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.progress import acts
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.settle import settle, verify
from imaging_requests.progress.treatment_page import treatment_context
from imaging_requests.requesting import actions as requesting
from imaging_requests.requesting.models import OwedView
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.models import Treatment
from imaging_requests.treatments.rules import EmergencyStart
from tests import factory
from tests.factory import NOW, hours
from tests.progress_scene import picture

pytestmark = pytest.mark.django_db

FRONT = (("VF", "F"), ("UV", "F"), ("IR", "F"))
WHY = "It is not needed this time."
DRIP = EmergencyStart(reason="Water stands behind the canvas.", record_picture="Telephone")


@pytest.fixture
def runa() -> User:
    factory.rules()
    return factory.conservator("Runa")


@pytest.fixture
def signe() -> User:
    return factory.lead()


def start(treatment: Treatment, number: int, *, ago: float = 1, **more: Any) -> None:
    row = treatment.interventions.get(step=number)
    acts.start_step(
        actor=treatment.conservator,
        intervention_id=row.pk,
        read_version=row.row_version,
        started_at=NOW - hours(ago),
        now=NOW - hours(ago) + hours(0.1),
        **more,
    )


def finish(treatment: Treatment, number: int, *, ago: float) -> None:
    row = treatment.interventions.get(step=number)
    acts.finish_step(
        actor=treatment.conservator,
        intervention_id=row.pk,
        read_version=row.row_version,
        finished_at=NOW - hours(ago),
        now=NOW - hours(ago) + hours(0.1),
    )


def missing(treatment: Treatment) -> dict[str, str]:
    gate = treatment_context(treatment, user=treatment.conservator)["gate"]
    return {row["words"]: row["why"] for row in gate["missing"]}


@pytest.fixture
def overpaint(runa: User, signe: User) -> Treatment:
    """Overpaint is to come off; infrared alone is not pictured yet."""
    obj = factory.museum_object("AR 0055")
    factory.entry(obj)
    found = factory.treatment(obj, (3,), by=runa, scope=(*FRONT, ("VF", "B")), code="T5")
    settle([obj.pk], now=NOW - hours(90))
    for view in obj.owed_views.filter(anchor="BT", technique__in=("VF", "UV"), ended_at=None):
        picture(view, NOW - hours(80), by=signe, accepted_after=hours(1))
    settle([obj.pk], now=NOW - hours(70))
    return found


def test_the_lead_alone_opens_no_last_look_by_replacing_it(
    overpaint: Treatment, signe: User, client: Client
) -> None:
    infrared = OwedView.objects.get(treatment=overpaint, technique="IR", anchor="BT")
    other = OwedView.objects.filter(object=overpaint.object_id, face="B", ended_at=None)[0]
    client.force_login(signe)
    asked = client.get(reverse("requesting:replace", args=[infrared.pk])).content.decode()
    assert "ends this view for good" in asked
    requesting.replace_view(
        actor=signe,
        owed_view_id=infrared.pk,
        by_view_id=other.pk,
        read_version=infrared.row_version,
        reason=WHY,
        now=NOW - hours(60),
    )
    settle([overpaint.object_id], now=NOW - hours(59))
    with pytest.raises(DomainError, match="The gate is shut: infrared of the front"):
        start(overpaint, 1)
    (why,) = missing(overpaint).values()
    assert "In its place stands" in why
    assert "of the back" in why
    said = ViewStatus.objects.get(owed_view=infrared).why
    assert (
        said
        == "Infrared of the front was replaced by visible light (flash) of the back as it is now."
    )


def test_the_lead_alone_opens_no_last_look_by_ruling_that_it_does_not_apply(
    overpaint: Treatment, runa: User, signe: User
) -> None:
    requesting.decide_not_applicable(
        actor=signe,
        object_id=overpaint.object_id,
        technique="IR",
        face="F",
        reason=WHY,
        now=NOW - hours(60),
    )
    settle([overpaint.object_id], now=NOW - hours(59))
    with pytest.raises(DomainError, match="The gate is shut: infrared of the front"):
        start(overpaint, 1)
    (why,) = missing(overpaint).values()
    assert "no reason to lose a last look" in why
    requesting.grant_waiver(
        actor=signe,
        owed_view_id=OwedView.objects.get(treatment=overpaint, technique="IR", anchor="BT").pk,
        reason_code="other",
        text="The old photographs show it.",
        co_signed_by=runa,
        now=NOW - hours(58),
    )
    start(overpaint, 1)


def test_work_under_a_facing_waits_for_the_look_that_had_to_come_before_it(runa: User) -> None:
    obj = factory.museum_object("AR 0011")
    factory.entry(obj)
    facing = factory.treatment(obj, (9,), by=runa, scope=(), code="T8")
    settle([obj.pk], now=NOW - hours(90))
    start(facing, 1, ago=80)
    finish(facing, 1, ago=79)
    under = factory.treatment(obj, (3,), by=runa, scope=FRONT, code="T10")
    settle([obj.pk], now=NOW - hours(70))
    before = OwedView.objects.filter(treatment=under, anchor="BT", ended_at=None)
    assert {view.technique for view in before} == {"VF", "UV", "IR"}
    with pytest.raises(DomainError, match="The gate is shut"):
        start(under, 1)
    gate = treatment_context(under, user=runa)["gate"]
    assert len(gate["missing"]) == 3
    assert all(row["is_last_look"] and row["waive_href"] for row in gate["missing"])
    assert verify([obj.pk], now=NOW) == []


def test_the_documentation_of_the_back_follows_the_back_that_an_emergency_brought(
    runa: User,
) -> None:
    obj = factory.museum_object("AR 0118")
    factory.entry(obj)
    found = factory.treatment(obj, (11, 23), by=runa, scope=(("VF", "B"),), code="T7")
    settle([obj.pk], now=NOW - hours(90))
    start(found, 1, ago=80, emergency=DRIP)
    with pytest.raises(DomainError, match=r"of the back \(B.2\)"):
        start(found, 2, ago=79, emergency=None)
    finish(found, 1, ago=70)
    settle([obj.pk], now=NOW - hours(69))
    gate = treatment_context(found, user=runa)["gate"]
    assert (gate["unasked"], len(gate["missing"])) == ("", 1)
    assert gate["missing"][0]["waive_href"]
    assert gate["missing"][0]["work"]
    owed = OwedView.objects.get(treatment=found, surface="B.2", ended_at=None)
    assert (owed.anchor, owed.technique) == ("DT", "VF")
    picture(owed, NOW - hours(68), by=factory.lead(), accepted_after=hours(1))
    settle([obj.pk], now=NOW - hours(60))
    start(found, 2)


def test_a_treatment_whose_steps_were_all_dropped_is_not_called_done(runa: User) -> None:
    found = factory.treatment(factory.museum_object("AR 0056"), (1,), by=runa, code="T11")
    row = found.interventions.get()
    treatments.drop_intervention(
        actor=runa, intervention_id=row.pk, read_version=row.row_version, reason="Not needed now."
    )
    found.refresh_from_db()
    answer = treatment_context(found, user=runa)["answer"]
    assert answer == "T11: every step was dropped, and no other is planned"


def test_a_step_out_of_its_turn_is_held_against_the_lining_that_is_still_on(runa: User) -> None:
    """The lining is learnt of after the examination, and the label of the canvas is to go."""
    obj = factory.museum_object("AR 0052")
    factory.entry(obj)
    scope = (("VF", "B"), ("UV", "B"), ("IR", "B"))
    found = factory.treatment(obj, (30, 12, 24), by=runa, scope=scope, code="T13")
    settle([obj.pk], now=NOW - hours(90))
    start(found, 1, ago=80, emergency=DRIP)
    finish(found, 1, ago=79)
    record_facts(actor=runa, object_id=obj.pk, values={"is_lined": True}, now=NOW - hours(70))
    settle([obj.pk], now=NOW - hours(69))
    with pytest.raises(DomainError, match=r"The gate is shut: .* of the back \(B.2\)"):
        start(found, 3)
    gate = treatment_context(found, user=runa)["gate"]
    assert [row["words"] for row in gate["missing"]] == ["Visible light (flash) of the back (B.2)"]
    assert gate["missing"][0]["waive_href"]
    assert gate["missing"][0]["work"]
    with pytest.raises(DomainError, match="The gate is shut"):
        start(found, 2)
    assert verify([obj.pk], now=NOW) == []
