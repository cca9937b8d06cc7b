"""The caches follow the facts: marks are settled, dates alone are noticed, nothing differs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from imaging_requests.collection.actions import record_facts, record_unavailability
from imaging_requests.collection.models import CollectionObject, Entry, StaleMark
from imaging_requests.people.models import User
from imaging_requests.progress.entries import entries_of
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.models import EntryStatus, ObjectStatus, ViewStatus
from imaging_requests.progress.settle import settle, verify
from tests import factory

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Scene:
    object: CollectionObject
    entry: Entry
    lead: User


@pytest.fixture
def scene() -> Scene:
    factory.rules()
    thing = factory.museum_object()
    entry = factory.entry(thing)
    return Scene(object=thing, entry=entry, lead=factory.lead())


def statuses(thing: CollectionObject) -> list[str]:
    return sorted(set(ViewStatus.objects.filter(object=thing).values_list("status", flat=True)))


def test_a_new_object_is_derived_by_the_first_settling(scene: Scene) -> None:
    assert settle([scene.object.pk], now=factory.NOW) == 1
    assert ViewStatus.objects.filter(object=scene.object).count() == 10
    assert statuses(scene.object) == ["open"]
    assert EntryStatus.objects.get(entry=scene.entry).grade == "not_started"
    assert settle([scene.object.pk], now=factory.NOW) == 0
    assert verify([scene.object.pk], now=factory.NOW) == []


def test_a_date_alone_changes_a_status_without_any_write(scene: Scene) -> None:
    back_on = factory.NOW + timedelta(days=10)
    record_unavailability(
        actor=scene.lead,
        object_id=scene.object.pk,
        reason="loan",
        since=factory.NOW - timedelta(days=1),
        until=back_on,
        now=factory.NOW,
    )
    settle([scene.object.pk], now=factory.NOW)
    assert statuses(scene.object) == ["blocked"]
    assert ObjectStatus.objects.get(object=scene.object).holds_until == back_on
    assert settle([scene.object.pk], now=back_on - timedelta(seconds=1)) == 0
    assert settle([scene.object.pk], now=back_on) == 1
    assert statuses(scene.object) == ["open"]


def test_facts_that_change_leave_a_mark_until_it_is_settled(scene: Scene) -> None:
    settle([scene.object.pk], now=factory.NOW)
    record_facts(
        actor=scene.lead, object_id=scene.object.pk, values={"warp_mm": None}, now=factory.NOW
    )
    assert StaleMark.objects.filter(object=scene.object).count() == 1
    settle([scene.object.pk], now=factory.NOW)
    assert not StaleMark.objects.exists()
    assert ObjectStatus.objects.get(object=scene.object).missing_facts == ["warp"]
    assert "1 fact is missing" in EntryStatus.objects.get(entry=scene.entry).why


def test_settling_more_objects_takes_no_more_queries(scene: Scene) -> None:
    def queries(ids: list[int]) -> int:
        with CaptureQueriesContext(connection) as seen:
            settle(ids, now=factory.NOW)
        return len(seen)

    one = queries([scene.object.pk])
    more = []
    for number in range(2, 5):
        thing = factory.museum_object()
        factory.entry(thing, number=str(number))
        more.append(thing.pk)
    assert queries(more) == one


def test_reckon_verify_fails_on_a_planted_difference(scene: Scene) -> None:
    settle([scene.object.pk])
    call_command("reckon", verify=True, verbosity=0)
    view = ViewStatus.objects.filter(object=scene.object).first()
    assert view is not None
    ViewStatus.objects.filter(pk=view.pk).update(status="filed")
    with pytest.raises(CommandError, match="The cache differs from the rules"):
        call_command("reckon", verify=True, verbosity=0)
    assert ViewStatus.objects.get(pk=view.pk).status == "filed", "verification repairs nothing"


def test_a_part_counts_for_the_entry_of_its_whole_and_no_other_part(scene: Scene) -> None:
    whole = factory.museum_object(kind="ensemble")
    one, other = (factory.museum_object(kind="wing", part_of=whole) for _ in range(2))
    entry = factory.entry(whole)
    settle([one.pk], now=factory.NOW)
    case = gather_cases([one.pk])[one.pk]
    assert {demand.catalogue for demand in case.demands} == {str(entry.catalogue_id)}
    assert [found.pk for found in entries_of([one.pk])] == [entry.pk]
    settle([whole.pk, other.pk], now=factory.NOW)
    owed = EntryStatus.objects.get(entry=entry).owed
    assert owed == ViewStatus.objects.filter(object__in=[one, other]).count() > 10
