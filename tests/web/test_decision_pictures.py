"""A question about an older picture shows that picture and, beside it, the view as it is now."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.people.models import User
from imaging_requests.pictures.models import Restriction
from imaging_requests.treatments.models import DecisionCase
from tests import factory
from tests.factory import LONG_AGO
from tests.look_scene import painting, pictured

pytestmark = pytest.mark.django_db
ENDED_AT = LONG_AGO + timedelta(days=10)


@pytest.fixture
def runa() -> User:
    factory.lead()
    factory.photographer()
    return factory.conservator()


@pytest.fixture
def thing(runa: User) -> CollectionObject:
    return painting()


def asked(thing: CollectionObject, row: Deliverable, runa: User) -> DecisionCase:
    treatment = factory.treatment(thing, (2,), by=runa, finished_at=ENDED_AT)
    return DecisionCase.objects.create(
        object=thing,
        intervention=treatment.interventions.get(),
        chain=row.chain,
        technique=row.technique,
        face=row.face,
        variant=row.variant,
        proposal="out_of_date",
        reason="Varnish removed. Is it still true?",
        assigned_to=runa,
    )


def page(user: User, address: str = "") -> str:
    client = Client()
    client.force_login(user)
    answer = client.get(address or reverse("progress:decisions"))
    assert answer.status_code == 200
    return " ".join(unescape(answer.content.decode()).split())


def small(row: Deliverable) -> str:
    return reverse("intake:picture", args=[row.cover_id, "256"])


def test_both_pictures_stand_there_and_the_link_opens_them_together(
    thing: CollectionObject, runa: User
) -> None:
    before = pictured(thing, "UV")
    pictured(thing, "UV", days=9)  # made before the step ended
    pictured(thing, "UV", "B", days=20)
    pictured(thing, "UV", days=20, detail_mm=[0, 0, 50, 50])
    after = pictured(thing, "UV", days=21)
    later = pictured(thing, "UV", days=22, state=DeliverableState.TO_REVIEW)
    asked(thing, before, runa)
    words = page(runa)
    assert re.findall(r'<img src="([^"]+)"', words) == [small(before), small(after)]
    compare = re.search(r'href="([^"]+)">Compare with the picture of ([^<]+)<', words)
    assert compare is not None
    assert f"p={before.pk}&p={after.pk}" in compare[1]
    opened = page(runa, compare[1])
    assert opened.count('<figure class="look__pane">') == 2
    assert "Left out of this address" not in opened
    Deliverable.objects.filter(pk=after.pk).update(state=DeliverableState.RECALLED)
    words = page(runa)
    assert small(later) in words
    assert "waits for its review" in words


@pytest.mark.parametrize("days", [None, 9])
def test_without_a_picture_after_the_step_it_says_so(
    thing: CollectionObject, runa: User, days: float | None
) -> None:
    before = pictured(thing, "UV")
    if days is not None:
        pictured(thing, "UV", days=days)
    asked(thing, before, runa)
    words = page(runa)
    assert "No picture of this view was made afterwards." in words
    assert f"{reverse('progress:look', args=[thing.pk])}?face=F&p={before.pk}" in words
    assert "Compare with" not in words


def test_a_picture_that_was_recalled_is_not_shown(thing: CollectionObject, runa: User) -> None:
    before = pictured(thing, "UV")
    asked(thing, before, runa)
    assert small(before) in page(runa)
    Deliverable.objects.filter(pk=before.pk).update(state=DeliverableState.RECALLED)
    words = page(runa)
    assert small(before) not in words
    assert "It is not accepted any more" in words
    assert "Look at the picture" not in words


def test_who_may_not_see_a_picture_reads_why_and_gets_no_link(
    thing: CollectionObject, runa: User
) -> None:
    oda = factory.curator()
    before, after = pictured(thing, "UV"), pictured(thing, "UV", days=21)
    asked(thing, before, runa)
    assert small(before) in page(oda)
    Restriction.objects.create(
        object=thing,
        kind="consent",
        reason="Promised to another book.",
        since=LONG_AGO,
        set_by=User.objects.get(name="Signe"),
    )
    words = page(oda)
    assert small(before) not in words
    assert small(after) not in words
    assert "Promised to another book" in words
    assert "Look at the picture" not in words
    assert "Compare with" not in words


def test_three_questions_ask_the_database_as_much_as_one(
    thing: CollectionObject, runa: User
) -> None:
    client = Client()
    client.force_login(runa)

    def count() -> int:
        client.get(reverse("progress:decisions"))
        with CaptureQueriesContext(connection) as seen:
            client.get(reverse("progress:decisions"))
        return len(seen)

    def pair(obj: CollectionObject) -> None:
        before = pictured(obj, "RK", variant="L")
        pictured(obj, "RK", variant="L", days=21)
        asked(obj, before, runa)

    pair(thing)
    once = count()
    pair(factory.museum_object())
    pair(factory.museum_object())
    assert count() == once
