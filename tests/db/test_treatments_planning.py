"""What may be said of a step before it begins: direction, area, and what is on the object."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.treatments import actions
from imaging_requests.treatments.models import Intervention, Treatment
from imaging_requests.treatments.rules import GateAnswer
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def runa() -> User:
    factory.rules()
    return factory.conservator()


@pytest.fixture
def obj() -> CollectionObject:
    return factory.museum_object("AR 0070")


@pytest.fixture
def treatment(runa: User, obj: CollectionObject) -> Treatment:
    return factory.treatment(obj, (), by=runa)


def add(treatment: Treatment, row: int, **values: Any) -> Intervention:
    treatment.refresh_from_db()
    return actions.add_intervention(
        actor=treatment.conservator,
        treatment_id=treatment.pk,
        read_version=treatment.row_version,
        type_row=row,
        now=NOW,
        **values,
    )


def begin(step: Intervention) -> Intervention:
    step.refresh_from_db()
    return actions.start_intervention(
        actor=step.treatment.conservator,
        intervention_id=step.pk,
        read_version=step.row_version,
        started_at=NOW,
        gate=GateAnswer(intervention_id=step.pk, at=NOW, is_open=True),
        now=NOW,
    )


def refused(words: str, treatment: Treatment, row: int, **values: Any) -> None:
    before = Intervention.objects.count()
    with pytest.raises(DomainError) as refusal:
        add(treatment, row, **values)
    assert words in str(refusal.value)
    assert Intervention.objects.count() == before


def test_an_area_is_never_larger_than_the_face_it_lies_on(treatment: Treatment) -> None:
    refused(
        "The treated area of 1,000,000,000 cm² is larger than the whole front of this object, "
        "790 × 1,060 mm, that is 8,374 cm². Check the unit: areas are in square centimetres. "
        "If the object is larger than recorded, correct its facts first.",
        treatment,
        2,
        area_cm2=1e9,
    )
    refused("larger than the whole back", treatment, 23, face="B", area_cm2=8374.5)
    refused("A treated area of -1 cm² cannot be.", treatment, 2, area_cm2=-1.0)
    refused("A treated area of inf cm² cannot be.", treatment, 2, area_cm2=float("inf"))
    refused("A treated area of nan cm² cannot be.", treatment, 2, area_cm2=float("nan"))
    refused("A treated area of 101 % of the face cannot be.", treatment, 2, area_percent=101.0)
    whole = add(treatment, 2, area_cm2=8374.0, area_percent=100.0)
    with pytest.raises(DomainError, match="larger than the whole front"):
        actions.edit_intervention(
            actor=treatment.conservator,
            intervention_id=whole.pk,
            read_version=1,
            area_cm2=9000.0,
            now=NOW,
        )


def test_an_area_and_a_share_of_the_face_must_agree(runa: User) -> None:
    """240 by 180 mm are 432 cm², so 24 cm² are 5.6 % of it."""
    small = factory.treatment(factory.museum_object(height_mm=240, width_mm=180), (), by=runa)
    refused(
        "The treated area of 24 cm² is 5.6 % of the front of this object (240 × 180 mm), and "
        "0.1 % is typed beside it. Correct the wrong one, or leave the share empty: it then "
        "follows from the area.",
        small,
        1,
        area_cm2=24.0,
        area_percent=0.1,
    )
    refused("is 0.23 % of the front", small, 1, area_cm2=1.0, area_percent=10.0)
    for share in (5.6, 5.56, 5.5, 6.0, None):
        add(small, 1, area_cm2=24.0, area_percent=share)
    add(small, 1, area_percent=0.1)


def test_a_kind_that_leaves_a_face_alone_is_not_planned_on_it(treatment: Treatment) -> None:
    refused(
        "“Surface cleaning, front” is done to the front of a painting, not to the back. "
        "Choose the front, or another kind of step.",
        treatment,
        1,
        face="B",
    )
    refused("“Back cleaned” is done to the back", treatment, 23, face="F")
    for row, face in ((14, "F"), (14, "B"), (29, "B"), (30, "B"), (18, "B")):
        assert add(treatment, row, face=face).face == face


def test_an_area_on_an_unmeasured_face_is_held_against_what_the_studio_believes(
    runa: User,
) -> None:
    strange = factory.treatment(factory.museum_object(with_facts=False), (), by=runa)
    refused(
        "larger than the front of any object here "
        "(20,000 × 20,000 mm, that is 4,000,000 cm² at most).",
        strange,
        2,
        area_cm2=1e9,
    )
    add(strange, 2, area_cm2=9000.0)
    half_known = factory.treatment(factory.museum_object(width_mm=None), (), by=runa)
    refused("(790 × 20,000 mm, that is 158,000 cm² at most)", half_known, 2, area_cm2=158_001.0)


def test_only_a_kind_of_step_with_two_ways_takes_a_direction_and_it_needs_one(
    treatment: Treatment,
) -> None:
    refused(
        "“Backing board put on / taken off” stands for two steps that change pictures in opposite "
        "ways, and this one does not say which it is. Say whether it is put on or taken off.",
        treatment,
        25,
        face="B",
    )
    refused("does not say which it is", treatment, 25, face="B", direction="up")
    refused(
        "“Varnish thinned or removed” says by itself what is done, so “taken off” beside it would "
        "mean nothing. Choose “does not apply”, or another kind of step if this one is wrong.",
        treatment,
        2,
        direction="off",
    )
    refused("says by itself what is done", treatment, 11, face="B", direction="on")
    board = add(treatment, 25, face="B", direction="on")
    with pytest.raises(DomainError, match="would mean nothing"):
        actions.edit_intervention(
            actor=treatment.conservator,
            intervention_id=board.pk,
            read_version=1,
            type_row=7,
            now=NOW,
        )


@pytest.mark.parametrize(
    ("on", "off", "words", "way"),
    [
        (9, 10, ("facing", "front"), ()),
        (11, 12, ("lining", "back"), ()),
        (25, 25, ("backing board", "back"), ("on", "off")),
    ],
)
def test_nothing_comes_off_that_is_not_on_and_nothing_goes_on_twice(
    treatment: Treatment,
    on: int,
    off: int,
    words: tuple[str, str],
    way: tuple[str, ...],
) -> None:
    puts, takes = ({"direction": each} for each in way) if way else ({}, {})
    refused(f"No {words[0]} is on the {words[1]} of this object", treatment, off, **takes)
    first = add(treatment, on, **puts)
    refused(
        f"A {words[0]} is on the {words[1]} of this object already (step 1 of {treatment.code})",
        treatment,
        on,
        **puts,
    )
    taken = add(treatment, off, **takes)
    with pytest.raises(DomainError, match=f"No {words[0]} is on"):
        begin(taken)
    begin(first)
    Intervention.objects.filter(pk=taken.pk).update(combined=True)
    begin(taken)


def test_a_lining_from_the_beginning_can_come_off(runa: User) -> None:
    lined = factory.treatment(factory.museum_object(is_lined=True), (), by=runa)
    refused("A lining is on the back of this object already since the beginning", lined, 11)
    begin(add(lined, 12))
    bare = factory.treatment(factory.museum_object(), (), by=runa)
    refused("If the object came with one, tick “Lined” in its facts; else choose", bare, 12)


def test_what_another_treatment_is_going_to_do_is_no_reason_to_refuse_a_plan(
    treatment: Treatment, obj: CollectionObject, runa: User
) -> None:
    other = factory.treatment(obj, (), by=runa)
    put_on = add(other, 9)
    begin(add(treatment, 9))
    with pytest.raises(DomainError, match="A facing is on the front of this object already"):
        begin(put_on)


def test_a_step_planned_to_take_off_what_another_treatment_puts_on_waits_for_it(
    treatment: Treatment, obj: CollectionObject, runa: User
) -> None:
    other = factory.treatment(obj, (), by=runa)
    put_on = add(other, 9)
    off = add(treatment, 10)
    with pytest.raises(DomainError, match="No facing is on the front"):
        begin(off)
    begin(put_on)
    actions.finish_intervention(
        actor=runa,
        intervention_id=put_on.pk,
        read_version=Intervention.objects.get(pk=put_on.pk).row_version,
        finished_at=NOW + hours(0.5),
        cases=(),
        now=NOW + hours(1),
    )


def test_a_refused_step_comes_back_with_what_was_typed_and_the_reason_at_its_field(
    treatment: Treatment, client: Client
) -> None:
    client.force_login(treatment.conservator)
    address = reverse("progress:treatment_act", args=[treatment.pk, "add"])
    typed = {
        "type_row": "10",
        "face": "F",
        "phase": "1",
        "label": "tissue off",
        "area_cm2": "1000000000",
        "materials": "warm water",
        "read_version": treatment.row_version,
    }
    page = client.post(address, typed)
    body = page.content.decode()
    assert page.status_code == 422
    assert "larger than the whole front of this object" in body
    for kept in ("tissue off", "warm water", "1000000000"):
        assert f'value="{kept}"' in body
    page = client.post(address, typed | {"area_cm2": "12"})
    assert "No facing is on the front of this object" in page.content.decode()
    assert not Intervention.objects.exists()
