"""Invariants that the database keeps by itself, attempted with raw SQL on whichever it is.

Those that stand elsewhere are named in docs/invariants.md; here are the rest.
"""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from imaging_requests.collection.models import (
    CollectionObject,
    ObjectNumber,
)
from imaging_requests.deliverables import actions as deliverables
from imaging_requests.deliverables import queries
from imaging_requests.deliverables.models import (
    Deliverable,
    Package,
    PackageItem,
)
from imaging_requests.people.models import AuditEvent, Notice
from imaging_requests.progress.settle import derive_objects
from imaging_requests.requesting.models import (
    NotApplicable,
    OwedView,
    Waiver,
)
from imaging_requests.treatments.models import (
    InterventionRecord,
)
from tests import factory
from tests import progress_scene as scene
from tests.db.test_database_guards import copy_raw, delete_raw, raw, refused, set_raw
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0061")


# I-01: numbers


def test_i01_one_number_of_a_kind_in_force_at_any_instant(obj: CollectionObject) -> None:
    first = obj.numbers.get()
    words = "one number of a kind in force"
    refused(*copy_raw(first, number="AR 7001"))
    raw(*set_raw(first, in_force_to=date(2026, 1, 16)))
    for begins, ends in (
        (date(2026, 1, 15), None),
        (date(2025, 8, 1), date(2025, 9, 2)),
        (date(2025, 12, 1), date(2025, 12, 24)),
    ):
        refused(*copy_raw(first, number="AR 7002", in_force_from=begins, in_force_to=ends))
    raw(*copy_raw(first, number="AR 7003", in_force_from=date(2026, 1, 16), in_force_to=None))
    second = ObjectNumber.objects.get(number="AR 7003")
    refused(*set_raw(second, in_force_from=date(2026, 1, 10)), said=words)
    raw(*copy_raw(first, number="AR 7004", scheme="deposit", in_force_to=None))


def test_i01_a_number_never_passes_to_another_object(obj: CollectionObject) -> None:
    number = obj.numbers.get()
    other = CollectionObject.objects.create(title="Another")
    raw(*set_raw(number, in_force_to=date(2026, 1, 16)))
    refused(*copy_raw(number, object_id=other.pk, in_force_from=date(2026, 2, 1)))
    words = "never passes to another object"
    refused(*set_raw(number, object_id=other.pk), said=words)
    refused(*set_raw(number, number="AR 9999"), said=words)
    refused(*delete_raw(number), said="is never deleted")
    raw(*set_raw(number, source="old inventory"))


# I-02: what a picture shows


@pytest.mark.parametrize("name", ["object_id", "surface", "technique", "captured_at", "variant"])
def test_i02_a_picture_lacks_nothing_that_says_what_it_shows(
    obj: CollectionObject, name: str
) -> None:
    picture = factory.deliverable(obj, state="building")
    refused(*set_raw(picture, **{name: None}))
    refused(*copy_raw(picture, chain=uuid.uuid4(), **{name: None}))


@pytest.mark.parametrize(
    "changes",
    [
        *({"surface": surface} for surface in ("B.1", "", "F.", "F.0", "F.x", "F.1x", "F1", "f.1")),
        {"face": "X"},
        {"face": "X", "surface": "X.1"},
        {"technique": "ZZ"},
        {"technique": ""},
    ],
)
def test_i02_a_picture_shows_one_surface_of_its_face(
    obj: CollectionObject, changes: dict[str, Any]
) -> None:
    picture = factory.deliverable(obj, state="building")
    words = "one surface of its face"
    refused(*set_raw(picture, **changes), said=words)
    refused(*copy_raw(picture, chain=uuid.uuid4(), **changes), said=words)
    raw(*set_raw(picture, face="B", surface="B.2"))
    raw(*set_raw(picture, face="B", surface="B.10"))


# I-04: files


def test_i04_the_same_bytes_are_stored_once_and_never_renamed() -> None:
    frame = factory.frame()
    refused(*copy_raw(frame, first_name="other.tif"))
    words = "What was received of a file never changes"
    for changes in (
        {"sha256": "f" * 64},
        {"size_bytes": frame.size_bytes + 1},
        {"first_name": "renamed.tif"},
    ):
        refused(*set_raw(frame, **changes), said=words)
    raw(*copy_raw(frame, sha256="e" * 64))


# I-06: which state a picture shows


def test_i06_the_state_of_a_picture_is_stored_nowhere(obj: CollectionObject) -> None:
    with connection.cursor() as cursor:
        table = connection.introspection.get_table_description(cursor, Deliverable._meta.db_table)
    assert not {column.name for column in table} & {"state_index", "object_state", "state_id"}


def test_i06_the_state_follows_the_instant_of_capture_and_the_recorded_times(
    obj: CollectionObject,
) -> None:
    factory.entry(obj, number="20")
    scene.derive(NOW - timedelta(days=90))
    view = OwedView.objects.get(object=obj, technique="UV", face="F")
    at = NOW - timedelta(days=40)
    scene.picture(view, at, by=factory.lead())
    step = scene.take_varnish_off(obj, at - timedelta(hours=1))

    def state() -> int:
        derived = derive_objects([obj.pk], now=NOW)[obj.pk]
        return derived.moment.pictures["F.1", "UV", ""][0].state

    assert state() == 1
    InterventionRecord.objects.create(
        intervention=step,
        recorded_at=NOW - timedelta(days=2),
        state=step.state,
        started_at=at + timedelta(hours=1),
        finished_at=at + timedelta(hours=2),
        reason="entered on the wrong day",
    )
    assert state() == 0


# I-12: duties


def test_i12_a_duty_is_in_force_once(obj: CollectionObject) -> None:
    view = factory.owed_view(obj)
    refused(*copy_raw(view))
    for changes in (
        {"technique": "VF"},
        {"surface": "F.2"},
        {"variant": "L"},
    ):
        raw(*copy_raw(view, **changes))
    raw(*copy_raw(view, ended_at=NOW))
    ended = OwedView.objects.get(ended_at=NOW)
    refused(*set_raw(ended, ended_at=None))


def test_i12_the_text_of_an_anchor_says_what_its_columns_say(obj: CollectionObject) -> None:
    view = factory.owed_view(obj)
    treatment = factory.treatment(obj, (12,))
    t, step = treatment.pk, treatment.interventions.get().pk
    of = {"treatment_id": t}
    window = of | {"anchor": "WIN", "anchor_event_id": step}
    words = "The anchor of a view and the text of it say the same"
    for changes in (
        {"anchor_key": "CUR2"},
        {"anchor_key": "cur"},
        {"anchor_key": f"BT:{t}"},
        {"anchor": "BT", **of},
        {"anchor": "BT", "anchor_key": f"AT:{t}", **of},
        {"anchor": "BT", "anchor_key": f"BT:{t + 1}", **of},
        {"anchor": "BT", "anchor_key": f"BT:{t}/2", "anchor_phase": 1, **of},
        {"anchor": "AT", "anchor_key": f"AT:{t}", "anchor_phase": 2, **of},
        {"anchor": "DT", "anchor_key": f"DT:{t}:2", "anchor_step": 1, **of},
        {"anchor": "DT", "anchor_key": f"DT:{t}", **of},
        window | {"anchor_key": f"WIN:{t}"},
        window | {"anchor_key": f"WIN:B.1:{t + 1}"},
        window | {"anchor_key": f"WIN:B.1:{t + 1}/{t}"},
        window | {"anchor_key": f"WIN:B.1:{t}/"},
        window | {"anchor_key": f"WIN:B.1:{t}", "anchor_event_id": None},
        {"anchor": "FIX", "anchor_at": NOW},
    ):
        refused(*copy_raw(view, **changes), said=words)
        refused(*set_raw(view, **changes), said=words)
    for changes in (
        {"anchor": "BT", "anchor_key": f"BT:{t}", **of},
        {"anchor": "AT", "anchor_key": f"AT:{t}/2", "anchor_phase": 2, **of},
        {"anchor": "DT", "anchor_key": f"DT:{t}:1", "anchor_step": 1, **of},
        window | {"anchor_key": f"WIN:B.1:{t}"},
        window | {"anchor_key": f"WIN:B.1:{t}/2"},
    ):
        raw(*copy_raw(view, **changes))


# I-15, I-16: what people sign


def test_i15_a_waiver_says_why_and_a_last_look_has_two_people(obj: CollectionObject) -> None:
    signe, runa = factory.lead(), factory.conservator()
    waiver = Waiver.objects.create(
        owed_view=factory.owed_view(obj), reason_code="risk", text="Flakes.", granted_by=signe
    )
    for changes in (
        {"text": ""},
        {"reason_code": ""},
        {"granted_by_id": None},
        {"is_last_look": True},
        {"is_last_look": True, "co_signed_by_id": signe.pk},
    ):
        refused(*set_raw(waiver, **changes))
    raw(*set_raw(waiver, is_last_look=True, co_signed_by_id=runa.pk))
    refused(*copy_raw(waiver))


def test_i16_a_ruling_by_hand_needs_a_reason_and_a_name(obj: CollectionObject) -> None:
    ruling = NotApplicable.objects.create(
        object=obj, face="E", technique="VF", reason="Engaged frame.", by=factory.lead()
    )
    refused(*set_raw(ruling, reason=""))
    refused(*set_raw(ruling, by_id=None))
    raw(*set_raw(ruling, by_id=None, rule="edges.panel"))


# I-29: clocks


def test_i29_instants_are_stored_in_utc_whatever_zone_they_came_in() -> None:
    west = timezone(timedelta(hours=-5))
    session = factory.session(starts_at=datetime(2026, 3, 29, 0, 30, tzinfo=west))
    column = (
        "to_char(starts_at AT TIME ZONE 'UTC', 'YYYY-MM-DD HH24:MI')"
        if connection.vendor == "postgresql"
        else "substr(starts_at, 1, 16)"
    )
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {column} FROM campaigns_session WHERE id = %s", [session.pk])
        assert cursor.fetchone() == ("2026-03-29 05:30",)
    session.refresh_from_db()
    assert session.starts_at == datetime(2026, 3, 29, 5, 30, tzinfo=UTC)


def test_i29_a_session_names_its_zone_and_the_cameras_own_words_are_kept() -> None:
    session = factory.session()
    for zone in ("", "Mars/Olympus", "Europe/Nowhere", "europe/london", "Europe/London ", "+01:00"):
        refused(*set_raw(session, zone=zone), said="names the zone of its clock")
        refused(*copy_raw(session, zone=zone), said="names the zone of its clock")
    refused(*set_raw(session, zone=None))
    raw(*set_raw(session, zone="Atlantic/Azores"))
    raw(*set_raw(session, zone="UTC"))
    frame = factory.frame(wall_clock="2026:03:29 01:30:00")
    words = "its own clock"
    refused(*set_raw(frame, wall_clock="2026:03:29 02:30:00"), said=words)
    refused(*set_raw(frame, wall_clock=""), said=words)
    raw(*set_raw(frame, captured_at=NOW))


# I-26: a recall is one transaction


def test_i26_a_recall_reaches_every_package_or_changes_nothing(
    obj: CollectionObject, monkeypatch: pytest.MonkeyPatch
) -> None:
    signe = factory.lead()
    picture = factory.deliverable(obj)
    for number in ("P-1", "P-2"):
        package = Package.objects.create(number=number, purpose="print", made_by=signe)
        PackageItem.objects.create(package=package, deliverable=picture)
        Package.objects.filter(pk=package.pk).update(
            state="sealed", sealed_at=NOW, manifest_sha256="0" * 64
        )

    def recall() -> None:
        deliverables.recall(
            actor=signe,
            deliverable_id=picture.pk,
            read_version=picture.row_version,
            reasons=["join"],
            note="Plates 3 and 4 are swapped.",
            now=NOW + hours(1),
        )

    address, told = queries.package_address, []

    def breaks_at_the_second_package(package: Package) -> str:
        told.append(package.number)
        if len(told) == 2:
            raise OSError("the power goes")
        return address(package)

    before = AuditEvent.objects.count()
    monkeypatch.setattr(queries, "package_address", breaks_at_the_second_package)
    with pytest.raises(OSError, match="the power goes"), transaction.atomic():
        recall()
    picture.refresh_from_db()
    assert picture.state == "accepted"
    assert (AuditEvent.objects.count(), Notice.objects.count()) == (before, 0)
    monkeypatch.undo()
    recall()
    picture.refresh_from_db()
    assert picture.state == "recalled"
    held = AuditEvent.objects.filter(code="deliverables.package_holds_recalled")
    assert {event.after["number"] for event in held} == {"P-1", "P-2"}


def test_i26_a_picture_is_made_of_masters_only(obj: CollectionObject) -> None:
    picture = factory.deliverable(obj, state="building")
    for kind in ("derivative", "inverted", ""):
        refused(*set_raw(picture, kind=kind))
    assert Deliverable.objects.get().kind == "single"


# What an older installation lacks


def test_a_migration_puts_up_guards_that_a_new_release_brings(
    obj: CollectionObject, capsys: pytest.CaptureFixture[str]
) -> None:
    name = "guard_collection_objectnumber_never_goes"
    on = " ON collection_objectnumber" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")
    call_command("check", databases=["default"])
    assert name in capsys.readouterr().err
    call_command("migrate", verbosity=0)
    refused(*delete_raw(obj.numbers.get()), said="is never deleted")
