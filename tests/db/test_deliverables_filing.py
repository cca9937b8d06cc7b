"""Filing: what of an entry is ready, missing and why, and sealed packages with their manifest."""

from __future__ import annotations

from typing import Any

import pytest

from imaging_requests.collection.models import CollectionObject, Entry, StaleMark
from imaging_requests.deliverables import actions, filing, naming
from imaging_requests.deliverables.models import Deliverable, Package
from imaging_requests.intake.models import Copy
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import User
from tests import factory
from tests.factory import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0106", "The Ferry Strike")


@pytest.fixture
def entry(obj: CollectionObject) -> Entry:
    return factory.entry(obj, number="36", title="The Ferry Strike")


def picture(
    obj: CollectionObject, technique: str = "UV", *, places: int = 2, **more: Any
) -> Deliverable:
    frames = [factory.frame(size_bytes=1000 + n) for n in range(more.pop("frames", 1))]
    for tile, frame in enumerate(frames):
        frame.tile_x = tile
    factory.proven(frames, ("store", "second", "third")[:places])
    return factory.deliverable(obj, technique, frames=frames, **more)


def seal(entry: Entry, by: User, *rows: Deliverable, purpose: str = "") -> Package:
    return actions.seal_package(
        actor=by,
        entry_id=entry.pk,
        deliverable_ids=[row.pk for row in rows],
        purpose=purpose,
        now=NOW,
    )


def test_accepted_pictures_proven_in_two_places_are_ready(
    entry: Entry, obj: CollectionObject, signe: User
) -> None:
    ready = picture(obj, "UV", frames=2)
    waiting = picture(obj, "VF", places=1, frames=2)
    picture(obj, "IR", state="to_review")
    elsewhere = picture(factory.museum_object(), "UV")
    sheet = filing.sheet_of(entry.pk, NOW)
    assert [line.deliverable for line in sheet.ready] == [ready]
    assert [(line.deliverable, line.because) for line in sheet.waiting] == [
        (waiting, "2 of 2 frames have fewer than 2 proven copies.")
    ]
    assert elsewhere not in [line.deliverable for line in (*sheet.ready, *sheet.waiting)]
    package = actions.file_accepted(actor=signe, entry_id=entry.pk, now=NOW)
    assert [item.deliverable for item in package.items.all()] == [ready]
    after = filing.sheet_of(entry.pk, NOW)
    assert (after.ready, [line.packages for line in after.filed]) == ((), [(package.number,)])
    with pytest.raises(DomainError, match="There is no picture to seal"):
        actions.file_accepted(actor=signe, entry_id=entry.pk, now=NOW)


@pytest.mark.parametrize("change", [{"is_good": False}, {"verified_at": None}])
def test_a_copy_that_is_not_proven_does_not_count(
    entry: Entry, obj: CollectionObject, change: dict[str, Any]
) -> None:
    row = picture(obj, frames=3)
    seat = row.deliverable_frames.order_by("pk")[1]
    Copy.objects.filter(frame=seat.frame, place="second").update(**change)
    (line,) = filing.sheet_of(entry.pk, NOW).waiting
    assert line.because == "1 of 3 frames has fewer than 2 proven copies."


def test_what_is_not_ready_is_refused_with_its_reason(
    entry: Entry, obj: CollectionObject, signe: User
) -> None:
    ready = picture(obj, "UV")
    with pytest.raises(DomainError, match="of AR 0106 cannot be sealed: 1 of 1 frames has"):
        seal(entry, signe, picture(obj, "UV", places=1, variant="x"), ready)
    with pytest.raises(DomainError, match="cannot be sealed: it is recalled"):
        seal(entry, signe, picture(obj, "VF", state="recalled"))
    with pytest.raises(DomainError, match="its object is not in entry 36"):
        seal(entry, signe, picture(factory.museum_object(), "UV"))
    with pytest.raises(DomainError, match="There is no picture to seal"):
        seal(entry, signe)
    assert not Package.objects.exists()
    seal(entry, signe, ready)


def test_a_form_sent_twice_makes_one_package(
    entry: Entry, obj: CollectionObject, signe: User
) -> None:
    row = picture(obj)
    first = seal(entry, signe, row)
    with pytest.raises(DomainError, match=f"lies in package {first.number} for the same purpose"):
        seal(entry, signe, row)
    seal(entry, signe, row, purpose="for the printer")


@pytest.mark.parametrize("role", ["curator", "conservator", "photographer", "head", "keeper"])
def test_only_the_lead_seals(entry: Entry, obj: CollectionObject, role: str) -> None:
    row = picture(obj)
    with pytest.raises(NotAllowed, match="Sealing a package is for the imaging lead"):
        seal(entry, factory.person("Other", role), row)


def test_a_manifest_names_every_file_and_every_gap(
    entry: Entry, obj: CollectionObject, signe: User
) -> None:
    factory.owed_view(obj, "UV", demanded_by=entry)
    factory.owed_view(obj, "IR", demanded_by=entry)
    factory.owed_view(obj, "XR", "T", demanded_by=entry)
    factory.owed_view(obj, "VF", "B")
    picture(obj, "IR", state="sent_back")
    row = picture(obj, "UV", frames=2)
    package = seal(entry, signe, row, purpose="figures 12 and 13")
    manifest = package.manifest
    assert (manifest["package"], manifest["purpose"]) == (package.number, "figures 12 and 13")
    assert manifest["entry"] == "36 The Ferry Strike"
    frames = [seat.frame for seat in row.deliverable_frames.order_by("tile_x")]
    assert [(f["sha256"], f["size_bytes"], f["original_name"]) for f in manifest["files"]] == [
        (frame.sha256, frame.size_bytes, frame.first_name) for frame in frames
    ]
    assert manifest["files"][1]["name"] == "AR-0106_F1_UV_CUR_20250901_t02_p0_v01_master.tif"
    assert manifest["missing"] == [
        {
            "object": "AR 0106",
            "view": "Infrared of the front",
            "because": "sent back, to be done again",
        },
        {"object": "AR 0106", "view": "X-ray", "because": "no picture yet"},
    ]
    package.refresh_from_db()
    assert package.manifest_sha256 == naming.manifest_sha256(package.manifest)
    assert package.sealed_at == NOW
    assert StaleMark.objects.filter(object=obj, reason="deliverables.package_sealed").exists()


def test_names_of_files_in_a_package_are_all_different(
    entry: Entry, obj: CollectionObject, signe: User
) -> None:
    rows = [picture(obj, technique, frames=3) for technique in ("UV", "VF", "IR")]
    names = [file["name"] for file in seal(entry, signe, *rows).manifest["files"]]
    assert len(set(names)) == 9


def test_packages_are_numbered_one_after_another(
    entry: Entry, obj: CollectionObject, signe: User
) -> None:
    one = seal(entry, signe, picture(obj, "UV"))
    two = seal(entry, signe, picture(obj, "VF"))
    assert one.number != two.number
    assert (one.number[0], one.purpose) == ("P", "Entry 36, The Ferry Strike")


def test_the_sheet_asks_the_database_a_fixed_number_of_times(
    entry: Entry, obj: CollectionObject, django_assert_num_queries: Any
) -> None:
    picture(obj, "UV")
    factory.owed_view(obj, "UV", demanded_by=entry)
    with django_assert_num_queries(9):
        filing.sheet_of(entry.pk, NOW)
    for technique in ("VF", "VC", "IR"):
        picture(obj, technique)
        factory.owed_view(obj, technique, demanded_by=entry)
        factory.owed_view(obj, technique, "B", demanded_by=entry)
    with django_assert_num_queries(9):
        filing.sheet_of(entry.pk, NOW)
