"""A refusal leads back to its thing and keeps what was written."""

from __future__ import annotations

import re

import pytest
from django.db.models import QuerySet
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.models import Catalogue
from tests import factory

pytestmark = pytest.mark.django_db

WHY = "The gauge was left in the other room & must come first."


def refused(client: Client, *, referer: str = "") -> str:
    """Start a session from a page that is out of date, and return the refusal."""
    amaro = factory.photographer()
    session = factory.session(by=amaro)
    client.force_login(amaro)
    answer = client.post(
        reverse("campaigns:session_start", args=[session.pk]),
        {"read_version": session.row_version + 7, "words": WHY, "check": "dose_limit"},
        headers={"referer": referer.replace("PK", str(session.pk))} if referer else {},
    )
    assert answer.status_code == 409
    return answer.content.decode().replace(f"/sessions/{session.pk}/", "/sessions/PK/")


def ways(page: str) -> list[str]:
    main = page[page.index("<main") : page.index("</main>")]
    return re.findall(r'<a class="button[^"]*" href="([^"]*)"', main)


def test_the_page_that_sent_the_form_is_the_way_back(client: Client) -> None:
    factory.rules()
    page = refused(client, referer="http://testserver/campaigns/sessions/PK/?tab=2")
    assert ways(page) == ["/campaigns/sessions/PK/?tab=2", "/"]


@pytest.mark.parametrize(
    "referer",
    ["", "https://elsewhere.example/campaigns/", "http://testserver/people/accounts/", "nonsense"],
)
def test_without_it_the_nearest_page_above_is(client: Client, referer: str) -> None:
    """A foreign page, or one that the person may not open, is not gone back to."""
    factory.rules()
    assert ways(refused(client, referer=referer)) == ["/campaigns/sessions/PK/", "/"]


def test_what_was_written_stands_on_the_refusal(client: Client) -> None:
    factory.rules()
    page = refused(client)
    assert "What you had written, to take along" in page
    assert "<dt>Words</dt><dd>The gauge was left in the other room &amp; must come first." in page
    assert "dose_limit" not in page


def test_what_the_database_refuses_is_said_and_kept(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two people save one title at once: the second has looked already and found it free."""
    factory.rules()
    client.force_login(factory.curator())
    Catalogue.objects.create(title="The Lantern Coast")
    monkeypatch.setattr(QuerySet, "exists", lambda self: False)
    answer = client.post(
        reverse("progress:catalogue_new"), {"title": "The Lantern Coast", "edition": "first proof"}
    )
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "This contradicts what is recorded already" in page
    assert "<dt>Title</dt><dd>The Lantern Coast</dd>" in page
    assert Catalogue.objects.count() == 1


def test_a_title_that_is_taken_is_said_beside_the_form(client: Client) -> None:
    client.force_login(factory.curator())
    Catalogue.objects.create(title="The Lantern Coast")
    answer = client.post(reverse("progress:catalogue_new"), {"title": " The Lantern Coast "})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "There is a catalogue “The Lantern Coast” already." in page
    assert 'value="The Lantern Coast"' in page or 'value=" The Lantern Coast "' in page


@pytest.mark.parametrize("year", ["0001", "9999"])
def test_a_year_at_the_end_of_the_calendar_is_a_slip(client: Client, year: str) -> None:
    factory.rules()
    client.force_login(factory.lead())
    thing = factory.museum_object("AR 0038", "Harbour Fire")
    shot_list = client.get(reverse("campaigns:shot_list"), {"date": f"{year}-12-31"})
    assert shot_list.status_code == 200
    looked_back = client.get(
        reverse("progress:object", args=[thing.pk]), {"as_of": f"{year}-01-01"}
    )
    assert looked_back.status_code == 200
    assert f"The year {int(year)} must be a slip" in looked_back.content.decode()
    catalogue = {"title": "Plain Sight", "printing_on": f"{year}-12-31"}
    refused = client.post(reverse("progress:catalogue_new"), catalogue)
    assert refused.status_code == 422
    assert f"The year {int(year)} must be a slip" in refused.content.decode()


def test_an_address_that_only_takes_forms_leads_to_its_page(client: Client) -> None:
    """So after a sign-in in the middle of a step, which leads to the form's own address."""
    factory.rules()
    session = factory.session(by=factory.photographer())
    client.force_login(factory.person("Una", "photographer"))
    answer = client.get(reverse("campaigns:session_start", args=[session.pk]))
    assert answer.status_code == 405
    assert answer.headers["Allow"] == "POST"
    page = answer.content.decode()
    assert "It only takes what a form sends." in page
    assert ways(page) == [reverse("campaigns:session", args=[session.pk]), "/"]
