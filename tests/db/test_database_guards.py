"""What the database refuses by itself, attempted with raw SQL on whichever database this runs.

Each attempt writes past every line of Python that could check first, and is followed by a legal
change of the same row, so that a refusal cannot pass for the wrong reason.
"""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any

import pytest
from django.db import Error, IntegrityError, connection, models, transaction

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    LoneWorker,
    Package,
    PackageItem,
    Review,
)
from imaging_requests.people import audit, displacing, guards
from imaging_requests.people.models import AuditEvent
from imaging_requests.protocols.models import EntryPin, VersionState
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    Intervention,
    InterventionRecord,
)
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


def raw(sql: str, values: Sequence[Any] = ()) -> None:
    """Run one statement past the models, and let deferred constraints speak at once."""
    adapted = [
        connection.ops.adapt_datetimefield_value(value)
        if isinstance(value, datetime)
        else connection.ops.adapt_datefield_value(value)
        if isinstance(value, date)
        else value.hex
        if isinstance(value, uuid.UUID) and connection.vendor == "sqlite"
        else value
        for value in values
    ]
    with connection.cursor() as cursor:
        cursor.execute(sql, adapted)
    connection.check_constraints()


def refused(sql: str, values: Sequence[Any] = (), *, said: str = "") -> None:
    """Expect the database to refuse, with its words where a guard speaks."""
    with pytest.raises(Error) as refusal, transaction.atomic():
        raw(sql, values)
    assert isinstance(refusal.value, IntegrityError), refusal.value
    assert said in str(refusal.value), refusal.value


def set_raw(row: models.Model, **values: Any) -> tuple[str, list[Any]]:
    """Return an UPDATE of one row."""
    names = ", ".join(f"{name} = %s" for name in values)
    return f"UPDATE {row._meta.db_table} SET {names} WHERE id = %s", [*values.values(), row.pk]


def delete_raw(row: models.Model) -> tuple[str, list[Any]]:
    """Return a DELETE of one row."""
    return f"DELETE FROM {row._meta.db_table} WHERE id = %s", [row.pk]


def copy_raw(row: models.Model, **changes: Any) -> tuple[str, list[Any]]:
    """Return an INSERT of a row like this one."""
    values = {
        field.column: field.get_db_prep_save(getattr(row, field.attname), connection)
        for field in row._meta.concrete_fields
        if not field.primary_key
    } | changes
    names, holes = ", ".join(values), ", ".join(["%s"] * len(values))
    return f"INSERT INTO {row._meta.db_table} ({names}) VALUES ({holes})", list(values.values())


# Every guard stands, and it is known which


def test_every_declared_guard_stands_in_this_database() -> None:
    declared = {guard.name for guard in guards.declared()}
    assert len(declared) >= 29, "too few guards are declared to mean anything"
    triggers = {
        name for guard in guards.declared() for name in guards.triggers_of(connection, guard)
    }
    assert declared < triggers, "a guard on DELETE is two triggers"
    assert triggers <= guards.standing(connection)
    assert guards.all_stand(databases=["default"]) == []


def test_a_guard_that_does_not_stand_is_reported() -> None:
    name = "guard_people_auditevent_no_update"
    with transaction.atomic():
        with connection.cursor() as cursor:
            on = " ON people_auditevent" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER {name}{on}")
        (found,) = guards.all_stand(databases=["default"])
        assert name in found.msg
        assert "manage.py migrate" in str(found.hint)
        guards.put_up(connection)
    assert guards.all_stand(databases=["default"]) == []


def test_a_guard_with_half_of_it_gone_or_asleep_is_reported_too() -> None:
    ending = guards.NOR_EMPTIED if connection.vendor == "postgresql" else displacing.TWINS["INSERT"]
    name = f"guard_people_auditevent_no_delete{ending}"
    ways = (
        (
            f"DROP TRIGGER {name} ON people_auditevent",
            f"ALTER TABLE people_auditevent DISABLE TRIGGER {name}",
        )
        if connection.vendor == "postgresql"
        else (f"DROP TRIGGER {name}",)
    )
    for way in ways:
        with connection.cursor() as cursor:
            cursor.execute(way)
        (found,) = guards.all_stand(databases=["default"])
        assert f"1 guards of the database do not stand: {name}." in found.msg
        guards.put_up(connection)
        assert guards.all_stand(databases=["default"]) == []


def test_what_is_never_deleted_is_not_emptied_at_once_either() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("only PostgreSQL knows TRUNCATE")
    kept = [guard for guard in guards.declared() if guard.event == "DELETE" and not guard.when]
    assert len(kept) >= 8, "too few append-only tables to mean anything"
    for guard in kept:
        refused(f"TRUNCATE {guard.table} CASCADE", said=guard.message)
    words = {guard.message for guard in guards.declared() if guard.event == "DELETE"}
    with pytest.raises(IntegrityError) as refusal, transaction.atomic():
        raw("TRUNCATE collection_collectionobject CASCADE")
    assert any(each in str(refusal.value) for each in words)


def test_a_table_is_emptied_only_while_none_of_its_rows_must_stay(obj: CollectionObject) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("only PostgreSQL knows TRUNCATE")
    table = DeliverableFrame._meta.db_table
    row = factory.deliverable(obj, state="building", frames=[factory.frame()])
    connection.check_constraints()
    raw(f"TRUNCATE {table}")
    assert not DeliverableFrame.objects.exists()
    DeliverableFrame.objects.create(deliverable=row, frame=factory.frame())
    raw(*set_raw(row, state="to_review", handed_in_at=NOW))
    refused(f"TRUNCATE {table}", said="change only while it is building")


def test_a_name_that_the_database_would_cut_off_is_refused() -> None:
    with pytest.raises(ValueError, match="is longer than the 55 signs"):
        guards.add_guard(table="t" * 40, name="n" * 10, event="DELETE", message="Never.")


def test_a_guard_no_longer_declared_is_removed() -> None:
    old = "guard_people_auditevent_of_yesterday"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                f"CREATE FUNCTION {old}() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RETURN NEW; END $$"
            )
            cursor.execute(
                f"CREATE TRIGGER {old} BEFORE INSERT ON people_auditevent "
                f"FOR EACH ROW EXECUTE FUNCTION {old}()"
            )
        else:
            cursor.execute(
                f"CREATE TRIGGER {old} BEFORE INSERT ON people_auditevent BEGIN SELECT 1; END"
            )
    guards.put_up(connection)
    assert old not in guards.standing(connection)


@pytest.mark.django_db(transaction=True)
def test_a_migration_that_rebuilds_a_guarded_table_passes_and_the_guards_stand_again() -> None:
    probe = models.CheckConstraint(condition=~models.Q(pk=-1), name="probe_of_a_rebuild")
    for model in (AuditEvent, Deliverable, Intervention):
        guards.take_down(connection)
        with connection.schema_editor() as editor:
            editor.add_constraint(model, probe)
        with connection.schema_editor() as editor:
            editor.remove_constraint(model, probe)
        guards.put_up(connection)
        assert guards.all_stand(databases=["default"]) == []


# The audit trail


def test_an_event_is_never_changed_or_deleted() -> None:
    event = audit.record("tests.event", actor=None, subject=factory.lead(), now=NOW)
    words = "The audit trail is append-only"
    refused(*set_raw(event, reason="rewritten"), said=words)
    refused(*set_raw(event, previous_hash=event.previous_hash), said=words)
    refused(*delete_raw(event), said=words)
    audit.record("tests.event", actor=None, subject=factory.lead("Berit"), now=NOW)


def test_an_object_with_an_event_is_never_deleted() -> None:
    obj = CollectionObject.objects.create(title="Wreck at Low Tide")
    other = CollectionObject.objects.create(title="Calm at Low Tide")
    audit.record("tests.event", actor=None, subject=obj, object_id=obj.pk, now=NOW)
    refused(*delete_raw(obj), said="An object with an event is never deleted")
    raw(*delete_raw(other))


def test_an_object_with_a_picture_or_a_decision_is_never_deleted() -> None:
    pictured = CollectionObject.objects.create(title="Pictured")
    factory.deliverable(pictured)
    refused(*delete_raw(pictured))
    treated = CollectionObject.objects.create(title="Treated")
    decided = decision(treated)
    refused(*delete_raw(treated))
    refused(*delete_raw(decided.case))


# Versions of the rules and pins


@pytest.mark.parametrize("kind", ["protocol", "studio", "triggers"])
def test_a_published_version_never_changes_whatever_its_kind(kind: str) -> None:
    row: Any = {
        "protocol": factory.protocol,
        "studio": factory.studio_settings,
        "triggers": factory.trigger_table,
    }[kind]()
    words = "A published version of the rules never changes"
    other = factory.lead("Other")
    for changes in (
        {"definition": json.dumps({"version": 99})},
        {"number": 99},
        {"published_at": NOW},
        {"published_by_id": other.pk},
        {"co_signed_by_id": other.pk},
        {"created_at": NOW},
        {"row_version": row.row_version + 1},
        {"state": VersionState.DRAFT},
    ):
        refused(*set_raw(row, **changes), said=words)
    refused(*delete_raw(row), said="is never deleted")
    raw(*set_raw(row, state=VersionState.RETIRED))
    refused(*set_raw(row, state=VersionState.PUBLISHED), said=words)
    refused(*delete_raw(row), said="is never deleted")


@pytest.fixture(params=[False, True], ids=["own connection", "tool at the side"])
def sqlite_connection(request: pytest.FixtureRequest) -> Iterator[None]:
    """Write as this program does, and as a tool that sets nothing up would."""
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite makes room for a row by deleting others")
    if request.param:
        raw("PRAGMA recursive_triggers=OFF")
    yield
    raw("PRAGMA recursive_triggers=ON")


def or_replace(statement: tuple[str, list[Any]]) -> tuple[str, list[Any]]:
    """Return the same statement, with other rows making room for what it writes."""
    return re.sub("^(INSERT|UPDATE)", r"\1 OR REPLACE", statement[0]), statement[1]


@pytest.mark.usefixtures("sqlite_connection")
@pytest.mark.parametrize("kind", ["protocol", "studio", "triggers"])
def test_no_draft_takes_the_place_of_a_published_version(kind: str) -> None:
    make: Any = {
        "protocol": factory.protocol,
        "studio": factory.studio_settings,
        "triggers": factory.trigger_table,
    }[kind]
    row = make()
    draft = type(row).objects.create(number=98, definition={"version": 98})
    words = "A published version of the rules is never deleted"
    # A published row with its own number is copied so that only the key decides, not the state.
    for changes in ({"state": "draft"}, {"definition": "{}"}, {"id": row.pk}):
        refused(*or_replace(copy_raw(row, **changes)), said=words)
    for changes in ({"number": row.number}, {"id": row.pk}, {"id": row.pk, "number": 97}):
        refused(*or_replace(set_raw(draft, **changes)), said=words)
    assert type(row).objects.get(pk=row.pk).definition == row.definition
    raw(*or_replace(copy_raw(draft, definition="{}")))
    raw(*set_raw(type(row).objects.get(number=98), number=97))


@pytest.mark.usefixtures("sqlite_connection")
def test_an_event_is_not_replaced_either() -> None:
    event = audit.record("tests.event", actor=None, subject=factory.lead(), now=NOW)
    words = "The audit trail is append-only"
    refused(*or_replace(copy_raw(event, id=event.pk, reason="another")), said=words)
    refused(*or_replace(copy_raw(event, reason="another")), said=words)
    raw(*or_replace(copy_raw(event, hash="0" * 64, previous_hash=event.hash)))


@pytest.mark.usefixtures("sqlite_connection")
def test_a_key_that_holds_of_some_rows_displaces_those_only(obj: CollectionObject) -> None:
    row = factory.deliverable(obj)
    following = factory.deliverable(obj, state="to_review", chain=row.chain, version=2)
    words = "A picture that was handed in is never deleted"
    refused(*or_replace(set_raw(following, state="accepted")), said=words)
    refused(*or_replace(copy_raw(row, version=3)), said=words)
    raw(*or_replace(copy_raw(following, version=3)))
    raw(*or_replace(set_raw(following, state="sent_back")))


def test_a_protocol_keeps_its_name_and_a_draft_is_free() -> None:
    refused(*set_raw(factory.protocol(3), name="other"), said="never changes")
    draft = factory.protocol(4, state=VersionState.DRAFT)
    raw(*set_raw(draft, name="other", definition=json.dumps({"version": 4})))
    raw(*delete_raw(draft))


def test_a_published_version_carries_two_different_names() -> None:
    draft = factory.protocol(4, state=VersionState.DRAFT)
    one = factory.lead()
    published = {"state": "published", "published_at": NOW, "published_by_id": one.pk}
    refused(*set_raw(draft, **published))
    refused(*set_raw(draft, **published, co_signed_by_id=one.pk))
    raw(*set_raw(draft, **published, co_signed_by_id=factory.head().pk))


def test_an_entry_follows_one_version_at_any_instant() -> None:
    entry = factory.entry(factory.museum_object())
    pin = EntryPin.objects.get(entry=entry)
    words = "An entry follows exactly one protocol version"
    for changes in (
        {"pinned_at": pin.pinned_at},
        {"pinned_at": pin.pinned_at - hours(1)},
        {"pinned_at": pin.pinned_at - hours(1), "unpinned_at": pin.pinned_at},
        {"pinned_at": NOW, "unpinned_at": NOW + hours(1)},
    ):
        refused(*copy_raw(pin, **changes), said=words)
    raw(*copy_raw(pin, pinned_at=NOW))
    first, second = EntryPin.objects.filter(entry=entry).order_by("pinned_at")
    assert (first.pk, first.unpinned_at) == (pin.pk, NOW)
    assert (second.pinned_at, second.unpinned_at) == (NOW, None)
    refused(*copy_raw(second, pinned_at=NOW - hours(1)), said=words)


def test_a_pin_is_never_ended_without_another_changed_or_deleted() -> None:
    entry, other = (factory.entry(factory.museum_object()) for _ in range(2))
    pin = EntryPin.objects.get(entry=entry)
    raw(*copy_raw(pin, pinned_at=NOW))
    follower = EntryPin.objects.get(entry=entry, unpinned_at=None)
    words = "An entry follows exactly one protocol version"
    version = factory.protocol(4)
    for row in (pin, follower):
        for changes in (
            {"unpinned_at": NOW + hours(1)},
            {"protocol_id": version.pk},
            {"pinned_at": row.pinned_at - hours(1)},
            {"entry_id": other.pk},
            {"reason": "another"},
        ):
            refused(*set_raw(row, **changes), said=words)
        refused(*delete_raw(row), said=words)
    first = EntryPin.objects.get(pk=pin.pk)
    refused(*set_raw(first, unpinned_at=None), said=words)
    refused("DELETE FROM protocols_entrypin", said=words)


def test_no_entry_follows_a_draft() -> None:
    pin = EntryPin.objects.get(entry=factory.entry(factory.museum_object()))
    draft, published = factory.protocol(4, state=VersionState.DRAFT), factory.protocol(2)
    refused(*copy_raw(pin, pinned_at=NOW, protocol_id=draft.pk), said="never a draft")
    refused(*set_raw(pin, protocol_id=draft.pk), said="exactly one protocol version")
    raw(*copy_raw(pin, pinned_at=NOW, protocol_id=published.pk))


# Treatments


def test_steps_on_one_face_never_overlap_unless_combined() -> None:
    treatment = factory.treatment(factory.museum_object(), (1, 2))
    first, second = treatment.interventions.order_by("step")
    done = {"state": "finished", "finished_at": NOW}
    raw(*set_raw(first, started_at=NOW - hours(2), **done))
    refused(*set_raw(second, started_at=NOW - hours(1), state="started"))
    refused(
        *copy_raw(
            second, step=9, started_at=NOW - hours(3), **(done | {"finished_at": NOW - hours(1)})
        )
    )
    raw(*set_raw(second, started_at=NOW, state="started"))
    raw(*set_raw(second, started_at=NOW - hours(1), combined=True))
    raw(*set_raw(second, combined=False, face="B"))
    refused(*set_raw(second, face="F"))


def test_an_open_step_keeps_every_later_one_away() -> None:
    treatment = factory.treatment(factory.museum_object(), (1, 2))
    first, second = treatment.interventions.order_by("step")
    raw(*set_raw(first, started_at=NOW - hours(2), state="started"))
    refused(*set_raw(second, started_at=NOW + hours(99), state="started"))


def test_a_step_starts_before_it_ends_and_its_state_fits_its_times() -> None:
    step = factory.treatment(factory.museum_object(), (1,)).interventions.get()
    refused(*set_raw(step, state="finished", started_at=NOW, finished_at=NOW))
    refused(*set_raw(step, state="planned", started_at=NOW))
    refused(*set_raw(step, state="finished", started_at=NOW))
    raw(*set_raw(step, state="started", started_at=NOW))


def test_what_was_recorded_of_times_is_never_changed() -> None:
    step = factory.treatment(factory.museum_object(), (1,)).interventions.get()
    record = InterventionRecord.objects.create(
        intervention=step, recorded_at=NOW, state="started", started_at=NOW
    )
    refused(*set_raw(record, started_at=NOW - hours(1)), said="of the times of a step")
    refused(*delete_raw(record), said="of the times of a step")
    refused(*delete_raw(step))


def decision(obj: CollectionObject | None = None) -> DecisionVerdict:
    runa = factory.conservator(f"Runa{uuid.uuid4().hex[:4]}")
    step = factory.treatment(obj or factory.museum_object(), (2,), by=runa).interventions.get()
    case = DecisionCase.objects.create(
        object=step.object,
        intervention=step,
        chain=uuid.uuid4(),
        technique="RK",
        face="F",
        proposal="valid",
        reason="Varnish fills fine relief.",
        assigned_to=runa,
    )
    return DecisionVerdict.objects.create(case=case, verdict="valid", reason="seen", by=runa)


def test_an_answer_is_never_changed_and_says_why() -> None:
    verdict = decision()
    refused(*set_raw(verdict, verdict="out_of_date"), said="An answer to a question never changes")
    refused(*delete_raw(verdict), said="An answer to a question never changes")
    refused(*copy_raw(verdict, reason=""))
    raw(*copy_raw(verdict, verdict="reopened"))


def test_a_chain_and_a_step_have_one_question() -> None:
    case = decision().case
    refused(*copy_raw(case))
    raw(*copy_raw(case, chain=uuid.uuid4()))


# Pictures, reviews, packages


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object()


#: What a picture is, each thing changed.
OTHER: list[dict[str, Any]] = [
    {"px_per_mm": 12},
    {"captured_at": NOW},
    {"technique": "VF"},
    {"surface": "F.2"},
    {"face": "B"},
    {"variant": "L"},
    {"coverage_percent": 50},
    {"missing": json.dumps(["a tile"])},
    {"faults": json.dumps(["a fault"])},
    {"is_complete": False},
    {"kind": "mosaic"},
    {"version": 7},
    {"handed_in_at": NOW},
    {"created_at": NOW},
]


@pytest.mark.parametrize(
    "changes",
    [
        *OTHER,
        {"state": "to_review"},
        {"state": "building"},
        {"state": "sent_back"},
        {"row_version": 9},
    ],
)
def test_an_accepted_picture_never_changes(obj: CollectionObject, changes: dict[str, Any]) -> None:
    row = factory.deliverable(obj)
    words = "an accepted one can be recalled"
    refused(*set_raw(row, **changes), said=words)
    refused(*set_raw(row, **({"state": "recalled", "px_per_mm": 12} | changes)), said=words)
    raw(*set_raw(row, state="recalled", row_version=row.row_version + 1))
    refused(*set_raw(row, state="accepted"), said=words)


@pytest.mark.parametrize("changes", [*OTHER, {"face": "X", "surface": "", "technique": "ZZ"}])
def test_a_picture_that_waits_for_its_review_never_changes(
    obj: CollectionObject, changes: dict[str, Any]
) -> None:
    row = factory.deliverable(obj, state="to_review")
    words = "A picture that waits for its review never changes"
    refused(*set_raw(row, **changes), said=words)
    refused(*set_raw(row, **({"state": "accepted"} | changes)), said=words)
    raw(*set_raw(row, state="building", handed_in_at=None))
    raw(*set_raw(row, state="to_review", handed_in_at=NOW, px_per_mm=12))
    raw(*set_raw(row, state="accepted", row_version=row.row_version + 1))


def test_a_picture_that_waits_stays_with_its_object(obj: CollectionObject) -> None:
    row = factory.deliverable(obj, state="to_review")
    other = CollectionObject.objects.create(title="Another")
    refused(*set_raw(row, object_id=other.pk), said="waits for its review")
    raw(*set_raw(row, state="accepted"))


@pytest.mark.parametrize("state", ["sent_back", "recalled"])
def test_a_refused_picture_never_changes_either(obj: CollectionObject, state: str) -> None:
    row = factory.deliverable(obj, state=state)
    refused(*set_raw(row, px_per_mm=12), said="never changes")
    refused(*set_raw(row, state="accepted"), said="never changes")


@pytest.mark.parametrize("state", [s for s in DeliverableState.values if s != "building"])
def test_a_picture_that_was_handed_in_is_never_deleted(obj: CollectionObject, state: str) -> None:
    refused(*delete_raw(factory.deliverable(obj, state=state)), said="is never deleted")
    raw(*delete_raw(factory.deliverable(obj, state="building")))


def test_a_chain_has_one_accepted_version(obj: CollectionObject) -> None:
    row = factory.deliverable(obj)
    next_version = factory.deliverable(obj, state="to_review", chain=row.chain, version=2)
    refused(*set_raw(next_version, state="accepted"))
    raw(*set_raw(row, state="recalled"))
    raw(*set_raw(next_version, state="accepted"))


def test_an_incomplete_picture_is_never_accepted(obj: CollectionObject) -> None:
    row = factory.deliverable(obj, state="to_review", is_complete=False)
    refused(*set_raw(row, state="accepted"))
    raw(*set_raw(row, state="building"))
    raw(*set_raw(row, state="to_review", is_complete=True))
    raw(*set_raw(row, state="accepted"))


def test_an_x_ray_states_its_polarity_and_is_accepted_only_when_it_is_known(
    obj: CollectionObject,
) -> None:
    row = factory.deliverable(obj, "XR", "T", state="building", polarity="unknown")
    refused(*set_raw(row, polarity=""))
    refused(*set_raw(row, polarity="inverted"))
    raw(*set_raw(row, state="to_review", handed_in_at=NOW))
    refused(*set_raw(row, state="accepted"))
    raw(*set_raw(row, state="building"))
    raw(*set_raw(row, state="to_review", polarity="positive"))
    raw(*set_raw(row, state="accepted"))


def test_an_inverted_picture_is_no_master(obj: CollectionObject) -> None:
    row = factory.deliverable(obj, "XR", "T", state="to_review")
    refused(*copy_raw(row, chain=uuid.uuid4(), kind="inverted"))
    raw(*copy_raw(row, chain=uuid.uuid4()))


def test_frames_change_only_while_a_picture_is_building(obj: CollectionObject) -> None:
    frames = [factory.frame() for _ in range(3)]
    row = factory.deliverable(obj, state="building", frames=frames[:1])
    seat = DeliverableFrame.objects.get(deliverable=row)
    raw(*copy_raw(seat, frame_id=frames[1].pk, tile_x=1))
    raw(*set_raw(seat, tile_y=3))
    raw(*set_raw(row, state="to_review", handed_in_at=NOW))
    words = "The frames of a picture change only while it is building"
    refused(*copy_raw(seat, frame_id=frames[2].pk, tile_x=2), said=words)
    refused(*set_raw(seat, tile_y=4), said=words)
    refused(*delete_raw(seat), said=words)


def test_a_place_holds_one_frame_and_a_frame_one_place(obj: CollectionObject) -> None:
    frames = [factory.frame() for _ in range(2)]
    row = factory.deliverable(obj, state="building", frames=frames[:1])
    seat = DeliverableFrame.objects.get(deliverable=row)
    refused(*copy_raw(seat, frame_id=frames[1].pk))
    refused(*copy_raw(seat, tile_x=1))
    raw(*copy_raw(seat, frame_id=frames[1].pk, tile_x=1))


def test_a_review_is_never_changed_and_a_refusal_says_why(obj: CollectionObject) -> None:
    review = Review.objects.create(
        deliverable=factory.deliverable(obj), verdict="accepted", by=factory.lead()
    )
    words = "A review never changes"
    refused(*set_raw(review, note="changed my mind"), said=words)
    refused(*delete_raw(review), said=words)
    refused(*copy_raw(review, verdict="sent_back"))
    raw(*copy_raw(review, verdict="sent_back", note="too soft"))


def test_nobody_allows_lone_work_to_oneself() -> None:
    amaro, signe = factory.photographer(), factory.lead()
    stretch = LoneWorker.objects.create(
        person=amaro, allowed_by=signe, since=NOW, until=NOW + hours(8), reason="alone"
    )
    refused(*copy_raw(stretch, allowed_by_id=amaro.pk))
    refused(*copy_raw(stretch, reason=""))
    refused(*copy_raw(stretch, until=NOW))


def package(made_by: Any) -> Package:
    return Package.objects.create(number=uuid.uuid4().hex[:20], purpose="figures", made_by=made_by)


def test_only_accepted_pictures_enter_a_package(obj: CollectionObject) -> None:
    signe = factory.lead()
    waiting = factory.deliverable(obj, state="to_review")
    accepted = factory.deliverable(obj, "VF")
    item = PackageItem(package=package(signe), deliverable=accepted)
    refused(*copy_raw(item, deliverable_id=waiting.pk), said="Only accepted pictures")
    raw(*copy_raw(item))
    refused(*copy_raw(item))


def test_a_sealed_package_never_changes(obj: CollectionObject) -> None:
    signe = factory.lead()
    box = package(signe)
    PackageItem.objects.create(package=box, deliverable=factory.deliverable(obj))
    item = box.items.get()
    refused(*set_raw(box, state="sealed"))
    raw(
        *set_raw(
            box,
            state="sealed",
            sealed_at=NOW,
            manifest=json.dumps({"files": []}),
            manifest_sha256="0" * 64,
        )
    )
    words = "A sealed package never changes"
    for changes in (
        {"state": "open"},
        {"manifest": json.dumps({"files": [1]})},
        {"manifest_sha256": "1" * 64},
        {"purpose": "other"},
        {"sealed_at": NOW + hours(1)},
        {"row_version": 9},
    ):
        refused(*set_raw(box, **changes), said=words)
    refused(*delete_raw(box), said=words)
    other = factory.deliverable(obj, "VF")
    refused(*copy_raw(item, deliverable_id=other.pk), said="only before it is sealed")
    refused(*set_raw(item, deliverable_id=other.pk), said="is never exchanged")
    refused(*delete_raw(item), said="Nothing is taken out of a sealed package")
    raw(*set_raw(item.deliverable, state="recalled"))
