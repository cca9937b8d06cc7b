"""Joined pictures are proven like masters: in both places, repaired, or made again from them."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables.actions.joins import ask_for_joins
from imaging_requests.deliverables.joined import lost_joins, pictures_that_need, stored_path
from imaging_requests.deliverables.models import Join
from imaging_requests.intake import places, store, tasks
from imaging_requests.intake.actions.made import DERIVED
from imaging_requests.intake.jobs import Outcome, run
from imaging_requests.intake.models import Copy, Job, MadeCopy
from imaging_requests.intake.places import Folder
from imaging_requests.people.models import AuditEvent, Notice, User
from tests import factory
from tests.db.test_deliverables_joins import CUT, place, work_off
from tests.factory import hours
from tests.joining_scene import cut_tiles, scene_size, texture

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


@pytest.fixture(scope="module")
def tiles() -> list[np.ndarray]:
    return cut_tiles(texture(*scene_size(CUT), seed=21), CUT, seed=21)[0]


@pytest.fixture
def joined(stores: Path, tmp_path: Path, tiles: list[np.ndarray]) -> Join:
    """Four plates of an X-ray, joined; keeper and lead are there to be told."""
    factory.rules(), factory.lead(), factory.person("Hale", "keeper")
    session = factory.session(station=factory.station("xray"), by=factory.photographer())
    line: ShotLine = factory.shot_line(
        session,
        factory.museum_object("AR 0082", "Boy with a Tern"),
        "XR",
        "T",
        tiles_across=2,
        tiles_down=2,
        px_per_mm=10,
        expected_files=4,
    )
    place(line, tmp_path / "card", tiles)
    work_off(line)
    Copy.objects.all().delete()
    Notice.objects.all().delete()
    return Join.objects.get()


def file_in(place: str, join: Join) -> Path:
    if place == DERIVED:
        name = next(each["path"] for each in join.pictures if each["kind"] == "inverted")
        return Path(settings.DERIVED_DIR) / name
    folder = store.place(place)
    assert isinstance(folder, Folder)
    return folder.root / stored_path(join)


def spoil(path: Path) -> bytes:
    """Turn one bit over in the middle of a file; return what it was."""
    good = path.read_bytes()
    bad = bytearray(good)
    bad[len(bad) // 2] ^= 1
    path.chmod(0o644)
    path.write_bytes(bytes(bad))
    return good


def sweep() -> dict[str, Any]:
    """Read the made files only: frames of this scene have copies of their own elsewhere tested."""
    out = StringIO()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("imaging_requests.intake.actions.fixity._add_missing", lambda most: iter(()))
        call_command("verify_store", "--json", stdout=out, stderr=StringIO())
    found: dict[str, Any] = json.loads(out.getvalue())
    return found


def join_again() -> Outcome:
    return run(Job.objects.get(kind="join").pk, now=timezone.now() + hours(1))


def page() -> str:
    client = Client()
    client.force_login(User.objects.get(name="Hale"))
    return " ".join(client.get(reverse("intake:store")).content.decode().split())


def test_a_joined_picture_is_kept_with_the_digests_of_all_its_full_files(joined: Join) -> None:
    kept = {copy.place: copy for copy in MadeCopy.objects.all()}
    assert set(kept) == {*store.PLACES, DERIVED}
    assert kept[store.FIRST].sha256 == kept[store.SECOND].sha256 == joined.sha256
    assert kept[DERIVED].name == "inverted joined picture (X-ray of AR 0082)"
    assert sweep()["counts"] == {"good": 3}
    assert "every copy that was read matches" in page()


@pytest.mark.parametrize("where", store.PLACES)
@pytest.mark.parametrize("is_gone", [False, True], ids=["one-bit", "gone"])
def test_a_bad_copy_of_a_joined_picture_is_restored_from_the_other_place(
    joined: Join, where: str, is_gone: bool
) -> None:
    path = file_in(where, joined)
    good = spoil(path)
    if is_gone:
        path.unlink()
    assert sweep()["counts"] == {"good": 2, "repaired": 1}
    assert path.read_bytes() == good
    event = AuditEvent.objects.get(code="intake.made_copy_repaired")
    assert event.after["place"] == where
    assert set(Notice.objects.values_list("user__name", flat=True)) == {"Signe", "Hale"}
    said = page()
    assert "was restored from the" in said
    assert "every copy that was read matches" in said
    assert sweep()["counts"] == {"good": 3}


def test_a_joined_picture_without_a_good_copy_is_made_again_from_its_masters(joined: Join) -> None:
    paths = [file_in(where, joined) for where in store.PLACES]
    good, _ = [spoil(path) for path in paths]
    found = sweep()
    assert found["counts"] == {"good": 1, "made again": 2}
    assert all("being made again from its masters" in each["sentence"] for each in found["trouble"])
    said = page()
    assert "2 copies do not match" in said
    assert "Asked to be made again from its masters" in said
    assert lost_joins() == [joined.deliverable_id]
    assert join_again() is Outcome.DONE
    assert [path.read_bytes() for path in paths] == [good, good]
    assert sweep()["counts"] == {"good": 3}
    assert lost_joins() == []
    assert "every copy that was read matches" in page()


@pytest.mark.parametrize("is_gone", [False, True], ids=["one-bit", "gone"])
def test_a_bad_inverted_file_is_made_again_and_the_joined_one_stays(
    joined: Join, is_gone: bool
) -> None:
    path, master = file_in(DERIVED, joined), file_in(store.FIRST, joined)
    before = master.stat()
    good = spoil(path)
    if is_gone:
        path.unlink()
    assert sweep()["counts"] == {"good": 2, "made again": 1}
    assert join_again() is Outcome.DONE
    assert path.read_bytes() == good
    assert (master.stat().st_ino, master.stat().st_mtime) == (before.st_ino, before.st_mtime)
    assert sweep()["counts"] == {"good": 3}


def test_a_file_made_before_digests_were_kept_is_made_again_once(joined: Join) -> None:
    MadeCopy.objects.filter(place=DERIVED).update(sha256="", is_good=False, verified_at=None)
    assert sweep()["counts"] == {"good": 2, "made again": 1}
    assert join_again() is Outcome.DONE
    assert sweep()["counts"] == {"good": 3}


def test_the_schedule_reads_joined_pictures_and_asks_once_a_day(joined: Join) -> None:
    assert tasks.prove_copies().get("good", 0) == 0, "everything was proven a moment ago"
    MadeCopy.objects.update(verified_at=factory.LONG_AGO)
    for where in store.PLACES:
        spoil(file_in(where, joined))
    counts = tasks.prove_copies()
    assert (counts["good"], counts["made again"]) == (1, 2)
    asked = Notice.objects.filter(text__contains="being made again").count()
    assert "made again" not in tasks.prove_copies()
    assert Notice.objects.filter(text__contains="being made again").count() == asked
    MadeCopy.objects.filter(is_good=False).update(asked_at=timezone.now() - timedelta(days=2))
    assert tasks.prove_copies()["made again"] == 2


def test_a_joining_that_cannot_be_made_again_says_so_and_keeps_what_it_was(joined: Join) -> None:
    for where in store.PLACES:
        spoil(file_in(where, joined))
        folder = store.place(where)
        assert isinstance(folder, Folder)
        for sha256, *_ in joined.ingredients["plates"]:
            next(folder.root.rglob(f"{sha256}.tif")).unlink()
    assert sweep()["counts"] == {"good": 1, "made again": 2}
    assert join_again() is Outcome.LATER
    assert "Neither copy of plate-01.tif can be opened" in Job.objects.get(kind="join").last_error
    assert Join.objects.get().verdict == Join.Verdict.JOINED


def test_a_file_that_nothing_shows_any_more_is_dropped_from_the_round(joined: Join) -> None:
    assert pictures_that_need(stored_path(joined)) == [joined.deliverable_id]
    Join.objects.filter(pk=joined.pk).update(sha256="f" * 64)
    for where in store.PLACES:
        spoil(file_in(where, joined))
    found = sweep()
    assert found["counts"] == {"good": 1, "dropped": 2}
    assert "Its masters are kept" in found["trouble"][0]["sentence"]
    assert sweep()["counts"] == {"good": 1}


def test_other_bytes_of_the_same_recipe_take_the_place_of_the_lost_ones(joined: Join) -> None:
    """As on a machine with another library: the row follows the file and the trail says so."""
    right = joined.sha256
    Join.objects.filter(pk=joined.pk).update(sha256="0" * 64)
    MadeCopy.objects.filter(sha256=right).update(
        path=f"00/00/{'0' * 64}.tif", sha256="0" * 64, is_good=False, asked_at=timezone.now()
    )
    ask_for_joins([joined.deliverable_id])
    assert join_again() is Outcome.DONE
    assert Join.objects.get().sha256 == right
    event = AuditEvent.objects.get(code="deliverables.joined_anew")
    assert (event.after["from"], event.after["sha256"]) == ("0" * 64, right)
    assert set(MadeCopy.objects.values_list("path", flat=True)) == {
        stored_path(Join.objects.get()),
        str(file_in(DERIVED, joined).relative_to(settings.DERIVED_DIR)),
    }


def test_a_store_whose_folder_is_gone_is_said_and_no_page_breaks(
    joined: Join, settings: Any, tmp_path: Path
) -> None:
    settings.SECOND_STORE_DIR = tmp_path / "not-mounted"
    assert "The disk of the second copy is not mounted at" in page()
    assert "Store: second copy cannot be reached" in page()
    assert "every copy that was read matches" not in page()
    assert store.free_bytes().keys() == {store.FIRST}
    assert store.share_one_disk() is False


@pytest.mark.parametrize("where", ["store", "derived", "scratch"])
def test_a_disk_that_takes_no_joined_picture_is_said_and_the_tiles_are_joined_afterwards(
    joined: Join, monkeypatch: pytest.MonkeyPatch, settings: Any, where: str
) -> None:
    """Nothing was joined yet; then the disk is full at one place after the other."""
    row = joined.deliverable
    MadeCopy.objects.all().delete()
    Join.objects.all().delete()
    for each in store.PLACES:
        file_in(each, joined).unlink()

    def full(*_: Any, **__: Any) -> Any:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        if where == "store":
            patch.setattr(places, "hash_stream", full)
        elif where == "derived":
            patch.setattr("imaging_requests.deliverables.joins_work.os.replace", full)
            file_in(DERIVED, joined).unlink()
        else:
            settings.DERIVED_DIR = Path("/dev/null") / "derived"
        ask_for_joins([row.pk])
        assert join_again() is Outcome.LATER
        said = Job.objects.get(kind="join").last_error
        assert "the tiles are safe" in said.lower()
        assert ("disk is full" in said) is (where != "scratch"), said
    settings.DERIVED_DIR = Path(settings.STORE_DIR).parent / "derived"
    assert not Join.objects.exists(), "a full disk is no answer to the tiles"
    assert join_again() is Outcome.DONE
    assert Join.objects.get().sha256 == joined.sha256
    assert sweep()["counts"] == {"good": 3}


def test_a_tile_that_rotted_in_the_store_is_restored_and_the_tiles_are_joined(
    joined: Join,
) -> None:
    Join.objects.all().delete()
    sha256 = joined.ingredients["plates"][2][0]
    folder = store.place(store.FIRST)
    assert isinstance(folder, Folder)
    path = folder.path_of(places.Key(sha256, "tif"))
    good = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(good[: len(good) // 2])
    ask_for_joins([joined.deliverable_id])
    assert join_again() is Outcome.LATER
    said = Job.objects.get(kind="join").last_error
    assert "plate-03.tif did not match any more. It was restored from the second copy" in said
    assert path.read_bytes() == good
    assert join_again() is Outcome.DONE
    assert Join.objects.get().verdict == Join.Verdict.JOINED


def test_a_tile_that_came_broken_is_named_as_the_photographer_knows_it(
    stores: Path, tmp_path: Path, tiles: list[np.ndarray]
) -> None:
    """One bit of a packed strip is wrong since before it came: an answer, not a joining."""
    factory.rules()
    session = factory.session(station=factory.station("xray"), by=factory.photographer())
    line = factory.shot_line(
        session, factory.museum_object("AR 0082", "Boy with a Tern"), "XR", "T",
        tiles_across=2, tiles_down=2, px_per_mm=10, expected_files=4,
    )  # fmt: skip
    folder = tmp_path / "card"
    folder.mkdir()
    for number, plate in enumerate(tiles):
        path = folder / f"plate-{number + 1:02d}.tif"
        tifffile.imwrite(path, plate, compression="zlib", rowsperstrip=16)
        if number == 1:
            with tifffile.TiffFile(path) as opened:
                page = opened.pages[0]
                at = page.dataoffsets[7] + page.databytecounts[7] // 2
            spoilt = bytearray(path.read_bytes())
            spoilt[at] ^= 4
            path.write_bytes(bytes(spoilt))
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        store.put(path, sha256=sha256, extension="tif")
        factory.frame(
            line, sha256=sha256, first_name=path.name, tile_x=number % 2, tile_y=number // 2
        )
    work_off(line)
    made = Join.objects.get()
    assert made.verdict == Join.Verdict.NOT_JOINED
    assert made.sentence.startswith("Tile 2 (plate-02.tif) cannot be read to its end.")
