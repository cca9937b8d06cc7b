"""Two keepers with one person's page open: the second is told, nothing is overwritten."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.people.models import User
from tests import factory

pytestmark = pytest.mark.django_db


def held(person: User) -> set[str]:
    return set(person.role_holdings.filter(held_until=None).values_list("role", flat=True))


def test_roles_that_were_changed_meanwhile_are_not_overwritten(client: Client) -> None:
    lioba = factory.photographer("Lioba")
    client.force_login(factory.person("Hale", "keeper"))
    address = reverse("people:account", args=[lioba.pk])
    assert 'name="read_roles" value="photographer"' in client.get(address).content.decode()
    sent = {"read_roles": "photographer", "roles": ["photographer", "lead"]}
    assert client.post(address, sent).status_code == 302
    refused = client.post(address, {"read_roles": "photographer", "roles": ["curator"]})
    words = "The roles of Lioba were changed while you were working on them"
    assert words in refused.content.decode()
    assert held(lioba) == {"photographer", "lead"}
    sent = {"read_roles": "lead photographer", "roles": []}
    assert client.post(address, sent).status_code == 302
    assert held(lioba) == set()
