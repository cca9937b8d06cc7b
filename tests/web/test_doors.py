"""Links that would be refused are not offered, and those that open are."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.people.doors import opens_for
from imaging_requests.people.policies import EVERYONE_INSIDE
from tests import factory

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


@pytest.mark.parametrize("role", sorted(EVERYONE_INSIDE))
@pytest.mark.parametrize(
    "name",
    [
        "progress:first_page",
        "progress:catalogues",
        "requesting:requests",
        "campaigns:campaigns",
        "progress:treatments",
    ],
)
def test_no_link_of_a_list_is_refused(client: Client, role: str, name: str) -> None:
    factory.rules()
    session = factory.session(by=factory.photographer())
    client.force_login(factory.person("Una", role))
    for start in (reverse(name), reverse("campaigns:session", args=[session.pk])):
        page = client.get(start)
        assert page.status_code == 200
        main = page.content.decode()
        for address in set(re.findall(r'<a[^>]* href="(/[^"]*)"', main)):
            if address.startswith("/static/"):
                continue
            assert client.get(address).status_code == 200, address
