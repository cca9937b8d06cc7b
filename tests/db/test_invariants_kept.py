"""Rows with a history stay, whoever asks: attempted with raw SQL on whichever database this is."""

from __future__ import annotations

import uuid
from collections.abc import Callable

import pytest
from django.db import models

from imaging_requests.campaigns.models import (
    Booking,
    LightDose,
    Resource,
    SessionSignature,
    ShotLine,
)
from imaging_requests.collection.models import (
    CollectionObject,
    EntryObject,
    Face,
    LocationStay,
    Unavailability,
)
from imaging_requests.deliverables.models import (
    Correction,
    CorrectionNotice,
    Delivery,
    LoneWorker,
    Package,
    Review,
)
from imaging_requests.people import audit, guards
from imaging_requests.protocols.models import Rehearsal
from imaging_requests.requesting.models import (
    GapStatement,
    NotApplicable,
    Waiver,
    WaiverProposal,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    EmergencyOverride,
    Incident,
    TimesProposal,
)
from tests import factory
from tests.db.test_database_guards import delete_raw, raw, refused
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0061")


Made = Callable[[CollectionObject], models.Model]


def _incident(obj: CollectionObject) -> models.Model:
    return Incident.objects.create(
        object=obj, kind="water", occurred_at=NOW, recorded_by=factory.lead()
    )


def _gap(obj: CollectionObject) -> models.Model:
    return GapStatement.objects.create(
        entry=factory.entry(obj), text="It stays.", signed_by=factory.head()
    )


def _ruling(obj: CollectionObject) -> models.Model:
    return NotApplicable.objects.create(
        object=obj, face="E", technique="VF", reason="Engaged frame.", by=factory.lead()
    )


def _waiver(obj: CollectionObject) -> models.Model:
    return Waiver.objects.create(
        owed_view=factory.owed_view(obj),
        reason_code="risk",
        text="Flakes.",
        granted_by=factory.lead(),
    )


def _question(obj: CollectionObject) -> models.Model:
    step = factory.treatment(obj, (2,)).interventions.get()
    return DecisionCase.objects.create(
        object=obj,
        intervention=step,
        chain=uuid.uuid4(),
        technique="RK",
        face="F",
        proposal="valid",
        reason="Varnish fills fine relief.",
        assigned_to=step.treatment.conservator,
    )


def _other_times(obj: CollectionObject) -> models.Model:
    step = factory.treatment(obj, (1,)).interventions.get()
    return TimesProposal.objects.create(
        intervention=step,
        step_version=step.row_version,
        started_before=NOW,
        started_at=NOW - hours(3),
        reason="The diary says so.",
        proposed_by=step.treatment.conservator,
    )


def _rehearsal(obj: CollectionObject) -> models.Model:
    return Rehearsal.objects.create(
        kind="protocol", version_id=1, content_sha256="0" * 64, asked_by=factory.lead()
    )


def _emergency(obj: CollectionObject) -> models.Model:
    step = factory.treatment(obj, (1,)).interventions.get()
    return EmergencyOverride.objects.create(
        intervention=step, conservator=step.treatment.conservator, reason="Flakes come off."
    )


def _delivery(obj: CollectionObject) -> models.Model:
    package = Package.objects.create(number="P-3", purpose="print", made_by=factory.lead())
    return Delivery.objects.create(
        package=package, recipient="A printer", handed_over_by=package.made_by
    )


def _correction(obj: CollectionObject) -> models.Model:
    return Correction.objects.create(
        deliverable=factory.deliverable(obj),
        kind="reprocess",
        found_by=factory.lead(),
        found_at=NOW,
        wrong_since=NOW,
        why="A tile is turned.",
    )


def _notice(obj: CollectionObject) -> models.Model:
    return CorrectionNotice.objects.create(correction=_correction(obj), user=factory.curator())


def _lone_work(obj: CollectionObject) -> models.Model:
    return LoneWorker.objects.create(
        person=factory.photographer(),
        allowed_by=factory.lead(),
        since=NOW,
        until=NOW + hours(8),
        reason="alone",
    )


def _member(obj: CollectionObject) -> models.Model:
    return EntryObject.objects.get(entry=factory.entry(obj))


def _demand(obj: CollectionObject) -> models.Model:
    return factory.owed_view(obj, demanded_by=factory.entry(obj)).demands.get()


def _proposal(obj: CollectionObject) -> models.Model:
    return WaiverProposal.objects.create(
        owed_view=factory.owed_view(obj),
        reason_code="risk",
        text="Flakes.",
        asked_by=factory.conservator(),
    )


def _stay(obj: CollectionObject) -> models.Model:
    return LocationStay.objects.create(object=obj, place="Bay 2", since=NOW)


def _absence(obj: CollectionObject) -> models.Model:
    return Unavailability.objects.create(object=obj, reason="loan", since=NOW)


def _booking(obj: CollectionObject) -> models.Model:
    session = factory.session()
    return Booking.objects.create(
        resource=Resource.objects.create(kind="object", object=obj, name=str(obj)),
        session=session,
        starts_at=session.starts_at,
        ends_at=session.ends_at,
    )


def _signature(obj: CollectionObject) -> models.Model:
    return SessionSignature.objects.create(
        session=factory.session(),
        check_code="light",
        object=obj,
        amount=600,
        as_role="conservator",
        signed_by=factory.conservator(),
        reason="The loan begins in May.",
    )


def _light(obj: CollectionObject) -> models.Model:
    return LightDose.objects.create(
        object=obj, received_on=NOW.date(), lxh=40, note="On display.", recorded_by=factory.lead()
    )


def _number(obj: CollectionObject) -> models.Model:
    return obj.numbers.get()


def _facts(obj: CollectionObject) -> models.Model:
    return obj.facts.get()


#: What no act of the program ever deletes, each with how one is made.
KEPT: dict[str, Made] = {
    "campaigns_booking": _booking,
    "campaigns_lightdose": _light,
    "campaigns_sessionsignature": _signature,
    "collection_entryobject": _member,
    "collection_face": lambda obj: Face.objects.get_or_create(object=obj, code="B")[0],
    "collection_locationstay": _stay,
    "collection_objectfacts": _facts,
    "collection_objectnumber": _number,
    "collection_unavailability": _absence,
    "deliverables_correction": _correction,
    "deliverables_correctionnotice": _notice,
    "deliverables_delivery": _delivery,
    "deliverables_loneworker": _lone_work,
    "people_user": lambda obj: factory.photographer(),
    "protocols_entrypin": lambda obj: factory.entry(obj).pins.get(),
    "protocols_rehearsal": _rehearsal,
    "requesting_demand": _demand,
    "requesting_gapstatement": _gap,
    "requesting_notapplicable": _ruling,
    "requesting_owedview": lambda obj: factory.owed_view(obj),
    "requesting_request": lambda obj: factory.request(),
    "requesting_requestline": lambda obj: factory.request_line(factory.request(), obj),
    "requesting_waiver": _waiver,
    "requesting_waiverproposal": _proposal,
    "treatments_decisioncase": _question,
    "treatments_emergencyoverride": _emergency,
    "treatments_incident": _incident,
    "treatments_intervention": lambda obj: factory.treatment(obj, rows=(1,)).interventions.get(),
    "treatments_timesproposal": _other_times,
    "treatments_treatment": lambda obj: factory.treatment(obj, rows=()),
}
WITH_EVENTS: dict[str, Made] = {
    "catalogue": lambda obj: factory.catalogue(),
    "campaign": lambda obj: factory.campaign(),
    "session": lambda obj: factory.session(),
    "frame": lambda obj: factory.frame(),
}


@pytest.mark.parametrize("table", KEPT)
def test_i34_what_no_act_deletes_the_database_keeps(obj: CollectionObject, table: str) -> None:
    row = KEPT[table](obj)
    assert row._meta.db_table == table
    refused(*delete_raw(row), said="never deleted")
    assert type(row)._default_manager.filter(pk=row.pk).exists()


def test_i34_every_table_that_keeps_its_rows_is_tried() -> None:
    elsewhere = {"deliverables_surfacenote", "pictures_grant", "pictures_restriction"}
    always = {g.table for g in guards.declared() if g.name.endswith("_never_goes") and not g.when}
    assert always == KEPT.keys() | elsewhere


@pytest.mark.parametrize("what", WITH_EVENTS)
def test_i34_what_the_trail_speaks_of_is_never_deleted(obj: CollectionObject, what: str) -> None:
    row = WITH_EVENTS[what](obj)
    audit.record("tests.event", actor=None, subject=row, now=NOW)
    refused(*delete_raw(row), said="never deleted")
    assert type(row)._default_manager.filter(pk=row.pk).exists()


@pytest.mark.parametrize("what", ["session", "frame"])
def test_i34_a_row_without_any_history_may_go(obj: CollectionObject, what: str) -> None:
    raw(*delete_raw(WITH_EVENTS[what](obj)))


def test_i34_lines_and_cards_stay_without_foreign_keys_too(obj: CollectionObject) -> None:
    """Foreign keys are off in a plain client of SQLite: the guards refuse by themselves."""
    line = factory.shot_line(factory.session(), obj)
    card = factory.setup_card()
    ShotLine.objects.filter(pk=line.pk).update(setup_card=card)
    refused(*delete_raw(card), said="planned or shot is never deleted")
    factory.frame(line)
    refused(*delete_raw(line), said="files or a picture lie is never deleted")


def test_i34_nothing_that_others_rest_on_is_deleted(obj: CollectionObject) -> None:
    view = factory.owed_view(obj)
    session = factory.session()
    line = factory.shot_line(session, obj, meets=[view])
    frame = factory.frame(line)
    picture = factory.deliverable(obj, frames=[frame], shot_line=line)
    Review.objects.create(deliverable=picture, verdict="accepted", by=factory.lead())
    factory.treatment(obj)
    for row in (obj, view, session, line, frame, picture):
        refused(*delete_raw(row))
