"""The page of an object: what is still to be done stands first, the rest can be folded away."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.requesting.models import OwedView
from tests import factory
from tests import progress_scene as scene

pytestmark = pytest.mark.django_db


def test_views_of_treatments_that_stand_are_folded_below_those_that_do_not(client: Client) -> None:
    factory.rules()
    signe, now = factory.lead(), timezone.now()
    thing = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.entry(thing, number="23")
    treatment = factory.treatment(thing, by=factory.conservator(), code="T4")
    treatment.interventions.update(planned_on=timezone.localdate() + timedelta(days=4))
    scene.derive(now)
    before = list(OwedView.objects.filter(object=thing, anchor="BT"))
    assert len(before) > 1
    client.force_login(signe)
    address = reverse("progress:object", args=[thing.pk])
    assert "wants nothing more" not in client.get(address).content.decode()
    made = scene.picture(before[0], now - timedelta(days=2), by=signe)
    scene.file(made, now - timedelta(days=1), by=signe)
    scene.derive(now)
    page = client.get(address).content.decode()
    past = page[page.index("For treatments") :]
    fold = past.index("<summary>1 view that wants nothing more</summary>")
    rows = {view.pk: past.index(f'id="view-{view.pk}"') for view in before}
    assert rows.pop(before[0].pk) > fold
    assert rows
    assert all(place < fold for place in rows.values())
    assert "<summary><h2>Facts</h2></summary>" in page
