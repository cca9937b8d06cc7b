"""A lined painting is relined: each step is held against the surface it will really work on."""

from __future__ import annotations

from typing import Any

import pytest

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.progress import acts
from imaging_requests.progress.gate_page import gates_of_treatments
from imaging_requests.progress.settle import settle, verify
from imaging_requests.progress.treatment_page import treatment_context
from imaging_requests.requesting import actions as requesting
from imaging_requests.requesting.models import OwedView
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.models import EmergencyOverride, Intervention, Treatment
from imaging_requests.treatments.rules import EmergencyStart
from tests import factory
from tests.factory import NOW, hours
from tests.progress_scene import picture

pytestmark = pytest.mark.django_db

BACK = (("VF", "B"), ("RK", "B"), ("UV", "B"), ("IR", "B"))
DRIP = EmergencyStart(reason="Water stands behind the canvas.", record_picture="Telephone")


@pytest.fixture
def ysolde() -> User:
    factory.rules()
    return factory.conservator("Ysolde")


@pytest.fixture
def lined(ysolde: User) -> CollectionObject:
    obj = factory.museum_object("AR 0079", "The Blind Cartographer", is_lined=True)
    factory.entry(obj)
    return obj


@pytest.fixture
def relining(lined: CollectionObject, ysolde: User) -> Treatment:
    """Lining off, residue off the canvas, a new lining; no face was said of any step."""
    treatment = factory.treatment(lined, (), by=ysolde, scope=BACK, code="T11")
    for row in (12, 13, 11):
        add(treatment, row)
    settle([lined.pk], now=NOW - hours(98))
    return treatment


def add(treatment: Treatment, row: int, **values: Any) -> Intervention:
    treatment.refresh_from_db()
    return treatments.add_intervention(
        actor=treatment.conservator,
        treatment_id=treatment.pk,
        read_version=treatment.row_version,
        type_row=row,
        now=NOW - hours(99),
        **values,
    )


def step(treatment: Treatment, number: int) -> Intervention:
    return treatment.interventions.get(step=number)


def start(treatment: Treatment, number: int, *, ago: float, **more: Any) -> Intervention:
    row = step(treatment, number)
    return acts.start_step(
        actor=treatment.conservator,
        intervention_id=row.pk,
        read_version=row.row_version,
        started_at=NOW - hours(ago),
        now=NOW - hours(ago) + hours(0.1),
        **more,
    )


def finish(treatment: Treatment, number: int, *, ago: float) -> None:
    row = step(treatment, number)
    acts.finish_step(
        actor=treatment.conservator,
        intervention_id=row.pk,
        read_version=row.row_version,
        finished_at=NOW - hours(ago),
        now=NOW - hours(ago) + hours(0.1),
    )


def codes(treatment: Treatment, anchor: str) -> set[str]:
    views = OwedView.objects.filter(treatment=treatment, anchor=anchor, ended_at=None)
    return {f"{view.technique} {view.surface}" for view in views}


def test_the_face_of_a_step_is_that_of_its_kind_and_a_lining_is_never_put_on_the_front(
    relining: Treatment,
) -> None:
    assert {each.face for each in relining.interventions.all()} == {"B"}
    for row, face in ((12, "F"), (11, "F"), (9, "B")):
        with pytest.raises(DomainError, match=r"is done to the (back|front) of a painting, not"):
            add(relining, row, face=face, direction="")
    assert add(relining, 1, face="").face == "F"
    assert add(relining, 23, face="").face == "B"
    wing = factory.museum_object("AR 0007", "Saint of the Ferry", painted_faces="FB")
    both = factory.treatment(wing, (), by=relining.conservator, code="T12")
    with pytest.raises(DomainError, match="Both faces of this object are painted"):
        add(both, 1, face="")
    assert add(both, 1, face="B").face == "B"


def test_only_the_lining_itself_is_owed_before_it_comes_off(relining: Treatment) -> None:
    assert codes(relining, "BT") == {"VF B.2"}
    assert codes(relining, "WIN") == {"VF B.1", "RK B.1", "UV B.1", "IR B.1"}


def test_work_on_the_canvas_waits_until_the_lining_that_comes_off_has_bared_it(
    relining: Treatment,
) -> None:
    start(relining, 1, ago=30, emergency=DRIP)
    with pytest.raises(DomainError, match=r"gate is shut: visible light .flash. of the back") as no:
        start(relining, 2, ago=20)
    assert "after step 1 of treatment T11" in str(no.value)
    (row,) = treatment_context(relining, user=relining.conservator)["gate"]["missing"]
    assert "It comes to light with “lining removed”, which is under way." in row["why"]
    assert row["work"], "its picture is planned for as of the time in which the back is bare"
    assert row["waive_words"] == "Waive"
    finish(relining, 1, ago=10)
    with pytest.raises(DomainError, match="The gate is shut"):
        start(relining, 2, ago=9)
    bare = OwedView.objects.get(anchor="WIN", technique="VF", ended_at=None)
    picture(bare, NOW - hours(9.5), by=factory.lead(), accepted_after=hours(1))
    settle([relining.object_id], now=NOW - hours(8))
    start(relining, 2, ago=7)
    assert EmergencyOverride.objects.count() == 1, "of the first step alone"


def test_two_steps_on_the_back_do_not_overlap_whatever_face_was_recorded(
    relining: Treatment,
) -> None:
    start(relining, 1, ago=30, emergency=DRIP)
    Intervention.objects.filter(pk=step(relining, 1).pk).update(face="F")
    with pytest.raises(DomainError, match=r"On the back of this object .* was under way"):
        start(relining, 2, ago=20, emergency=DRIP)


def test_a_view_stands_once_at_the_gate_and_two_signatures_open_it(
    relining: Treatment, ysolde: User
) -> None:
    signe = factory.lead()
    start(relining, 1, ago=30, emergency=DRIP)
    finish(relining, 1, ago=28)
    start(relining, 2, ago=26, emergency=DRIP)
    finish(relining, 2, ago=24)
    settle([relining.object_id], now=NOW)
    gate = treatment_context(relining, user=ysolde)["gate"]
    names = [row["words"] for row in gate["missing"]]
    assert len(names) == len(set(names)) == 4
    assert all(row["waive_href"] and row["work"] and row["is_last_look"] for row in gate["missing"])
    for view in OwedView.objects.filter(anchor="WIN", ended_at=None):
        requesting.grant_waiver(
            actor=signe,
            owed_view_id=view.pk,
            reason_code="other",
            text="The old photographs show it.",
            co_signed_by=ysolde,
            now=NOW,
        )
    assert gates_of_treatments([relining])[relining.pk]["gate"] == "yes"
    (window,) = treatment_context(relining, user=ysolde)["windows"]
    assert window.sentence.endswith("All 4 views it owes are waived.")
    assert verify([relining.object_id], now=NOW) == []


def test_each_step_says_what_it_does_in_its_turn(relining: Treatment, ysolde: User) -> None:
    off, residue, lining = (
        each["does"] for each in treatment_context(relining, user=ysolde)["steps"]
    )
    assert off.ends == "the back (B.2)"
    assert off.bares == "the back (B.1), to be seen until “lining applied” hides it"
    assert "(B.2)" not in residue.makes_untrue + residue.asks + residue.hides
    assert "visible light (flash) of the back" in residue.makes_untrue.lower()
    assert (residue.ends, residue.bares) == ("", "")
    assert lining.hides == "the back (B.1)"


def test_an_emergency_lists_what_it_loses_before_it_is_begun_and_ever_after(
    relining: Treatment, ysolde: User
) -> None:
    first = treatment_context(relining, user=ysolde)["steps"][0]
    (asked,) = [form for form in first["forms"] if form.name == "start"]
    lost = "isible light (flash) of the back (B.2) before treatment T11"
    assert asked.loses == (f"V{lost}",)
    start(relining, 1, ago=5, emergency=DRIP)
    begun = treatment_context(relining, user=ysolde)["steps"][0]["emergency"]
    assert f"Not accepted before it began: v{lost}." in begun.known
