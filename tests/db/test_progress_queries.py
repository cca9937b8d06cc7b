"""The pages ask the database the same number of questions however much it holds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.actions import put_into_entry, take_out_of_entry
from imaging_requests.collection.models import Catalogue, CollectionObject, Entry
from imaging_requests.people.models import RoleHolding, User
from imaging_requests.progress.adding_up import ADDED_UP, add_up
from imaging_requests.progress.board_reads import board_entries, rows_between, rows_of
from imaging_requests.progress.models import CatalogueStatus, EntryStatus
from imaging_requests.progress.settle import STALE, settle, stale_ids, underived_ids
from tests import factory

pytestmark = pytest.mark.django_db

PAGES = {
    "board": 5,
    "board, narrowed": 6,
    "catalogues": 5,
    "entry": 17,
    "object": 47,
}
FIRST_PAGES = {
    "curator": 8,
    "conservator": 39,
    "photographer": 12,
    "lead": 29,
    "head": 19,
    "keeper": 20,
}


@dataclass(frozen=True)
class House:
    """A catalogue of some entries, treated now and then, and everybody who looks at it."""

    catalogue: Catalogue
    entries: tuple[Entry, ...]
    objects: tuple[CollectionObject, ...]

    def address(self, page: str) -> str:
        board = reverse("progress:board", args=[self.catalogue.pk])
        return {
            "board": board,
            "board, narrowed": f"{board}?grade=not_started",
            "catalogues": reverse("progress:catalogues"),
            "entry": reverse("progress:entry", args=[self.entries[0].pk]),
            "object": reverse("progress:object", args=[self.objects[0].pk]),
            "first page": reverse("progress:first_page"),
        }[page]


def extend(house: House | None, entries: int) -> House:
    """Add entries with one object each, every second one under treatment."""
    catalogue = house.catalogue if house else factory.catalogue()
    objects = []
    made = []
    for number in range(entries):
        thing = factory.museum_object()
        objects.append(thing)
        made.append(factory.entry(thing, catalogue=catalogue, curator=User.objects.get(name="Oda")))
        if number % 2 == 0:
            factory.treatment(thing)
    settle([thing.pk for thing in objects])
    before = house or House(catalogue, (), ())
    return House(catalogue, before.entries + tuple(made), before.objects + tuple(objects))


@pytest.fixture
def house() -> House:
    factory.rules()
    for make in (factory.curator, factory.conservator, factory.photographer, factory.lead):
        make()
    factory.head()
    factory.person("Hale", "keeper")
    return extend(None, 3)


def signed_in(role: str) -> Client:
    client = Client()
    holding = RoleHolding.objects.filter(role=role, held_until=None).first()
    assert holding is not None
    client.force_login(holding.user)
    return client


def questions(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


@pytest.mark.parametrize(("page", "pinned"), PAGES.items())
def test_a_page_asks_as_much_of_three_entries_as_of_twelve(
    house: House, page: str, pinned: int
) -> None:
    client = signed_in("lead")
    few = questions(client, house.address(page))
    many = questions(client, extend(house, 9).address(page))
    assert (few, many) == (pinned, pinned)


@pytest.mark.parametrize(("role", "pinned"), FIRST_PAGES.items())
def test_a_first_page_asks_as_much_of_three_entries_as_of_twelve(
    house: House, role: str, pinned: int
) -> None:
    client = signed_in(role)
    few = questions(client, house.address("first page"))
    extend(house, 9)
    assert (few, questions(client, house.address("first page"))) == (pinned, pinned)


def test_staleness_is_found_by_seeking_not_by_asking_every_object() -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL reads small tables whole, whatever their indexes")
    with connection.cursor() as cursor:
        cursor.execute(
            f"EXPLAIN QUERY PLAN {STALE}",
            [connection.ops.adapt_datetimefield_value(timezone.now())],
        )
        plan = [row[-1] for row in cursor.fetchall()]
    assert any("object_status_holds_until" in step for step in plan)
    assert not any(
        step.startswith(("SCAN progress_objectstatus", "SCAN collection_collectionobject"))
        for step in plan
    ), plan


def test_what_was_never_derived_is_found_wherever_it_stands(house: House) -> None:
    first = factory.museum_object()
    second = factory.museum_object()
    assert stale_ids(timezone.now()) == [first.pk, second.pk]
    settle([second.pk])
    assert first.pk in underived_ids()
    assert stale_ids(timezone.now(), [first.pk]) == [first.pk]


CHANGES: dict[str, tuple[Callable[[House], object], str]] = {
    "a view settled": (
        lambda house: EntryStatus.objects.filter(entry=house.entries[0]).update(unmet=77),
        ">77<",
    ),
    "a grade": (
        lambda house: EntryStatus.objects.filter(entry=house.entries[0]).update(grade="full"),
        '"board__grade">full<',
    ),
    "lost views": (
        lambda house: EntryStatus.objects.filter(entry=house.entries[0]).update(
            grade="in_progress", lost=3
        ),
        '"board__grade">in progress, 3 lost<',
    ),
    "a cell": (
        lambda house: EntryStatus.objects.filter(entry=house.entries[0]).update(
            cells={"VF-F-": ["recalled"]}
        ),
        "#recalled",
    ),
    "a title": (
        lambda house: Entry.objects.filter(pk=house.entries[0].pk).update(title="Renamed"),
        "Renamed",
    ),
    "a new entry": (
        lambda house: Entry.objects.create(
            catalogue=house.catalogue, number="99", sort_key="99", title="Latest"
        ),
        "of 4 entries",
    ),
    "a new curator": (lambda house: factory.curator("Matthis"), ">Matthis</option>"),
    "a number above": (
        lambda house: CatalogueStatus.objects.filter(catalogue=house.catalogue).update(debt=4321),
        "4,321",
    ),
}


@pytest.mark.parametrize(("change", "shown"), CHANGES.values(), ids=CHANGES.keys())
def test_the_next_view_of_the_board_shows_what_has_changed(
    house: House, change: Callable[[House], object], shown: str
) -> None:
    client = signed_in("lead")
    address = house.address("board")
    before = client.get(address).content.decode().count(shown)
    change(house)
    assert client.get(address).content.decode().count(shown) > before


def test_a_page_of_the_board_is_read_alike_with_and_without_filters(house: House) -> None:
    pk = house.catalogue.pk
    assert rows_between(pk, 1, 3) == rows_of(board_entries(pk)[1:3])
    assert rows_between(pk, 0, 0) == ()


def test_an_object_that_leaves_an_entry_no_longer_counts_there(house: House) -> None:
    lead, one, other = User.objects.get(name="Signe"), house.entries[0], house.entries[1]
    thing = house.objects[0]
    before = EntryStatus.objects.get(entry=one).owed
    assert before > 0
    take_out_of_entry(actor=lead, entry_id=one.pk, object_id=thing.pk, reason="It is a copy.")
    put_into_entry(actor=lead, entry_id=other.pk, object_id=thing.pk, position=2)
    signed_in("lead").get(house.address("board"))
    assert EntryStatus.objects.get(entry=one).owed == 0
    assert EntryStatus.objects.get(entry=other).owed > before


def test_the_numbers_of_a_catalogue_are_those_of_its_entries(house: House) -> None:
    EntryStatus.objects.filter(entry=house.entries[0]).update(grade="full", debt=3, lost=2)
    add_up([house.catalogue.pk])
    row = CatalogueStatus.objects.get(catalogue=house.catalogue)
    owed = sum(EntryStatus.objects.values_list("present", flat=True))
    assert {name: getattr(row, name) for name in ADDED_UP} == {
        "full": 1,
        "waived": 0,
        "gap": 0,
        "present": owed,
        "resolved": 0,
        "debt": 3,
        "lost": 2,
    }
