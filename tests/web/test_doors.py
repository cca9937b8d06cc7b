"""Links that would be refused are not offered, and those that open are."""

from __future__ import annotations

import html
import re

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.intake.models import Job
from imaging_requests.people.context import PLACES
from imaging_requests.people.doors import opens_for
from imaging_requests.people.policies import EVERYONE_INSIDE, OUTSIDE
from tests import factory
from tests.intake_scene import open_drop

pytestmark = pytest.mark.django_db


def test_the_act_of_the_view_is_asked() -> None:
    oda, signe = factory.curator(), factory.lead()
    triage = reverse("requesting:triage")
    assert opens_for(f"{triage}?page=2#object-3", signe)
    assert not opens_for(triage, oda)
    assert opens_for(reverse("progress:first_page"), oda)
    assert opens_for(reverse("people:sign_in"), oda)
    assert not opens_for("", oda)
    assert not opens_for("/nowhere/at/all/", oda)


@pytest.mark.parametrize("role", sorted(EVERYONE_INSIDE | OUTSIDE))
def test_every_place_of_a_role_opens_and_no_link_of_it_is_refused(
    client: Client, role: str
) -> None:
    """Each page of the navigation, and every page that these lead to, is open and has a title."""
    factory.rules()
    amaro = factory.photographer()
    session = factory.session(by=amaro)
    drop = open_drop(amaro, session=session)
    job = {"queue": "ingest", "state": "failed", "ended_at": factory.NOW, "last_error": "Full."}
    Job.objects.create(kind="sort", key="sort:1", subject_id=drop.pk, **job)
    client.force_login(factory.person("Una", role))
    places = [reverse(name) for name, _, seen_by in PLACES if role in seen_by]
    assert places
    if role in EVERYONE_INSIDE:
        places.append(reverse("campaigns:session", args=[session.pk]))
    seen: set[str] = set()
    for start in places:
        page = client.get(start)
        assert page.status_code == 200, start
        links = set(re.findall(r'<a[^>]* href="(/[^"]*)"', page.content.decode())) - seen
        seen |= links
        for address in links:
            if address.startswith("/static/"):
                continue
            opened = client.get(html.unescape(address), follow=True)
            assert opened.status_code == 200, (start, address)
            assert "<h1" in opened.content.decode(), (start, address)
