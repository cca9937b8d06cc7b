"""I-33: merging keeps both numbers, all pictures and all events, and can be undone for 30 days."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.actions_merging import merge_objects, part_objects
from imaging_requests.collection.models import CollectionObject, Entry, ObjectNumber
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.people.errors import DomainError, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, User
from imaging_requests.progress.acts_merging import merge
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.settle import settle, verify
from imaging_requests.requesting.models import OwedView
from imaging_requests.requesting.queries import find_objects
from tests import factory
from tests import progress_scene as scene
from tests.factory import NOW

pytestmark = pytest.mark.django_db

WHY = "The label on the stretcher names both numbers."


class Pair:
    """One object under two records: the front was photographed under the double's number."""

    def __init__(self) -> None:
        factory.rules()
        self.lead: User = factory.lead()
        self.kept = factory.museum_object("AR 0061", "Portrait of a Lamp Maker")
        self.double = factory.museum_object("AR 0062", "The Lamp Maker")
        self.entry: Entry = factory.entry(self.double, number="20")
        scene.derive(NOW - timedelta(days=90))
        for view in OwedView.objects.filter(object=self.double, face="F"):
            made = scene.picture(view, NOW - timedelta(days=80), by=self.lead)
            scene.file(made, NOW - timedelta(days=70), by=self.lead)
        scene.derive()

    def merge(self, **more: object) -> CollectionObject:
        self.double.refresh_from_db()
        values: dict[str, object] = {
            "actor": self.lead,
            "double_id": self.double.pk,
            "read_version": self.double.row_version,
            "into_id": self.kept.pk,
            "reason": WHY,
            "now": NOW,
        }
        return merge(**(values | more))  # type: ignore[arg-type]

    def part(self, **more: object) -> CollectionObject:
        self.double.refresh_from_db()
        values: dict[str, object] = {
            "actor": self.lead,
            "double_id": self.double.pk,
            "read_version": self.double.row_version,
            "reason": "Two versions of one composition.",
            "reversible_for": timedelta(days=30),
            "now": NOW + timedelta(days=1),
        }
        return part_objects(**(values | more))  # type: ignore[arg-type]

    def statuses(self, thing: CollectionObject) -> dict[str, str]:
        rows = ViewStatus.objects.filter(object=thing).select_related("owed_view")
        return {f"{r.owed_view.technique}-{r.owed_view.face}": r.status for r in rows}


@pytest.fixture
def pair() -> Pair:
    return Pair()


def test_i33_merging_keeps_both_numbers_all_pictures_and_all_events(pair: Pair) -> None:
    pictures = list(Deliverable.objects.order_by("pk").values("pk", "object_id", "state"))
    numbers = list(ObjectNumber.objects.order_by("pk").values("pk", "object_id", "number"))
    events = AuditEvent.objects.count()
    pair.merge()
    settle(now=NOW)
    assert list(Deliverable.objects.order_by("pk").values("pk", "object_id", "state")) == pictures
    assert list(ObjectNumber.objects.order_by("pk").values("pk", "object_id", "number")) == numbers
    assert AuditEvent.objects.count() > events
    assert [thing.pk for thing in find_objects("AR 0062")] == [pair.kept.pk]
    assert [thing.pk for thing in find_objects("AR 0061")] == [pair.kept.pk]
    there = pair.statuses(pair.kept)
    assert {there[code] for code in ("VF-F", "VC-F", "UV-F", "IR-F")} == {"filed"}
    assert there["VF-B"] == "open"
    assert pair.statuses(pair.double) == {}
    assert EntryStatus.objects.get(entry=pair.entry).owed == 10
    assert verify(now=NOW) == []


def test_i33_an_event_of_the_double_changes_pictures_of_the_record_that_stays(pair: Pair) -> None:
    scene.take_varnish_off(pair.double, NOW - timedelta(days=9))
    pair.double.treatments.update(state="signed_off")
    pair.merge()
    settle(now=NOW)
    there = pair.statuses(pair.kept)
    assert (there["VF-F"], there["UV-F"], there["IR-F"]) == (
        "out_of_date",
        "out_of_date",
        "undecided",
    )


def test_i33_parting_gives_everything_back(pair: Pair) -> None:
    before = pair.statuses(pair.double)
    assert before["VF-F"] == "filed"
    pair.merge()
    settle(now=NOW)
    pair.part()
    settle(now=NOW + timedelta(days=1))
    assert pair.statuses(pair.double) == before
    assert pair.statuses(pair.kept) == {}
    pair.double.refresh_from_db()
    assert (pair.double.record_state, pair.double.merged_into) == ("active", None)
    assert pair.entry.entry_objects.get(removed_at=None).object_id == pair.double.pk


def test_i33_after_thirty_days_it_stays(pair: Pair) -> None:
    pair.merge()
    with pytest.raises(DomainError, match="can be undone for 30 days only"):
        pair.part(now=NOW + timedelta(days=30, seconds=1))
    pair.part(now=NOW + timedelta(days=30))
    with pytest.raises(DomainError, match="was not merged into another record"):
        pair.part()


def test_i33_what_cannot_be_merged_is_refused_and_changes_nothing(pair: Pair) -> None:
    part = factory.museum_object(part_of=pair.kept)
    for more, words in (
        ({"into_id": pair.double.pk}, "not a double of itself"),
        ({"reason": "  "}, "how you know"),
        ({"double_id": part.pk, "read_version": part.row_version}, "A whole and its part"),
    ):
        with pytest.raises(DomainError, match=words):
            pair.merge(**more)
    with pytest.raises(StaleWrite, match="while you were working on it"):
        pair.merge(read_version=pair.double.row_version + 1)
    with pytest.raises(NotAllowed):
        pair.merge(actor=factory.photographer("Lioba"))
    assert not CollectionObject.objects.filter(record_state="merged").exists()
    pair.merge()
    with pytest.raises(DomainError, match="is merged"):
        pair.merge()
    other = factory.museum_object()
    with pytest.raises(DomainError, match="Part the two first"):
        merge_objects(
            actor=pair.lead,
            double_id=pair.kept.pk,
            read_version=CollectionObject.objects.get(pk=pair.kept.pk).row_version,
            into_id=other.pk,
            reason=WHY,
            now=NOW,
        )


def test_i33_a_double_in_use_is_not_merged_away(pair: Pair) -> None:
    treatment = factory.treatment(pair.double)
    line = factory.request_line(factory.request(), pair.double)
    factory.shot_line(factory.session(), pair.double)
    with pytest.raises(DomainError) as refusal:
        pair.merge()
    for words in ("1 wishes", "1 shots in sessions to come", "1 treatments planned"):
        assert words in str(refusal.value)
    type(treatment).objects.filter(pk=treatment.pk).update(state="dropped")
    type(line).objects.filter(pk=line.pk).update(state="withdrawn")
    pair.double.shot_lines.update(state="done")
    pair.merge()


def test_i33_through_the_pages(pair: Pair, client: Client) -> None:
    client.force_login(pair.lead)
    double = reverse("progress:object", args=[pair.double.pk])
    assert "Say that this record is a double" in client.get(double).content.decode()
    address = reverse("progress:merged", args=[pair.double.pk])
    version = pair.double.row_version
    typed = {"into": "AR 9999999", "reason": WHY, "read_version": version}
    refused = client.post(address, typed)
    assert refused.status_code == 422
    assert "No object has the number AR 9999999" in refused.content.decode()
    assert WHY in refused.content.decode()
    answer = client.post(address, typed | {"into": "ar 0061"})
    assert answer["Location"] == reverse("progress:object", args=[pair.kept.pk])
    kept = client.get(answer["Location"]).content.decode()
    assert "AR 0062" in kept
    assert "this record is one with" in client.get(double).content.decode()
    pair.double.refresh_from_db()
    back = client.post(
        reverse("progress:parted", args=[pair.double.pk]),
        {"reason": "Two versions.", "read_version": pair.double.row_version},
    )
    assert back["Location"] == double
    assert timezone.now() > AuditEvent.objects.latest("pk").recorded_at
