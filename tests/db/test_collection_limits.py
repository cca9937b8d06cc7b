"""What a measure of an object can be stands in one place: the studio's published numbers."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from imaging_requests.collection import actions
from imaging_requests.collection.forms import FactsForm
from imaging_requests.collection.limits import limits_at
from imaging_requests.collection.models import CollectionObject, ObjectFacts
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.protocols.models import StudioSettingsVersion, VersionState
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db
TOO_HIGH = (
    "Height of 25,000 mm is more than the 20,000 mm that any object here can have. "
    "Check the unit: lengths are in millimetres, weights in kilograms."
)
SENT = {"painted_faces": "F", "flaking": "none"}


@pytest.fixture
def runa() -> User:
    return factory.conservator()


def record(obj: CollectionObject, by: User, **values: Any) -> ObjectFacts:
    return actions.record_facts(actor=by, object_id=obj.pk, values=values, is_turned=True, now=NOW)


def edit_settings(**at_most: float) -> None:
    """Publish a version of the studio's numbers in which some facts may be larger."""
    first = factory.studio_settings()
    definition = copy.deepcopy(first.definition) | {"version": 2}
    for name, value in at_most.items():
        definition["values"][f"fact.{name}"]["value"]["at_most"] = value
    StudioSettingsVersion.objects.create(
        number=2,
        state=VersionState.PUBLISHED,
        definition=definition,
        published_at=NOW - hours(1),
        published_by=first.published_by,
        co_signed_by=first.co_signed_by,
    )


@pytest.mark.parametrize(
    ("name", "least", "most", "unit"),
    [
        ("height_mm", 5, 20_000, "mm"),
        ("width_mm", 5, 20_000, "mm"),
        ("depth_mm", 0.1, 1_000, "mm"),
        ("warp_mm", None, 500, "mm"),
        ("weight_kg", 0.01, 2_000, "kg"),
        ("pinned_px_per_mm", None, 400, "px/mm"),
    ],
)
def test_each_measure_is_held_to_the_numbers_of_the_settings(
    runa: User, name: str, least: float | None, most: float, unit: str
) -> None:
    factory.studio_settings()
    obj = factory.museum_object()
    record(obj, runa, **{name: most})
    with pytest.raises(DomainError, match=f"is more than the {most:,g} {unit} that any object"):
        record(obj, runa, **{name: most * 1.01})
    if least is not None:
        record(obj, runa, **{name: least})
        with pytest.raises(DomainError, match="is less than any object here can have"):
            record(obj, runa, **{name: least * 0.99})
    for value in (-1.0, float("nan"), float("inf")):
        with pytest.raises(DomainError, match="Measure again, or leave it empty if unknown"):
            record(obj, runa, **{name: value})


def test_a_larger_limit_in_a_new_version_counts_for_action_form_and_database(runa: User) -> None:
    factory.studio_settings()
    obj = factory.museum_object()
    with pytest.raises(DomainError) as refusal:
        record(obj, runa, height_mm=25_000)
    assert str(refusal.value) == TOO_HIGH
    assert FactsForm(SENT | {"height_mm": "25000"}).errors["height_mm"] == [TOO_HIGH]
    edit_settings(height_mm=30_000)
    assert FactsForm(SENT | {"height_mm": "25000"}).is_valid()
    assert record(obj, runa, height_mm=25_000).height_mm == 25_000
    assert limits_at(NOW)["height_mm"].at_most == 30_000
    assert limits_at(NOW - hours(2))["height_mm"].at_most == 20_000


def test_before_any_numbers_are_published_only_what_is_no_measure_is_refused(runa: User) -> None:
    assert limits_at(NOW) == {}
    obj = factory.museum_object()
    assert record(obj, runa, height_mm=25_000).height_mm == 25_000
    with pytest.raises(DomainError, match="Height cannot be 0 mm"):
        record(obj, runa, height_mm=0)


@pytest.mark.parametrize("value", ["-1", "0", "9e999"])
def test_the_database_itself_refuses_what_is_no_measure(value: str) -> None:
    row = factory.museum_object().facts.get()
    sql = "UPDATE collection_objectfacts SET {} = {} WHERE id = %s"
    infinite = "'Infinity'" if connection.vendor == "postgresql" else value
    said = infinite if value == "9e999" else value
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql.format("height_mm", said), [row.pk])
    with connection.cursor() as cursor:
        cursor.execute(sql.format("height_mm", "25000"), [row.pk])
        cursor.execute(sql.format("warp_mm", "0"), [row.pk])
