"""The page of an object's facts keeps what it shows."""

from __future__ import annotations

from datetime import date

import pytest
from django.forms.models import model_to_dict
from django.test import Client

from imaging_requests.collection.actions import record_facts
from imaging_requests.collection.models import CollectionObject, ObjectFacts
from imaging_requests.people.errors import DomainError
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


def shown(client: Client, address: str) -> dict[str, object]:
    """What the form holds as it stands."""
    initial = client.get(address).context["form"].initial
    return {name: "" if value is None else value for name, value in initial.items()}


def test_height_and_width_the_wrong_way_round_are_asked_about_and_can_be_confirmed(
    client: Client,
) -> None:
    factory.rules()
    thing = factory.museum_object("AR 0015", height_mm=240, width_mm=180)
    client.force_login(factory.conservator())
    address = f"/objects/{thing.pk}/facts/"
    values = {
        k: "" if v is None else v for k, v in client.get(address).context["form"].initial.items()
    }
    turned = {**values, "height_mm": "180", "width_mm": "240"}
    asked = client.post(address, turned)
    assert asked.status_code == 422
    page = asked.content.decode()
    assert "recorded as higher than wide (240 × 180 mm) and would now be wider than high" in page
    assert 'name="is_turned"' in page
    assert 'value="240"' in page, "nothing that was typed is lost"
    assert ObjectFacts.objects.filter(object=thing).count() == 1
    assert client.post(address, {**turned, "is_turned": "on"}).status_code == 302
    assert known(thing)["height_mm"] == 180


def test_an_object_is_not_measured_on_a_day_to_come(client: Client) -> None:
    factory.rules()
    thing = factory.museum_object("AR 0015")
    runa = factory.conservator()
    client.force_login(runa)
    address = f"/objects/{thing.pk}/facts/"
    assert "is_turned" not in client.get(address).content.decode()
    answer = client.post(address, {**shown(client, address), "measured_on": "2131-01-01"})
    assert answer.status_code == 422
    assert "cannot have been measured on 1 Jan 2131" in answer.content.decode()
    with pytest.raises(DomainError, match="still to come"):
        record_facts(actor=runa, object_id=thing.pk, values={"measured_on": date(2131, 1, 1)})
    assert ObjectFacts.objects.filter(object=thing).count() == 1
