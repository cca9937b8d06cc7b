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

from imaging_requests.collection.models import CollectionObject, Entry, ObjectFacts
from imaging_requests.progress.board_reads import headline
from imaging_requests.progress.catalogue_then import catalogue_then, known_then
from imaging_requests.progress.metrics import metrics_of, metrics_then
from imaging_requests.progress.metrics_known import read_catalogue
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.then_page import entry_then, object_then
from imaging_requests.progress.two_times import TwoTimes, asked_for, look_back_form
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
    assert "Later found otherwise: 16" in then
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
    assert "<h1>AR 0038 had every view it was owed</h1>" in then
    assert "s0</b> was the present state" in then
    today = page(client, address, as_of=fire.between)
    assert "s1</b> was the present state" in today
    assert "UV of the front" in today


def test_facts_and_surfaces_of_a_past_day_are_those_known_then(client: Client, fire: Fire) -> None:
    """The width was measured again after the day, and a lining was put on."""
    before = ObjectFacts.objects.get(object=fire.object)
    later = fire.removed + timedelta(days=20)
    ObjectFacts.objects.create(
        object=fire.object,
        valid_from=later,
        recorded_at=later,
        recorded_by=before.recorded_by,
        width_mm=1234,
    )
    lined = factory.treatment(
        fire.object, (11,), is_emergency=True, state="signed_off", finished_at=later
    )
    step = lined.interventions.get()
    step.records.create(
        recorded_at=later,
        state=step.state,
        started_at=step.started_at,
        finished_at=step.finished_at,
    )
    address = reverse("progress:object", args=[fire.object.pk])
    then = page(client, address, as_of=fire.between, known_on=fire.between)
    assert "Facts as known" in then
    assert f"{before.width_mm:g}" in then.partition("Facts as known")[2]
    assert "1234" not in then
    assert 'id="surface-B.1"' in then
    assert "B.2" not in then
    today = page(client, address, as_of=timezone.localdate())
    assert "1234" in today.partition("Facts as known")[2]
    assert 'id="surface-B.2"' in today


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
        assert "0 of 1 entry is fully documented" in now
        assert "as known on" in now
        then = page(client, address, as_of=fire.between, known_on=fire.between)
        assert f"<h1>On {day}, 1 of 1 entry is fully documented</h1>" in then
        assert f"as of {day}, as known on {day}" in then
        assert "A past day" in then
        found_out = page(client, address, as_of=fire.between)
        assert f"<h1>On {day}, 0 of 1 entry is fully documented</h1>" in found_out
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


def counts_of(fire: Fire, as_of: date, known_on: date) -> set[tuple[int, int]]:
    """How many views were owed and how many not met, as board, entry and object pages count."""
    now = timezone.now()
    asked = {"as_of": as_of.isoformat(), "known_on": known_on.isoformat()}
    times = asked_for(look_back_form(asked), now=now)
    assert times is not None
    catalogue = catalogue_then(fire.entry.catalogue, times, now=now)
    graded = catalogue.graded[fire.entry.pk]
    found = {(graded.owed, graded.unmet), (graded.owed, int(catalogue.rows(0, 1)[0].unmet or 0))}
    for context in (
        entry_then(fire.entry, times, now=now),
        object_then(fire.object, times, now=now),
    ):
        views = context["views"]
        found.add((len(views), sum(not each.view.is_resolved for each in views)))
    return found


def test_what_a_treatment_owes_follows_from_its_own_times_not_from_when_they_were_entered(
    fire: Fire,
) -> None:
    today, entered = timezone.localdate(), timezone.localdate(fire.entered)
    of_treatment = OwedView.objects.filter(object=fire.object, anchor__in=("BT", "AT"))
    assert of_treatment.count() == 10
    of_treatment.update(created_at=fire.entered)
    Demand.objects.filter(owed_view__in=of_treatment).update(since=fire.entered)
    for known_on in (entered + timedelta(days=1), today):
        assert counts_of(fire, fire.between, known_on) == {(20, 11)}
        assert counts_of(fire, entered + timedelta(days=1), known_on) == {(20, 11)}
    assert counts_of(fire, fire.between, fire.between) == {(10, 0)}
    before = timezone.localdate(fire.removed - timedelta(days=2))
    assert counts_of(fire, before, today) == {(10, 0)}


def test_what_was_not_known_to_be_owed_is_among_what_was_later_found_otherwise(
    client: Client, fire: Fire
) -> None:
    for name, pk in (("object", fire.object.pk), ("entry", fire.entry.pk)):
        address = reverse(f"progress:{name}", args=[pk])
        then = page(client, address, as_of=fire.between, known_on=fire.between)
        assert "Later found otherwise: 16" in then
        assert "What was owed: 10" in then
        assert then.count("was not known to be owed, and is now known to have been owed") == 10


def test_a_line_asks_for_the_surface_that_could_be_seen(fire: Fire) -> None:
    """A lining entered nine days late: meanwhile the back that was owed was the new one."""
    put_on = fire.removed + timedelta(days=20)
    entered = put_on + timedelta(days=9)
    treatment = factory.treatment(fire.object, rows=(11,), state="finished", finished_at=put_on)
    step = treatment.interventions.get()
    type(step).objects.filter(pk=step.pk).update(recorded_at=entered)
    step.records.create(
        recorded_at=entered,
        state=step.state,
        started_at=step.started_at,
        finished_at=step.finished_at,
    )
    scene.derive(entered)
    backs = OwedView.objects.filter(object=fire.object, anchor="CUR", face="B")
    assert set(backs.values_list("surface", flat=True)) == {"B.1", "B.2"}

    def owed(day: datetime, known: datetime) -> set[str]:
        days = {"as_of": timezone.localdate(day), "known_on": timezone.localdate(known)}
        now = timezone.now()
        form = look_back_form({name: each.isoformat() for name, each in days.items()})
        times = asked_for(form, now=now)
        assert times is not None
        shown = {each.view.pk for each in object_then(fire.object, times, now=now)["views"]}
        return set(backs.filter(pk__in=shown).values_list("surface", flat=True))

    between = put_on + timedelta(days=3)
    assert owed(between, between) == {"B.1"}
    assert owed(between, timezone.now()) == {"B.2"}
    assert owed(put_on - timedelta(days=3), timezone.now()) == {"B.1"}
    assert owed(entered + timedelta(days=3), timezone.now()) == {"B.2"}
