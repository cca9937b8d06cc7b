"""A new trigger table reaches the steps that have not begun, and no others."""

from __future__ import annotations

import copy
from datetime import timedelta
from importlib import import_module

import pytest
from django.apps import apps
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, StaleMark
from imaging_requests.people.models import User
from imaging_requests.progress.gates import gate_of
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.settle import settle, verify
from imaging_requests.protocols.actions import load_published
from imaging_requests.protocols.models import RuleKind
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.requesting.models import OwedView
from imaging_requests.treatments.models import Intervention, Treatment
from tests import factory

pytestmark = pytest.mark.django_db


@pytest.fixture
def planned(client: Client) -> Treatment:
    """Varnish is to come off, planned under version 1, which doubts the raking light after it."""
    factory.rules()
    thing = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.entry(thing, number="23")
    treatment = factory.treatment(thing, (2,))
    settle(now=timezone.now())
    settle([thing.pk], now=timezone.now())
    client.force_login(factory.lead())
    return treatment


def publish_milder_table() -> None:
    """Version 2: taking varnish off leaves the raking light of the front true."""
    document = copy.deepcopy(factory.trigger_table().definition) | {"version": 2}
    (row,) = (each for each in document["rows"] if each["row"] == 2)
    row["cells"]["RK-F"] = "V"
    load_published(
        kind=RuleKind.TRIGGERS,
        document=document,
        actor=User.objects.get(name="Signe"),
        co_signed_by=User.objects.get(name="Runa"),
    )


def needs_raking_light(treatment: Treatment) -> bool:
    pk, now = treatment.object_id, timezone.now()
    speech = speech_for([pk])
    moment = look(gather_cases([pk])[pk], speech.tables, t=now, u=now)
    found = gate_of(moment, treatment.interventions.get())
    assert found is not None
    return any(each.view.technique == "RK" for each in found.needed)


def owed_before(thing: CollectionObject) -> set[str]:
    views = OwedView.objects.filter(object=thing, anchor="BT", ended_at=None)
    return set(views.values_list("technique", flat=True))


def test_a_table_published_today_judges_what_has_not_begun(
    client: Client, planned: Treatment
) -> None:
    thing = planned.object
    assert needs_raking_light(planned)
    assert owed_before(thing) == {"VF", "VC", "RK", "UV"}
    page = client.get(reverse("progress:treatment", args=[planned.pk])).content.decode()
    assert "Trigger table version 1 counts, the one in force until it begins." in page
    publish_milder_table()
    assert StaleMark.objects.filter(object=thing).exists()
    page = client.get(reverse("progress:treatment", args=[planned.pk])).content.decode()
    assert "Trigger table version 2 counts, the one in force until it begins." in page
    assert not needs_raking_light(planned)
    assert owed_before(thing) == {"VF", "VC", "UV"}
    assert verify([thing.pk], now=timezone.now()) == []


def test_a_step_that_began_before_keeps_its_table(client: Client, planned: Treatment) -> None:
    began = timezone.now() - timedelta(hours=1)
    Intervention.objects.update(state="started", started_at=began)
    step = planned.interventions.get()
    step.records.create(state="started", recorded_at=began, started_at=began)
    publish_milder_table()
    assert not StaleMark.objects.filter(object=planned.object_id).exists()
    assert needs_raking_light(planned)
    page = client.get(reverse("progress:treatment", args=[planned.pk])).content.decode()
    assert "Trigger table version 1 counts, in force when it began." in page


def test_what_was_derived_before_is_derived_anew_once(planned: Treatment) -> None:
    other = factory.museum_object("AR 0007", "Saint of the Ferry")
    settle()
    migration = import_module("imaging_requests.progress.migrations.0002_derive_plans_anew")
    migration.mark_planned(apps, None)
    marked = set(StaleMark.objects.values_list("object_id", flat=True))
    assert marked == {planned.object_id}
    assert other.pk not in marked
