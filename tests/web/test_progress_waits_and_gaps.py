"""What an open view waits for, who can move it and from when; what is signed about lost ones."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.models import User
from imaging_requests.requesting.models import GapStatement, LineState
from tests import factory
from tests import progress_scene as scene

pytestmark = pytest.mark.django_db
STATED = "The front was never taken before the varnish came off in the flood."


@pytest.fixture
def thing() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0038", "Harbour Fire")


@pytest.fixture
def entry(thing: CollectionObject) -> Entry:
    return factory.entry(thing, number="12")


def words(user: User, name: str, pk: int, status: int = 200) -> str:
    client = Client()
    client.force_login(user)
    answer = client.get(reverse(name, args=[pk]))
    assert answer.status_code == status
    said = unescape(re.sub(r"<[^>]+>", " ", answer.content.decode()))
    return re.sub(r" ([.,;”])", r"\1", " ".join(said.split())).replace("“ ", "“")


def test_an_open_view_says_what_it_waits_for_and_who_can_move_it(
    thing: CollectionObject, entry: Entry
) -> None:
    scene.derive(timezone.now())
    oda = factory.curator()
    for name, pk in (("object", thing.pk), ("entry", entry.pk)):
        shown = words(oda, f"progress:{name}", pk)
        waits = shown.count("Waits for a place in a session; the imaging lead can move it.")
        assert waits == 10, name
        assert "Earliest:" not in shown, "no date is known, so none is said"


def test_the_earliest_day_is_said_where_it_is_known(thing: CollectionObject, entry: Entry) -> None:
    back = timezone.now() + timedelta(days=30)
    factory.unavailable(thing, timezone.now() - timedelta(days=3), until=back)
    scene.derive(timezone.now())
    oda = factory.curator()
    for name, pk in (("object", thing.pk), ("entry", entry.pk)):
        shown = words(oda, f"progress:{name}", pk)
        day = f"{timezone.localtime(back):%-d %b %Y}"
        said = f"Waits for the object's return; the registrar can move it. Earliest: {day}."
        assert said in shown


def test_a_lost_view_waits_for_the_gap_statement_until_it_is_signed(
    thing: CollectionObject, entry: Entry
) -> None:
    scene.take_varnish_off(thing, timezone.now() - timedelta(days=5))
    scene.derive(timezone.now())
    oda, corvin = factory.curator(), factory.head()
    awaited = "Waits for a signed gap statement; the department head can move it."
    for name, pk in (("object", thing.pk), ("entry", entry.pk)):
        assert awaited in words(oda, f"progress:{name}", pk)
    before = words(corvin, "progress:entry", entry.pk)
    assert "a gap statement is awaited" in before
    assert "Sign the gap statement" in before
    board = words(oda, "progress:board", entry.catalogue_id)
    assert "Waits for a gap statement signed by the department head." in board
    assert "Undecided Waits for a decision whether the picture is still true; the" in board

    client = Client()
    client.force_login(corvin)
    address = reverse("requesting:gap_statement", args=[entry.pk])
    short = client.post(address, {"text": "x"})
    assert short.status_code == 422
    assert "The statement has 1 character; at least 10 are needed" in short.content.decode()
    assert not GapStatement.objects.exists()
    assert client.post(address, {"text": STATED}).status_code == 302

    after = words(corvin, "progress:entry", entry.pk)
    assert f"“{STATED}” Signed by Corvin on" in after
    assert "gap statement is awaited" not in after
    assert "Sign the gap statement" not in after
    assert "Put another statement in its place" in after
    assert f"“{STATED}”" in words(oda, "progress:board", entry.catalogue_id)
    for name, pk in (("object", thing.pk), ("entry", entry.pk)):
        shown = words(oda, f"progress:{name}", pk)
        assert awaited not in shown
        assert "That it stays missing is signed: Corvin," in shown


def test_the_entry_counts_what_it_lists_and_names_what_it_does_not_count(
    thing: CollectionObject, entry: Entry
) -> None:
    oda = factory.curator()
    asked = factory.request(oda, counts_for_catalogue=False, number="R-0007")
    line = factory.request_line(asked, thing, "RK", "F", "R", state=LineState.AGREED)
    factory.owed_view(thing, "RK", "F", "R", demanded_by=line)
    scene.derive(timezone.now())
    shown = words(oda, "progress:entry", entry.pk)
    assert "Not met: 10 present views" in shown
    listed = shown[shown.index("Not met: 10") : shown.index("Open, but not counted")]
    assert listed.count("has not been made yet") == 10
    assert "Open, but not counted for this entry: 1" in shown
    assert "Raking light from the right of the front" in shown
    assert "Asked for by request R-0007." in shown
