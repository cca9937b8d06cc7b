"""Putting accepted pictures right: whom it reached, who confirmed, what mended it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import Correction, Deliverable, Delivery, Package
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.pictures.actions import set_restriction as restrict
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.rules import derive_object
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db
LATER = NOW + hours(6)


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0082", "Boy with a Tern")


@pytest.fixture
def oda(obj: CollectionObject) -> User:
    oda = factory.curator()
    entry = factory.entry(obj)
    entry.curator = oda
    entry.save()
    return oda


@pytest.fixture
def picture(obj: CollectionObject) -> Deliverable:
    return factory.deliverable(obj)


def sealed(picture: Deliverable, signe: User, number: str = "P-1") -> Package:
    entry = picture.object.entry_objects.get().entry
    package = Package.objects.create(number=number, purpose="text", made_by=signe, entry=entry)
    package.items.create(deliverable=picture)
    package.state, package.sealed_at, package.manifest_sha256 = "sealed", NOW, "0" * 64
    package.save()
    return package


def replaced(old: Package, picture: Deliverable, signe: User) -> Package:
    """Seal a package with another proven picture of the object in the old one's place."""
    line = factory.shot_line(factory.session(), picture.object, meets=[])
    frames = factory.frames_for(line)
    factory.proven(frames)
    fresh = factory.deliverable(picture.object, technique="UV", frames=frames)
    return actions.seal_package(
        actor=signe,
        entry_id=old.entry_id or 0,
        deliverable_ids=[fresh.pk],
        purpose="text",
        replaces_id=old.pk,
        now=LATER,
    )


def recalled(picture: Deliverable, signe: User, **more: object) -> Correction:
    picture.refresh_from_db()
    actions.recall(
        actor=signe,
        deliverable_id=picture.pk,
        read_version=picture.row_version,
        reasons=["join"],
        note="Plates 3 and 4 are swapped.",
        **({"now": LATER} | more),  # type: ignore[arg-type]
    )
    return Correction.objects.get(deliverable=picture)


def test_a_recall_opens_a_correction_and_tells_everybody_whom_it_reached(
    picture: Deliverable, signe: User, oda: User
) -> None:
    package = sealed(picture, signe)
    matthis = factory.curator("Matthis")
    for who in ({"user_id": matthis.pk}, {"recipient": "Elke Marrun, outside"}):
        actions.hand_over(actor=signe, package_id=package.pk, **({"recipient": ""} | who), now=NOW)
    correction = recalled(picture, signe)
    assert (correction.kind, correction.closed_at, correction.found_by) == (
        "reprocess",
        None,
        signe,
    )
    assert correction.wrong_since == picture.captured_at
    assert correction.reach["packages"] == ["P-1"]
    assert correction.reach["recipients"] == ["Elke Marrun, outside", "Matthis"]
    told = [
        str(each.delivery.recipient if each.delivery else each.user)
        for each in correction.notices.all()
    ]
    assert told == ["Matthis", "Elke Marrun, outside", "Oda"]
    address = reverse("deliverables:correction", args=[correction.pk])
    assert {notice.user for notice in Notice.objects.filter(url=address)} == {oda, matthis}


def test_only_the_person_who_was_told_confirms_and_the_lead_for_people_outside(
    picture: Deliverable, signe: User, oda: User
) -> None:
    package = sealed(picture, signe)
    actions.hand_over(actor=signe, package_id=package.pk, recipient="Elke Marrun", now=NOW)
    correction = recalled(picture, signe)
    outside, inside = correction.notices.all()
    with pytest.raises(NotAllowed, match="told to somebody else"):
        actions.confirm_notice(actor=signe, notice_id=inside.pk)
    with pytest.raises(NotAllowed, match="told to somebody else"):
        actions.confirm_notice(actor=oda, notice_id=outside.pk)
    with pytest.raises(DomainError, match="Say how the recipient confirmed it"):
        actions.confirm_notice(actor=signe, notice_id=outside.pk)
    actions.confirm_notice(actor=oda, notice_id=inside.pk, now=LATER)
    actions.confirm_notice(actor=signe, notice_id=outside.pk, words="by letter", now=LATER)
    again = actions.confirm_notice(actor=signe, notice_id=outside.pk, words="twice", now=LATER)
    assert again.confirmed_words == "by letter"
    assert AuditEvent.objects.filter(code="deliverables.correction_confirmed").count() == 2


def test_the_next_accepted_picture_of_the_view_mends_it_and_no_other(
    picture: Deliverable, signe: User, oda: User, obj: CollectionObject
) -> None:
    correction = recalled(picture, signe)
    other = factory.deliverable(obj, technique="IR", state="to_review", handed_in_at=LATER)
    same = factory.deliverable(
        obj, state="to_review", handed_in_at=LATER, captured_at=picture.captured_at + hours(3)
    )
    berit = factory.lead("Berit")
    for row in (other, same):
        row.refresh_from_db()
        actions.accept(
            actor=berit, deliverable_id=row.pk, read_version=row.row_version, now=LATER + hours(1)
        )
        correction.refresh_from_db()
        assert (correction.closed_at is not None) == (row == same)
    assert correction.mended_by == same
    assert "took its place" in Notice.objects.filter(user=oda).order_by("-pk")[0].text


def test_an_open_correction_keeps_the_entry_from_being_whole_then_and_now(
    picture: Deliverable, signe: User, oda: User, obj: CollectionObject
) -> None:
    correction = recalled(picture, signe)

    def open_at(instant: object, known: object) -> int:
        case = gather_cases([obj.pk])[obj.pk]
        derived = derive_object(
            case,
            speech=speech_for([obj.pk]),
            now=instant,
            known_at=known,  # type: ignore[arg-type]
        )
        return len(derived.moment.corrections)

    later = LATER + timedelta(days=3)
    assert open_at(later, later) == 1
    actions.close_correction(
        actor=signe,
        correction_id=correction.pk,
        read_version=correction.row_version,
        words="The plates went to the parish.",
        now=LATER + timedelta(days=2),
    )
    assert open_at(later, later) == 0
    assert open_at(LATER + timedelta(days=1), later) == 1, "on that day it was still open"
    assert open_at(later, LATER + timedelta(days=1)) == 1, "nobody knew yet that it would close"
    assert open_at(NOW, later) == 0, "it had not been found"
    correction.refresh_from_db()
    with pytest.raises(IllegalStep, match="closed already"):
        actions.close_correction(
            actor=signe,
            correction_id=correction.pk,
            read_version=correction.row_version,
            words="again",
        )


def test_words_are_put_right_beside_a_picture_that_stays_as_it_is(
    picture: Deliverable, signe: User, oda: User
) -> None:
    before = Deliverable.objects.values().get(pk=picture.pk)
    with pytest.raises(NotAllowed, match="Correcting the words"):
        actions.correct_words(
            actor=oda,
            deliverable_id=picture.pk,
            read_version=picture.row_version,
            says="x",
            why="y",
        )
    made = actions.correct_words(
        actor=signe,
        deliverable_id=picture.pk,
        read_version=picture.row_version,
        says="The lamp stood at the right.",
        why="The card named the wrong side.",
        now=LATER,
    )
    assert made.closed_at == LATER
    assert Deliverable.objects.values().get(pk=picture.pk) == before
    draft = factory.deliverable(picture.object, technique="IR", state="building")
    with pytest.raises(IllegalStep, match="Only an accepted picture"):
        actions.correct_words(
            actor=signe, deliverable_id=draft.pk, read_version=draft.row_version, says="x", why="y"
        )


def test_a_wrong_day_and_a_wrong_object_are_refused_in_words(
    picture: Deliverable, signe: User, oda: User
) -> None:
    with pytest.raises(DomainError, match="only from a day to come"):
        recalled(picture, signe, wrong_since=LATER + hours(1))
    with pytest.raises(DomainError, match="is the one it is filed under"):
        recalled(picture, signe, kind="wrong_target", meant_object_id=picture.object_id)
    picture.refresh_from_db()
    assert picture.state == "accepted"
    assert not Correction.objects.exists()


def test_both_objects_curators_are_told_of_a_picture_filed_under_the_wrong_one(
    picture: Deliverable, signe: User, oda: User
) -> None:
    other = factory.museum_object("AR 0083", "Girl with a Tern")
    matthis = factory.curator("Matthis")
    entry = factory.entry(other)
    entry.curator = matthis
    entry.save()
    correction = recalled(picture, signe, kind="wrong_target", meant_object_id=other.pk)
    assert {each.user for each in correction.notices.all()} == {oda, matthis}
    assert correction.meant_object == other


def test_what_is_restricted_is_handed_to_nobody_from_whom_it_is_kept(
    picture: Deliverable, signe: User, oda: User, client: Client
) -> None:
    old = sealed(picture, signe)
    actions.hand_over(actor=signe, package_id=old.pk, recipient="", user_id=oda.pk, now=NOW)
    actions.hand_over(actor=signe, package_id=old.pk, recipient="Elke Marrun", now=NOW)
    restrict(
        actor=signe,
        object_id=picture.object_id,
        kind="copyright",
        reason="The heirs have not agreed",
        now=NOW,
    )
    with pytest.raises(DomainError, match="Copyright not cleared: The heirs have not agreed"):
        actions.hand_over(actor=signe, package_id=old.pk, recipient="Bo Lind", now=LATER)
    client.force_login(signe)
    page = client.get(reverse("pictures:restrictions", args=[picture.object_id])).content.decode()
    assert f">{old.number}</a>, handed to Oda, Elke Marrun" in page
    made = replaced(old, picture, signe)
    assert [each.recipient for each in made.deliveries.all()] == ["Oda"]
    told = Notice.objects.filter(user=signe).latest("pk").text
    assert "was not handed to Elke Marrun" in told
    assert "The heirs have not agreed" in told


def test_a_replacing_package_goes_to_everybody_who_had_the_old_one(
    picture: Deliverable, signe: User, oda: User
) -> None:
    old = sealed(picture, signe)
    actions.hand_over(actor=signe, package_id=old.pk, recipient="", user_id=oda.pk, now=NOW)
    actions.hand_over(actor=signe, package_id=old.pk, recipient="Elke Marrun", now=NOW)
    with pytest.raises(DomainError, match="has this package already"):
        actions.hand_over(actor=signe, package_id=old.pk, recipient="elke marrun", now=NOW)
    made = replaced(old, picture, signe)
    assert made.replaces == old
    assert [each.recipient for each in made.deliveries.all()] == ["Oda", "Elke Marrun"]
    with pytest.raises(DomainError, match="not a standing package"):
        actions.seal_package(
            actor=signe,
            entry_id=old.entry_id or 0,
            deliverable_ids=[made.items.get().deliverable_id],
            purpose="again",
            replaces_id=old.pk,
            now=LATER,
        )
    own, outside = made.deliveries.all()
    with pytest.raises(NotAllowed, match="The recipient confirms it"):
        actions.confirm_receipt(
            actor=factory.curator("Matthis"), delivery_id=own.pk, read_version=own.row_version
        )
    actions.confirm_receipt(actor=oda, delivery_id=own.pk, read_version=own.row_version, now=LATER)
    with pytest.raises(StaleWrite):
        actions.confirm_receipt(actor=oda, delivery_id=own.pk, read_version=own.row_version)
    actions.confirm_receipt(
        actor=signe, delivery_id=outside.pk, read_version=outside.row_version, words="by telephone"
    )
    assert Delivery.objects.filter(package=made, received_at=None).count() == 0


def test_the_database_keeps_one_open_correction_for_a_picture(
    picture: Deliverable, signe: User, oda: User
) -> None:
    first = recalled(picture, signe)
    with pytest.raises(IntegrityError), transaction.atomic():
        Correction.objects.create(
            deliverable=picture, kind="reshoot", found_by=signe, wrong_since=NOW, why="again"
        )
    assert Correction.objects.get() == first


def test_the_pages_show_and_take_every_step(
    picture: Deliverable, signe: User, oda: User, client: Client
) -> None:
    package = sealed(picture, signe)
    client.force_login(signe)
    page = reverse("deliverables:package", args=[package.pk])
    given = reverse("deliverables:hand_over", args=[package.pk])
    assert client.post(given, {}).status_code == 422
    assert client.post(given, {"user": oda.pk}).status_code == 302
    assert b"not confirmed" not in client.get(page).content
    own = reverse("deliverables:deliverable", args=[picture.pk])
    assert "handed to Oda" in client.get(own).content.decode()
    recall = reverse("deliverables:recall", args=[picture.pk])
    typed = {"read_version": picture.row_version, "reasons": ["join"], "note": "Swapped."}
    refused = client.post(recall, typed | {"meant_number": "AR 9999"})
    assert refused.status_code == 422
    assert "No object has the number AR 9999 now" in refused.content.decode()
    assert client.post(recall, typed).status_code == 302
    correction = Correction.objects.get()
    listed = client.get(reverse("deliverables:corrections")).content.decode()
    assert "1 picture waits to be put right" in listed
    client.force_login(oda)
    address = reverse("deliverables:correction", args=[correction.pk])
    assert "I have read it" in client.get(address).content.decode()
    told = correction.notices.get()
    client.post(reverse("deliverables:correction_confirm", args=[told.pk]))
    told.refresh_from_db()
    assert told.confirmed_at is not None
    assert client.post(address, {"read_version": 1, "words": "done"}).status_code == 422
    client.force_login(signe)
    assert client.post(address, {"read_version": 1, "words": "done"}).status_code == 302
