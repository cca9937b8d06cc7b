"""Masters lie in two places, are never replaced, and are believed only after being read back."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from imaging_requests.intake import jobs, places, quarantine, queries, store
from imaging_requests.intake.actions.receiving import tidy_quarantine
from imaging_requests.intake.checks import check_places
from imaging_requests.intake.models import Arrival, ArrivalState, Copy, Frame, Job
from imaging_requests.intake.pages_receipt import receipt_of
from imaging_requests.intake.rules import may_format
from imaging_requests.people.models import AuditEvent, Notice, User
from tests import factory
from tests.intake_scene import bring, far_future, frame_of, open_drop, settle, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]
DATA = b"exactly these bytes " * 5000
SHA = hashlib.sha256(DATA).hexdigest()


def root(place: str) -> Path:
    folder = store.place(place)
    assert isinstance(folder, places.Folder)
    return folder.root


def path_of(place: str, sha256: str, extension: str) -> Path:
    return root(place) / places.Key(sha256, extension).path


def part(data: bytes = DATA) -> Path:
    path = quarantine.part_path(uuid4())
    path.write_bytes(data)
    return path


def paths(sha256: str = SHA, extension: str = "tif") -> list[Path]:
    return [path_of(place, sha256, extension) for place in store.PLACES]


def leftovers(root: Path) -> list[str]:
    """Everything in the stores that is no master."""
    return [str(path) for path in root.rglob("*.part")]


def test_a_master_lies_under_its_digest_in_both_places_and_cannot_be_written(
    stores: Path,
) -> None:
    store.put(part(), sha256=SHA, extension="tif")
    for path in paths():
        assert path.relative_to(path.parents[2]).as_posix() == f"{SHA[:2]}/{SHA[2:4]}/{SHA}.tif"
        assert path.read_bytes() == DATA
        assert stat.S_IMODE(path.stat().st_mode) == 0o444
    assert paths()[0].stat().st_ino != paths()[1].stat().st_ino, "two copies, not one file twice"


def test_putting_twice_changes_nothing(stores: Path) -> None:
    first = part()
    store.put(first, sha256=SHA, extension="tif")
    before = [path.stat().st_mtime_ns for path in paths()]
    store.put(first, sha256=SHA, extension="tif")
    store.put(part(), sha256=SHA, extension="tif")
    assert [path.stat().st_mtime_ns for path in paths()] == before


def test_a_master_is_never_replaced_by_other_bytes(stores: Path) -> None:
    store.put(part(), sha256=SHA, extension="tif")
    with pytest.raises(store.NotTheSameError):
        store.place(store.FIRST).write(places.Key(SHA, "tif"), [b"others"])
    assert paths()[0].read_bytes() == DATA
    assert leftovers(stores / "store" / SHA[:2]) == []


def test_a_bad_copy_in_the_way_is_kept_aside_and_replaced(stores: Path) -> None:
    store.put(part(), sha256=SHA, extension="tif")
    for path in paths():
        path.chmod(0o644)
        path.write_bytes(b"rotten")
    store.put(part(), sha256=SHA, extension="tif")
    assert [path.read_bytes() for path in paths()] == [DATA, DATA]
    for place in store.PLACES:
        kept = list((root(place) / places.DAMAGED).iterdir())
        assert [path.read_bytes() for path in kept] == [b"rotten"]


class FullAfter:
    """Replaces the copying writer: takes some chunks, then the disk is full."""

    def __init__(self, chunks: int) -> None:
        self.left = chunks

    def __call__(self, source: Any, *, into: Any) -> None:
        for chunk in source:
            self.left -= 1
            if self.left < 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            into.write(chunk)


def test_a_full_second_disk_leaves_nothing_half_stored_and_loses_nothing(
    stores: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drop = open_drop(factory.photographer())
    arrival = bring(drop, "A.tif", tiff(1, at=factory.NOW))
    with monkeypatch.context() as full:
        full.setattr(places, "hash_stream", FullAfter(chunks=0))
        jobs.run_due()
        arrival.refresh_from_db()
        assert arrival.state == ArrivalState.RECEIVED
        assert not Frame.objects.exists()
        assert not Copy.objects.exists()
        job = Job.objects.get(kind="receive")
        assert "The second copy at" in job.last_error
        assert "its disk is full" in job.last_error
        assert "safe in quarantine" in job.last_error
        assert leftovers(stores / "second") == []
    jobs.run_due(now=far_future())
    assert frame_of(arrival).copies.filter(is_good=True).count() == 2


def test_a_disk_that_stays_full_is_told_beside_the_file_and_tried_again_by_a_person(
    stores: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from imaging_requests.intake import actions, queries

    amaro = factory.photographer()
    drop = open_drop(amaro)
    arrival = bring(drop, "A.tif", tiff(1, at=factory.NOW))
    with monkeypatch.context() as full:
        full.setattr(places, "hash_stream", FullAfter(chunks=0))
        settle()
    arrival.refresh_from_db()
    assert arrival.state == ArrivalState.RECEIVED
    assert "its disk is full" in arrival.answer
    failed = queries.failed_jobs(drop_id=drop.pk).get()
    actions.ask_again(actor=amaro, job_id=failed.pk)
    settle()
    assert frame_of(arrival).copies.filter(is_good=True).count() == 2


def test_a_crash_after_the_answer_leaves_a_part_that_the_sweep_takes_away(stores: Path) -> None:
    drop = open_drop(factory.photographer())
    stored = bring(drop, "A.tif", tiff(1, at=factory.NOW))
    refused = bring(drop, "B.tif", b"no picture at all, only words")
    settle()
    for arrival in (stored, refused):
        assert quarantine.part_path(arrival.token).exists(), "on_commit does not run in a test"
    arriving = Arrival.objects.create(drop=drop, name="C.tif", size_bytes=10)
    quarantine.part_path(arriving.token).write_bytes(b"abc")
    assert tidy_quarantine() == 2
    assert not quarantine.part_path(stored.token).exists()
    assert quarantine.refused_path(refused.token).read_bytes().startswith(b"no picture")
    assert quarantine.part_path(arriving.token).read_bytes() == b"abc"


# The sweep of the store


@pytest.fixture
def frame(stores: Path) -> Frame:
    arrival = bring(open_drop(factory.photographer()), "A.tif", tiff(1, at=factory.NOW))
    settle()
    return frame_of(arrival)


@pytest.fixture
def people() -> Iterator[dict[str, User]]:
    return {
        "head": factory.head(),
        "lead": factory.lead(),
        "keeper": factory.person("Hale", "keeper"),
        "curator": factory.curator(),
    }


def spoil(frame: Frame, place: str) -> Path:
    path = path_of(place, frame.sha256, frame.extension)
    path.chmod(0o644)
    with open(path, "r+b") as file:
        file.seek(1000)
        file.write(b"\x00\xff\x00\xff")
    return path


def sweep(*options: str) -> str:
    out = StringIO()
    call_command("verify_store", *options, stdout=out, stderr=out)
    return out.getvalue()


def test_good_copies_are_proven_anew(frame: Frame) -> None:
    Copy.objects.update(verified_at=factory.LONG_AGO)
    assert sweep() == "2 copies read: 2 good, 0 repaired, 0 lost.\n"
    assert all(copy.verified_at > factory.NOW for copy in frame.copies.all())


@pytest.mark.parametrize("place", store.PLACES)
@pytest.mark.parametrize("is_gone", [False, True], ids=["rotten", "gone"])
def test_a_bad_copy_is_restored_from_the_good_one(
    frame: Frame, people: dict[str, User], place: str, is_gone: bool
) -> None:
    path = spoil(frame, place)
    if is_gone:
        path.unlink()
    answer = json.loads(sweep("--json"))
    assert answer["counts"] == {"good": 1, "repaired": 1}
    assert store.is_good(place, frame.sha256, frame.extension)
    assert frame.copies.filter(is_good=True).count() == 2
    event = AuditEvent.objects.get(code="intake.copy_repaired")
    assert event.after == {"place": place, "sha256": frame.sha256}
    told = set(Notice.objects.values_list("user__name", flat=True))
    assert told == {"Corvin", "Signe", "Hale"}
    assert "was restored from the" in Notice.objects.first().text  # type: ignore[union-attr]
    kept = list((root(place) / places.DAMAGED).glob("*"))
    assert len(kept) == (0 if is_gone else 1), "a bad copy is kept for a person"
    assert sweep() == "2 copies read: 2 good, 0 repaired, 0 lost.\n"


@pytest.mark.parametrize(
    "options",
    [
        ("--older-than-days", "nan"),
        ("--older-than-days", "1e12"),
        ("--older-than-days=-1",),
        ("--older-than-days", "inf"),
        ("--most=-1",),
    ],
)
def test_numbers_that_count_nothing_are_refused_in_words(
    frame: Frame, options: tuple[str, ...]
) -> None:
    with pytest.raises(CommandError, match=r"is no number of .*or leave it out to read all"):
        sweep(*options)


def test_two_bad_copies_raise_an_alarm_and_the_same_bytes_heal_both(
    frame: Frame, people: dict[str, User]
) -> None:
    for place in store.PLACES:
        spoil(frame, place)
    with pytest.raises(CommandError, match="2 copies could not be repaired"):
        sweep()
    assert frame.copies.filter(is_good=False).count() == 2
    again = bring(open_drop(User.objects.get(name="Amaro")), "B.tif", tiff(1, at=factory.NOW))
    settle()
    again.refresh_from_db()
    assert again.state == ArrivalState.ALREADY_HERE
    assert frame.copies.filter(is_good=True).count() == 2
    assert sweep() == "2 copies read: 2 good, 0 repaired, 0 lost.\n"


def test_a_copy_that_was_never_made_is_made(frame: Frame, people: dict[str, User]) -> None:
    Copy.objects.filter(place=store.SECOND).delete()
    path_of(store.SECOND, frame.sha256, frame.extension).unlink()
    assert sweep().endswith("2 copies read: 1 good, 1 repaired, 0 lost.\n")
    assert frame.copies.filter(is_good=True).count() == 2


def test_scratch_copies_of_killed_processes_are_swept_away_but_not_those_under_way(
    frame: Frame,
) -> None:
    folder = path_of(store.SECOND, frame.sha256, frame.extension).parent
    old, young = folder / f".{uuid4()}.part", folder / f".{uuid4()}.part"
    for scratch in (old, young):
        scratch.write_bytes(b"half")
    os.utime(old, (0, 0))
    sweep()
    assert (old.exists(), young.exists()) == (False, True)
    assert store.is_good(store.SECOND, frame.sha256, frame.extension)


# A disk that is not mounted


@pytest.fixture
def unmounted(frame: Frame, stores: Path) -> Path:
    """The disk of the second copy is taken away; the empty folder where it belongs stays."""
    (stores / "second").rename(stores / "disk")
    (stores / "second").mkdir()
    return stores


def test_nothing_is_written_to_the_empty_folder_of_a_disk_that_is_not_mounted(
    unmounted: Path,
) -> None:
    drop = open_drop(User.objects.get(name="Amaro"))
    arrival = bring(drop, "B.tif", tiff(2, at=factory.NOW))
    jobs.run_due()
    arrival.refresh_from_db()
    assert arrival.state == ArrivalState.RECEIVED
    said = Job.objects.get(kind="receive", subject_id=arrival.pk).last_error
    assert "The disk of the second copy is not mounted" in said
    assert "stays safe in quarantine" in said
    assert list((unmounted / "second").iterdir()) == []
    (unmounted / "second").rmdir()
    (unmounted / "disk").rename(unmounted / "second")
    jobs.run_due(now=far_future())
    assert frame_of(arrival).copies.filter(is_good=True).count() == 2


def test_copies_on_a_disk_that_is_not_mounted_are_not_called_lost(
    unmounted: Path, frame: Frame, people: dict[str, User]
) -> None:
    before = set(frame.copies.values_list("place", "is_good", "first_verified_at"))
    with pytest.raises(CommandError, match="One place could not be read at all"):
        sweep()
    assert set(frame.copies.values_list("place", "is_good", "first_verified_at")) == before
    assert not AuditEvent.objects.filter(code__startswith="intake.copy_").exists()
    assert list((unmounted / "second").iterdir()) == []
    assert store.is_there(store.FIRST)
    assert not store.is_there(store.SECOND)


def test_a_new_disk_is_filled_from_the_other_place(unmounted: Path, frame: Frame) -> None:
    said = sweep("--new-disk", store.SECOND)
    assert said.endswith("2 copies read: 1 good, 1 repaired, 0 lost.\n")
    assert store.is_good(store.SECOND, frame.sha256, frame.extension)
    assert store.is_there(store.SECOND)


def test_a_restored_disk_without_its_mark_is_known_by_what_it_holds(
    frame: Frame, stores: Path
) -> None:
    (stores / "second" / places.MARK).unlink()
    assert sweep() == "2 copies read: 2 good, 0 repaired, 0 lost.\n"
    assert (stores / "second" / places.MARK).is_file()


def test_one_folder_under_two_names_is_one_place(
    frame: Frame, stores: Path, settings: Any, people: dict[str, User]
) -> None:
    link = stores / "elsewhere"
    link.symlink_to(settings.STORE_DIR)
    settings.SECOND_STORE_DIR = link
    (found,) = check_places()
    assert "one and the same folder" in found.msg
    drop = frame.arrivals.get().drop
    card = may_format(queries.count_of(drop.pk))
    assert "1 file not proven in two places" in card.sentence
    assert [place.proven for place in receipt_of(drop).places] == [1, 0]
    arrival = bring(drop, "late.tif", tiff(8, at=factory.NOW))
    jobs.run_due()
    arrival.refresh_from_db()
    assert arrival.state == ArrivalState.RECEIVED, "it waits in quarantine"
    assert "one and the same folder" in Job.objects.get(subject_id=arrival.pk).last_error


def test_disks_in_each_others_place_are_told_by_their_marks(
    frame: Frame, stores: Path, settings: Any
) -> None:
    assert check_places() == []
    first, second = settings.STORE_DIR, settings.SECOND_STORE_DIR
    settings.STORE_DIR, settings.SECOND_STORE_DIR = second, first
    found = check_places()
    assert len(found) == 2
    assert "says: “This folder is the second copy of the imaging requests.”" in found[0].msg
    with pytest.raises(store.StoreError, match="in each other's place"):
        store.place(store.FIRST)
    with pytest.raises(CommandError, match="in each other's place"):
        sweep("--new-disk", store.SECOND)
    assert not store.is_there(store.SECOND)


def test_the_sweep_may_be_cut_into_nights(frame: Frame) -> None:
    first, second = frame.copies.order_by("pk")
    Copy.objects.filter(pk=first.pk).update(verified_at=timezone.now())
    Copy.objects.filter(pk=second.pk).update(verified_at=factory.LONG_AGO)
    assert sweep("--older-than-days", "1").startswith("1 copies read")
    assert sweep("--most", "1").startswith("1 copies read")
