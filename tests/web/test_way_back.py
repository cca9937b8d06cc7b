"""A refusal leads back to its thing and keeps what was written."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

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
