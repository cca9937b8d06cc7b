"""First pages: the title is the answer, a shut gate and a forgotten session press."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import SessionState
from imaging_requests.intake.models import Job
from imaging_requests.people.models import User
from imaging_requests.requesting.models import OwedView
from tests import factory
from tests import progress_scene as scene
from tests.intake_scene import open_drop

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


def first_page(client: Client, person: User) -> str:
    client.force_login(person)
    answer = client.get(reverse("progress:first_page"))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_session_that_nobody_closed_is_not_forgotten(client: Client) -> None:
    amaro, signe = factory.photographer(), factory.lead()
    began = timezone.now() - timedelta(days=2)
    forgotten = factory.session(starts_at=began, by=amaro)
    for person in (amaro, signe):
        page = first_page(client, person)
        assert "1 session is over and not closed" in page
        assert reverse("campaigns:session", args=[forgotten.pk]) in page
    type(forgotten).objects.filter(pk=forgotten.pk).update(
        state=SessionState.CLOSED, closed_at=began
    )
    assert "No session is over and not closed" in first_page(client, amaro)


def test_a_session_of_this_morning_is_the_next_one_until_tonight(client: Client) -> None:
    amaro = factory.photographer()
    factory.session(starts_at=timezone.now() - timedelta(hours=4), by=amaro)
    page = first_page(client, amaro)
    assert "<h1>Next: " in page
    assert "No session is over and not closed" in page


def test_a_shut_gate_is_the_first_answer_of_conservator_and_lead(client: Client) -> None:
    runa = factory.conservator()
    thing = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.entry(thing, number="23")
    treatment = factory.treatment(thing, by=runa, code="T4")
    treatment.interventions.update(planned_on=timezone.localdate() + timedelta(days=4))
    scene.derive(timezone.now())
    assert OwedView.objects.filter(object=thing).exists()
    page = first_page(client, runa)
    assert "<h1>T4 of AR 0070 may not go on yet</h1>" in page
    assert "Next step may start: no, missing: " in page
    assert "1 treatment has a step planned within 14 days, 1 gate is shut" in first_page(
        client, factory.lead()
    )


def test_the_head_reads_first_how_many_entries_are_whole(client: Client) -> None:
    factory.entry(factory.museum_object("AR 0038", "Harbour Fire"), number="12")
    scene.derive(timezone.now())
    page = first_page(client, factory.head())
    assert "<h1>0 of 1 entries" in page or "<h1>0 of 1 entry" in page


def test_the_keeper_is_led_to_what_a_keeper_may_do(client: Client) -> None:
    amaro, hale = factory.photographer(), factory.person("Hale", "keeper")
    drop = open_drop(amaro)
    job = Job.objects.create(
        kind="sort",
        key="sort:1",
        subject_id=drop.pk,
        queue="ingest",
        state="failed",
        ended_at=factory.NOW,
        last_error="The second copy takes no files now.",
    )
    page = first_page(client, hale)
    assert "<h1>1 background job failed for good</h1>" in page
    words = "Finding the places of a drop&#x27;s frames"
    assert f'<a href="{reverse("intake:drop", args=[drop.pk])}">{words}</a>' in page
    assert "The second copy takes no files now." in page
    assert "sorting/" not in page
    again = reverse("intake:job_again", args=[job.pk])
    assert f'action="{again}"' in page
    assert client.post(again, {"next": "/"})["Location"] == "/"
    assert "No background job failed for good" in first_page(client, hale)


def test_the_keeper_sees_who_has_no_role(client: Client) -> None:
    hale, runa, una = (
        factory.person("Hale", "keeper"),
        factory.conservator("Runa"),
        factory.person("Una", "conservator"),
    )
    una.role_holdings.update(held_until=timezone.now())
    page = first_page(client, hale)
    assert f"{User.objects.filter(is_active=True).count()} people can sign in" in page
    assert reverse("people:account", args=[una.pk]) in page
    assert reverse("people:account", args=[runa.pk]) not in page


def test_no_answer_speaks_of_nothing_in_the_plural(client: Client) -> None:
    page = first_page(client, factory.person("Una", "conservator", "lead", "curator"))
    for words in (
        "No older picture waits for your decision",
        "No picture waits for review",
        "No wish waits for your word",
        "No entry of yours is not fully documented",
    ):
        assert words in page


def test_an_entry_that_fell_back_says_so_in_its_title(client: Client) -> None:
    signe = factory.lead()
    thing = factory.museum_object("AR 0038", "Harbour Fire")
    entry = factory.entry(thing, number="12")
    scene.derive(timezone.now())
    removed = timezone.now() - timedelta(days=3)
    for view in OwedView.objects.filter(object=thing):
        made = scene.picture(view, removed - timedelta(days=20), by=signe)
        scene.file(made, removed - timedelta(days=10), by=signe)
    scene.derive(timezone.now())
    client.force_login(signe)
    address = reverse("progress:entry", args=[entry.pk])
    assert "has fallen back" not in client.get(address).content.decode()
    step = scene.take_varnish_off(thing, removed)
    type(step).objects.filter(pk=step.pk).update(label="varnish removed")
    scene.derive(timezone.now())
    page = client.get(address).content.decode()
    day = f"{timezone.localtime(removed):%-d %b %Y}"
    assert f"<h1>Entry 12 has fallen back: varnish removed on {day}</h1>" in page
    assert "Counting pictures alone would say " in page
    assert " are out of date and " in page
    counted = re.search(r"(\d+) views are not met \((\d+) present, (\d+) treatment views\)", page)
    assert counted is not None, "the sentence says what it counts"
    total, present, past = (int(each) for each in counted.groups())
    assert total == present + past
    assert f"Not met: {present} present views and {past} treatment views" in page
    board = client.get(reverse("progress:board", args=[entry.catalogue_id])).content.decode()
    assert re.search(rf"<b>{present}</b>\s*present views no longer true or undecided", board)
    assert re.search(rf'#unmet">{total}</a>', board)
    type(step).objects.filter(pk=step.pk).update(label="")
    scene.derive(timezone.now())
    page = client.get(address).content.decode()
    assert f"has fallen back: varnish thinned or removed on {day}</h1>" in page
