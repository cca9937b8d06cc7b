"""I-32 and I-40: every view has one status, and every number is the count of its rows."""

from __future__ import annotations

import random
import re
from collections import Counter
from datetime import timedelta

import pytest
from django.db import connection
from django.db.models import Q
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from imaging_requests.collection.models import Catalogue, CollectionObject
from imaging_requests.deliverables.models import DeliverableState
from imaging_requests.people.models import User
from imaging_requests.progress.balance import imbalances
from imaging_requests.progress.metrics import Metric, metrics_of
from imaging_requests.progress.metrics_known import read_catalogue
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.settle import settle, verify
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.requesting.models import Demand, OwedView
from tests import factory
from tests import progress_scene as scene
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


def house(*, objects: int = 4, seed: int = 40) -> Catalogue:
    """A catalogue in which a random part is filed, accepted, waived, in review or untrue."""
    dice = random.Random(seed)
    factory.rules()
    signe = factory.lead()
    kinds = (factory.CANVAS_FACTS, factory.PANEL_FACTS, factory.WING_FACTS, factory.COPPER_FACTS)
    for number in range(1, objects + 1):
        thing = factory.museum_object(**kinds[number % len(kinds)])
        factory.entry(thing, number=str(number))
        settle([thing.pk], now=NOW - timedelta(days=60))
        for view in OwedView.objects.filter(object=thing).order_by("pk"):
            _decide(view, dice.choice(("nothing", "filed", "accepted", "review", "waived")), signe)
        if number % 2:
            scene.take_varnish_off(thing, NOW - timedelta(days=number))
    scene.derive()
    return factory.catalogue()


def _decide(view: OwedView, what: str, signe: User) -> None:
    if what == "waived":
        scene.waive(view, signe, NOW - timedelta(days=50))
    elif what == "review":
        scene.picture(view, NOW - timedelta(days=40), by=signe, state=DeliverableState.TO_REVIEW)
    elif what != "nothing":
        made = scene.picture(view, NOW - timedelta(days=40), by=signe)
        if what == "filed":
            scene.file(made, NOW - timedelta(days=37), by=signe)


def metrics(catalogue: Catalogue) -> dict[str, Metric]:
    return {each.key: each for each in metrics_of(read_catalogue(catalogue, now=NOW))}


def in_force(entry_id: int) -> int:
    """Count the duties of an entry from the duties themselves, not from any cache."""
    live = Demand.objects.filter(Q(until=None) | Q(until__gt=NOW), since__lte=NOW).filter(
        Q(entry=entry_id)
        | Q(entry=None, treatment__counts_for_catalogue=True)
        | Q(entry=None, request_line__request__counts_for_catalogue=True)
    )
    return (
        OwedView.objects.filter(demands__in=live, object__entry_objects__entry=entry_id)
        .distinct()
        .count()
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_i32_the_statuses_of_an_entry_add_up_to_its_views_in_force(seed: int) -> None:
    catalogue = house(seed=seed)
    known = {str(status) for status in Status}
    for graded in EntryStatus.objects.filter(entry__catalogue=catalogue):
        counted = graded.counts["all"]
        assert sum(counted.values()) == in_force(graded.entry_id) > 0
        assert set(counted) <= known
    total = sum(in_force(pk) for pk in catalogue.entries.values_list("pk", flat=True))
    parts = metrics(catalogue)["by-status"].parts
    assert sum(part.figure for part in parts) == total
    assert len({part.key for part in parts}) >= 5, "the scene reaches too few statuses"


def test_i32_a_view_without_a_status_or_with_a_wrong_one_is_found_by_the_sweep() -> None:
    house(objects=1)
    assert verify(now=NOW) == []
    lost, wrong = ViewStatus.objects.order_by("pk")[:2]
    ViewStatus.objects.filter(pk=wrong.pk).update(status="lost")
    ViewStatus.objects.filter(pk=lost.pk).delete()
    assert {each.view_id for each in verify(now=NOW)} == {lost.pk, wrong.pk}


def test_i32_an_entry_whose_statuses_do_not_add_up_is_found_by_the_sweep() -> None:
    catalogue = house(objects=2)
    assert imbalances(NOW) == []
    graded = EntryStatus.objects.filter(entry__catalogue=catalogue).first()
    assert graded is not None
    graded.counts["all"]["filed"] = graded.counts["all"].get("filed", 0) + 1
    graded.save(update_fields=["counts"])
    (found,) = imbalances(NOW)
    assert (found.entry, found.counted - found.in_force) == (str(graded.entry), 1)


def test_i40_every_number_of_the_page_opens_as_many_rows_as_it_says(client: Client) -> None:
    catalogue = house(objects=6)
    client.force_login(factory.head())
    page = client.get(reverse("progress:numbers", args=[catalogue.pk]))
    assert page.status_code == 200
    opened = 0
    for metric in page.context["metrics"]:
        for part in metric["parts"]:
            rows = client.get(part["href"])
            assert rows.status_code == 200, part["href"]
            assert rows.context["page"].paginator.count == part["figure"]
            shown = len(rows.context["page"].object_list)
            listed = rows.content.decode().split('aria-label="Rows"')[1]
            assert len(re.findall(r"<li>(?!<)|<li><(?!span class=\"quiet\">No)", listed)) >= shown
            assert f"<b>{part['figure']}</b>" in page.content.decode()
            opened += 1
    assert opened >= 25
    gone = reverse("progress:rows", args=[catalogue.pk, "debt", "nothing"])
    assert client.get(gone).status_code == 404


def test_i40_the_rows_are_the_ones_that_the_statuses_name() -> None:
    catalogue = house(objects=6)
    found = metrics(catalogue)
    counts: Counter[str] = Counter(
        ViewStatus.objects.filter(owed_view__anchor="CUR").values_list("status", flat=True)
    )
    parts = {part.key: part.figure for part in found["present-views"].parts}
    assert parts["filed"] == counts["filed"]
    assert parts["waived"] == counts["waived"]
    outside = counts["not_applicable"] + counts["replaced"]
    assert sum(parts.values()) == counts.total() - outside
    debt = {part.key: part.figure for part in found["debt"].parts}
    assert (debt["out-of-date"], debt["undecided"]) == (
        counts["out_of_date"],
        counts["undecided"],
    )
    assert counts["out_of_date"] > 0
    graded = Counter(EntryStatus.objects.values_list("grade", flat=True))
    full = {part.key: part.figure for part in found["fully-documented"].parts}
    assert sum(full.values()) == graded.total() == catalogue.entries.count()
    assert found["to-review"].parts[0].figure > 0
    waivers = {part.key: part.figure for part in found["waivers"].parts}
    assert waivers["present"] == counts["waived"]
    assert sum(n for key, n in waivers.items() if key.startswith("reason-")) == counts["waived"]


def test_i40_the_numbers_take_no_more_queries_for_more_objects() -> None:
    catalogue = house(objects=2)
    with CaptureQueriesContext(connection) as few:
        metrics(catalogue)
    for number in range(10, 16):
        factory.entry(factory.museum_object(), number=str(number))
    settle(now=NOW)
    with CaptureQueriesContext(connection) as many:
        metrics(catalogue)
    assert len(many) == len(few)


def test_a_shut_gate_within_two_weeks_is_counted_and_a_later_one_is_not() -> None:
    factory.rules()
    soon, later = (factory.museum_object() for _ in range(2))
    for number, thing, days in ((1, soon, 11), (2, later, 30)):
        factory.entry(thing, number=str(number))
        treatment = factory.treatment(thing)
        treatment.interventions.update(planned_on=(NOW + timedelta(days=days)).date())
    settle(now=NOW)
    (part,) = metrics(factory.catalogue())["gates"].parts
    assert [row.text.split(":")[0] for row in part.rows] == [number_of(soon)]
    assert "may not start yet" in part.rows[0].note


def number_of(thing: CollectionObject) -> str:
    return thing.numbers.get().number


def test_a_list_of_ticks_counts_what_is_untrue_and_drops_what_is_taken_up_again() -> None:
    factory.rules()
    signe = factory.lead()
    thing = factory.museum_object(glazed=True, sealed=True, flash_allowed=False, light_class="high")
    factory.entry(thing, number="10")
    settle(now=NOW - timedelta(days=60))
    (view,) = OwedView.objects.filter(object=thing)
    _decide(view, "filed", signe)
    scene.take_varnish_off(thing, NOW - timedelta(days=9))
    scene.derive()
    assert ViewStatus.objects.get(owed_view=view).status == "out_of_date"
    ticks = {part.key: part.figure for part in metrics(factory.catalogue())["spreadsheet"].parts}
    assert ticks == {"ticked": 1, "too-many": 1, "once": 1, "never": 0}
    session = factory.session(starts_at=NOW + hours(30))
    factory.shot_line(session, thing, view.technique, meets=[view])
    session.__class__.objects.update(confirmed_at=NOW - hours(1))
    scene.derive()
    assert ViewStatus.objects.get(owed_view=view).status == "planned"
    ticks = {part.key: part.figure for part in metrics(factory.catalogue())["spreadsheet"].parts}
    assert ticks == {"ticked": 0, "too-many": 0, "once": 0, "never": 1}
