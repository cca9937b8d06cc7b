"""Looking back: a treatment that was entered ten days late, seen with and without knowing of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.progress.models import ViewStatus
from imaging_requests.requesting.models import Demand, OwedView
from tests import factory
from tests import progress_scene as scene

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Fire:
    """Varnish came off on one day; six days later nobody knew yet; after ten it was entered."""

    object: CollectionObject
    entry: Entry
    removed: datetime
    between: date
    entered: datetime


@pytest.fixture
def fire(client: Client) -> Fire:
    factory.rules()
    signe = factory.lead()
    removed = timezone.now() - timedelta(days=55)
    thing = factory.museum_object("AR 0038", "Harbour Fire")
    entry = factory.entry(thing, number="12")
    early = removed - timedelta(days=100)
    scene.derive(early)
    Demand.objects.update(since=early)
    for view in OwedView.objects.filter(object=thing):
        made = scene.picture(view, removed - timedelta(days=60), by=signe)
        scene.file(made, removed - timedelta(days=50), by=signe)
    entered = removed + timedelta(days=10)
    scene.take_varnish_off(thing, removed, known_at=entered)
    scene.derive(timezone.now())
    client.force_login(factory.head())
    return Fire(thing, entry, removed, timezone.localdate(removed + timedelta(days=6)), entered)


def page(client: Client, address: str, **days: date) -> str:
    answer = client.get(address, {name: day.isoformat() for name, day in days.items()})
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_entry_was_whole_as_known_then_and_is_known_not_to_have_been(
    client: Client, fire: Fire
) -> None:
    address = reverse("progress:entry", args=[fire.entry.pk])
    then = page(client, address, as_of=fire.between, known_on=fire.between)
    assert "<h1>Entry 12 was fully documented</h1>" in then
    day = f"{fire.between:%-d %b %Y}"
    assert f"as of {day}, as known on {day}" in then
    assert "As known today, on that day it was in progress" in then
    assert "Later found otherwise: 6" in then
    today = page(client, address, as_of=fire.between)
    assert "<h1>Entry 12 was in progress</h1>" in today
    assert f"as of {day}, as known on {timezone.localdate():%-d %b %Y}" in today
    assert "Known otherwise since" not in today
    assert "Varnish thinned or removed" in today
    before = page(client, address, as_of=timezone.localdate(fire.removed - timedelta(days=2)))
    assert "<h1>Entry 12 was fully documented</h1>" in before


def test_once_entered_it_is_known_of_the_days_before_too(client: Client, fire: Fire) -> None:
    address = reverse("progress:entry", args=[fire.entry.pk])
    after = timezone.localdate(fire.entered + timedelta(days=1))
    assert "was in progress" in page(client, address, as_of=fire.between, known_on=after)
    assert "was in progress" in page(client, address, known_on=after)


def test_the_object_says_the_same_view_by_view(client: Client, fire: Fire) -> None:
    address = reverse("progress:object", args=[fire.object.pk])
    then = page(client, address, as_of=fire.between, known_on=fire.between)
    assert "<h1>AR 0038 was owed 0 of 10 views</h1>" in then
    assert "s0</b> was the present state" in then
    today = page(client, address, as_of=fire.between)
    assert "s1</b> was the present state" in today
    assert "UV of the front" in today


def test_looking_back_stores_nothing(client: Client, fire: Fire) -> None:
    rows = list(ViewStatus.objects.order_by("pk").values_list("pk", "status", "why"))
    for name, pk in (("entry", fire.entry.pk), ("object", fire.object.pk)):
        page(client, reverse(f"progress:{name}", args=[pk]), as_of=fire.between)
    assert list(ViewStatus.objects.order_by("pk").values_list("pk", "status", "why")) == rows


def test_the_present_page_offers_two_days_and_a_day_to_come_is_refused(
    client: Client, fire: Fire
) -> None:
    for name, pk in (("entry", fire.entry.pk), ("object", fire.object.pk)):
        address = reverse(f"progress:{name}", args=[pk])
        now = page(client, address)
        assert 'name="as_of"' in now
        assert 'name="known_on"' in now
        tomorrow = timezone.localdate() + timedelta(days=1)
        refused = page(client, address, known_on=tomorrow)
        assert f"{tomorrow:%-d %b %Y} has not come yet" in refused
        assert "A past day" not in refused
        wrong = client.get(address, {"as_of": "the day before"})
        assert "takes a day, written as 2026-04-24" in wrong.content.decode()


def test_looking_back_takes_no_more_queries_for_more_objects(client: Client, fire: Fire) -> None:
    def queries(entry: Entry) -> int:
        with CaptureQueriesContext(connection) as seen:
            page(client, reverse("progress:entry", args=[entry.pk]), as_of=fire.between)
        return len(seen)

    things = [factory.museum_object() for _ in range(3)]
    larger = factory.entry(*things, number="13")
    scene.derive(timezone.now())
    assert queries(larger) <= queries(fire.entry)
