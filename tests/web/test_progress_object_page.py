"""The page of an object: what is still to be done stands first, the rest can be folded away."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.requesting.models import OwedView
from imaging_requests.treatments.models import InterventionRecord
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
    assert "needs nothing more" not in client.get(address).content.decode()
    made = scene.picture(before[0], now - timedelta(days=2), by=signe)
    scene.file(made, now - timedelta(days=1), by=signe)
    scene.derive(now)
    page = client.get(address).content.decode()
    past = page[page.index("For treatments") :]
    fold = past.index("<summary>1 view that needs nothing more</summary>")
    rows = {view.pk: past.index(f'id="view-{view.pk}"') for view in before}
    assert rows.pop(before[0].pk) > fold
    assert rows
    assert all(place < fold for place in rows.values())
    assert "<summary><h2>Facts</h2></summary>" in page


def test_the_surfaces_are_told_with_their_days_their_events_and_their_pictures(
    client: Client,
) -> None:
    factory.rules()
    signe, now = factory.lead(), timezone.now()
    thing = factory.museum_object("AR 0079", "The Blind Cartographer")
    factory.entry(thing, number="26")
    scene.derive(now)
    back = OwedView.objects.get(object=thing, technique="VF", face="B")
    scene.picture(back, now - timedelta(days=30), by=signe)
    lined_at = now - timedelta(days=20)
    treatment = factory.treatment(
        thing, rows=(11,), state="finished", finished_at=lined_at, code="T7"
    )
    treatment.interventions.update(face="B", label="lining put on")
    step = treatment.interventions.get()
    InterventionRecord.objects.create(
        intervention=step,
        recorded_at=lined_at,
        state=step.state,
        started_at=step.started_at,
        finished_at=step.finished_at,
    )
    scene.derive(now)
    client.force_login(signe)
    page = client.get(reverse("progress:object", args=[thing.pk])).content.decode()
    part = page[page.index('<section class="part" id="surfaces">') :]
    rows = {code: part[part.index(f'id="surface-{code}"') :] for code in ("F.1", "B.1", "B.2")}
    rows = {code: row[: row.index("</tr>")] for code, row in rows.items()}
    day = f"{timezone.localtime(lined_at):%-d %b %Y}"
    event = (
        f'{day} (lining put on, <a href="{reverse("progress:treatment", args=[treatment.pk])}">'
        "T7</a>)"
    )
    assert "From when the object came to today" in rows["F.1"]
    assert f"From when the object came to {event}" in rows["B.1"]
    assert "The original back" in rows["B.1"]
    assert "Hidden now" in rows["B.1"]
    assert "1 picture speaks for it" in rows["B.1"]
    assert f"From {event} to today" in rows["B.2"]
    assert "The back of a lining put on" in rows["B.2"]
    assert "None yet" in rows["B.2"]
