"""The page of an object's facts keeps what it shows."""

from __future__ import annotations

from datetime import date

import pytest
from django.forms.models import model_to_dict

from imaging_requests.collection.models import CollectionObject, ObjectFacts
from tests import factory
from tests.story.pages import Person

pytestmark = pytest.mark.django_db


def known(thing: CollectionObject) -> dict[str, object]:
    row = ObjectFacts.objects.filter(object=thing).latest("recorded_at", "pk")
    return model_to_dict(row, exclude=["id", "recorded_by", "recorded_at", "valid_from", "object"])


def test_a_page_sent_as_it_stands_changes_no_fact() -> None:
    factory.rules()
    thing = factory.museum_object(
        "AR 0070",
        height_mm=790.5,
        warp_mm=5,
        measured_on=date(2026, 4, 6),
        method="steel rule",
        painted_faces="F",
        flash_allowed=False,
        heat_sensitive=True,
    )
    before = known(thing)
    runa = factory.conservator()
    runa.set_password("lantern coast 1390")
    runa.save()
    person = Person(runa.email, "lantern coast 1390")
    person.open(f"/objects/{thing.pk}/facts/").send("Record these facts")
    assert ObjectFacts.objects.filter(object=thing).count() == 2, person.words
    assert known(thing) == before
