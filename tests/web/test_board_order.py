"""The heads of the board put its rows in order: plain links that say which order stands."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.people.models import User
from imaging_requests.progress.columns import COLUMNS
from imaging_requests.progress.models import EntryStatus
from tests import factory

pytestmark = pytest.mark.django_db
#: Entry: grade, unmet views, cell of the ultraviolet picture of the front.
STANDS = {
    "1": ("in_progress", 4, ["filed", "sent_back"]),
    "2": ("full", 0, ["filed", "waived"]),
    "3": ("not_started", 9, ["open"]),
    "4": ("gap_signed", 1, None),
    "5": ("full_with_waivers", 0, ["not_applicable"]),
    "6": (None, None, None),
}
ORDERS = {
    "": "123456",
    "number-down": "654321",
    "unmet": "314256",
    "least": "254136",
    "grade": "631452",
    "grade-down": "254136",
    "open-UV-F-": "132546",
}


@pytest.fixture
def catalogue() -> Catalogue:
    factory.rules()
    factory.curator()
    made = factory.catalogue()
    for number, (grade, unmet, cell) in STANDS.items():
        entry = Entry.objects.create(
            catalogue=made, number=number, sort_key=number, title=f"Work {'xy'[int(number) % 2]}"
        )
        if grade is not None:
            EntryStatus.objects.create(
                entry=entry,
                grade=grade,
                unmet=unmet,
                cells={} if cell is None else {"UV-F-": cell},
                derived_at=timezone.now(),
            )
    return made


def page(catalogue: Catalogue, query: str) -> str:
    client = Client()
    client.force_login(User.objects.get(name="Oda"))
    answer = client.get(reverse("progress:board", args=[catalogue.pk]) + query)
    assert answer.status_code == 200
    return " ".join(unescape(answer.content.decode()).split())


def numbers(words: str) -> str:
    return "".join(re.findall(r'<span class="board__no">(\w+)</span>', words))


def head(words: str, name: str) -> tuple[str, str]:
    """Return the order that a head says and the address it leads to."""
    found = re.search(
        rf'<th[^>]*?scope="col"(?: rowspan="2")?(?: aria-sort="(\w+)")?>'
        rf'<a class="order" href="([^"]+)"[^>]*>{re.escape(name)}<',
        words,
    )
    assert found is not None, name
    return found[1] or "", found[2]


@pytest.mark.parametrize(("order", "wanted"), ORDERS.items())
def test_each_order_puts_the_entries_as_it_says(
    catalogue: Catalogue, order: str, wanted: str
) -> None:
    assert numbers(page(catalogue, f"?order={order}" if order else "")) == wanted


@pytest.mark.parametrize(
    ("name", "first", "says", "again", "says_again"),
    [
        ("Entry", "number-down", "descending", "", "ascending"),
        ("Unmet", "unmet", "descending", "least", "ascending"),
        ("Grade", "grade", "ascending", "grade-down", "descending"),
        ("UV", "open-UV-F-", "ascending", "", ""),
    ],
)
def test_a_head_leads_to_its_order_and_back_and_says_which_stands(
    catalogue: Catalogue, name: str, first: str, says: str, again: str, says_again: str
) -> None:
    _, address = head(page(catalogue, ""), name)
    assert address == f"?order={first}"
    words = page(catalogue, address)
    stands, address = head(words, name)
    assert stands == says
    assert words.count("aria-sort=") == 1
    assert address == (f"?order={again}" if again else "?")
    assert head(page(catalogue, address), name)[0] == says_again


def test_every_column_has_a_head_that_keeps_the_filters(catalogue: Catalogue) -> None:
    words = page(catalogue, "?words=Work+y&grade=in_progress&page=1")
    links = re.findall(r'<a class="order" href="([^"]+)"', words)
    assert len(links) == 3 + len(COLUMNS)
    assert all("words=Work+y&grade=in_progress" in link for link in links)
    assert not any("page=" in link for link in links)
    assert numbers(page(catalogue, "?words=Work+y&order=unmet")) == "315"
    assert "Entries and the views they are owed, most unmet first" in page(
        catalogue, "?order=unmet"
    )


def test_an_order_that_is_none_leaves_the_board_by_number(
    catalogue: Catalogue,
) -> None:
    for order in ("potato", "open-", "open-ZZ-F-", "-title"):
        assert numbers(page(catalogue, f"?order={order}")) == "123456"


def test_an_order_costs_no_more_questions_than_a_filter(catalogue: Catalogue) -> None:
    def count(query: str) -> int:
        page(catalogue, query)
        with CaptureQueriesContext(connection) as seen:
            page(catalogue, query)
        return len(seen)

    assert {count(f"?order={order}") for order in ORDERS if order} == {count("?grade=full")}


def test_the_board_of_a_day_before_there_was_anything_says_so(catalogue: Catalogue) -> None:
    words = page(catalogue, "?as_of=2001-02-03")
    assert "<h1>On 3 Feb 2001 no entry had an object yet</h1>" in words
    assert 'class="order"' not in words, "a past day has one order"
