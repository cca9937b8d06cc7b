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
from imaging_requests.progress.board_reads import headline
from imaging_requests.progress.catalogue_then import catalogue_then, known_then
from imaging_requests.progress.metrics import metrics_of, metrics_then
from imaging_requests.progress.metrics_known import read_catalogue
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.two_times import TwoTimes
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
    catalogue = fire.entry.catalogue_id
    addresses = [
        reverse("progress:entry", args=[fire.entry.pk]),
        reverse("progress:object", args=[fire.object.pk]),
        reverse("progress:board", args=[catalogue]),
        reverse("progress:numbers", args=[catalogue]),
        reverse("progress:rows", args=[catalogue, "present-views", "filed"]),
    ]
    for address in addresses:
        now = page(client, address)
        assert 'name="as_of"' in now
        assert 'name="known_on"' in now
        tomorrow = timezone.localdate() + timedelta(days=1)
        refused = page(client, address, known_on=tomorrow)
        assert f"{tomorrow:%-d %b %Y} has not come yet" in refused
        assert "This is today:" in refused
        assert "A past day" not in refused
        wrong = client.get(address, {"as_of": "the day before"})
        assert "is no day as it stands" in wrong.content.decode()


def test_looking_back_takes_no_more_queries_for_more_objects(client: Client, fire: Fire) -> None:
    def queries(entry: Entry) -> int:
        with CaptureQueriesContext(connection) as seen:
            page(client, reverse("progress:entry", args=[entry.pk]), as_of=fire.between)
        return len(seen)

    things = [factory.museum_object() for _ in range(3)]
    larger = factory.entry(*things, number="13")
    scene.derive(timezone.now())
    assert queries(larger) <= queries(fire.entry)


def test_the_board_and_the_numbers_answer_for_a_past_day_as_it_was_known(
    client: Client, fire: Fire
) -> None:
    catalogue = fire.entry.catalogue_id
    board, numbers = (
        reverse(f"progress:{name}", args=[catalogue]) for name in ("board", "numbers")
    )
    day = f"{fire.between:%-d %b %Y}"
    for address in (board, numbers):
        now = page(client, address)
        assert "0 of 1 entries are fully documented" in now
        assert "as known on" in now
        then = page(client, address, as_of=fire.between, known_on=fire.between)
        assert f"<h1>On {day}, 1 of 1 entries is fully documented</h1>" in then
        assert f"as of {day}, as known on {day}" in then
        assert "A past day" in then
        found_out = page(client, address, as_of=fire.between)
        assert f"<h1>On {day}, 0 of 1 entries are fully documented</h1>" in found_out
    then = page(client, board, as_of=fire.between, known_on=fire.between)
    entry = reverse("progress:entry", args=[fire.entry.pk])
    days = f"?as_of={fire.between}&amp;known_on={fire.between}"
    assert f'href="{entry}{days}"' in then
    then = page(client, numbers, as_of=fire.between, known_on=fire.between)
    rows = reverse("progress:rows", args=[catalogue, "present-views", "filed"])
    assert "10 of 10, 100.0 %" in then
    assert "shown for today only" in then
    then = page(client, rows, as_of=fire.between, known_on=fire.between)
    assert "<h1>10 filed</h1>" in then
    assert f'href="{reverse("progress:object", args=[fire.object.pk])}{days}' in then
    assert "<h1>10 filed</h1>" not in page(client, rows)


def test_today_as_a_past_day_says_what_the_present_pages_say(client: Client, fire: Fire) -> None:
    catalogue = Entry.objects.get(pk=fire.entry.pk).catalogue
    now = timezone.now()
    times = TwoTimes(now, now, "today", "today")
    then = catalogue_then(catalogue, times, now=now)
    assert then.totals == headline(catalogue)
    present = {metric.key: metric for metric in metrics_of(read_catalogue(catalogue, now=now))}
    for metric in metrics_then(known_then(then)):
        assert metric.answer == present[metric.key].answer
        assert [part.figure for part in metric.parts] == [
            part.figure for part in present[metric.key].parts
        ]


def test_a_past_day_of_a_catalogue_takes_no_more_queries_for_more_entries(
    client: Client, fire: Fire
) -> None:
    def queries(name: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            page(
                client,
                reverse(f"progress:{name}", args=[fire.entry.catalogue_id]),
                as_of=timezone.localdate(),
            )
        return len(seen)

    before = [queries(name) for name in ("board", "numbers")]
    for number in range(13, 17):
        factory.entry(factory.museum_object(), number=str(number))
    scene.derive(timezone.now())
    assert [queries(name) for name in ("board", "numbers")] == before
