"""Periodic upkeep: copies proven in portions, statuses proven daily, pictures made again."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.utils import timezone

from imaging_requests.config.celery import SWEEPS
from imaging_requests.intake import places, store, tasks
from imaging_requests.intake.actions import fixity
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Copy, Derivative, Frame, FrameState
from imaging_requests.people.models import Notice
from imaging_requests.progress.balance import Imbalance
from imaging_requests.progress.proof import Proof, prove_statuses
from imaging_requests.progress.settle import Difference
from tests import factory
from tests.intake_scene import bring, frame_of, open_drop, settle, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def frames(stores: Path) -> list[Frame]:
    drop = open_drop(factory.photographer())
    arrivals = [bring(drop, f"{seed}.tif", tiff(seed, at=factory.NOW)) for seed in range(3)]
    settle()
    return [frame_of(arrival) for arrival in arrivals]


def told() -> set[tuple[str, str]]:
    return set(Notice.objects.values_list("user__name", "text"))


def portion(monkeypatch: pytest.MonkeyPatch, **numbers: Any) -> None:
    changed = replace(background(), **numbers)
    monkeypatch.setattr(fixity, "background", lambda: changed)


def test_a_portion_reads_what_was_proven_longest_ago_and_no_more_than_its_bytes(
    frames: list[Frame], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert tasks.prove_copies() == {}, "everything was proven a moment ago"
    Copy.objects.update(verified_at=factory.LONG_AGO)
    portion(monkeypatch, proof_portion_bytes=frames[0].size_bytes + 1)
    seen = [tasks.prove_copies() for _ in range(4)]
    assert seen == [{"good": 2}, {"good": 2}, {"good": 2}, {}]
    assert not Copy.objects.filter(verified_at__lt=timezone.now() - timedelta(days=1)).exists()


def test_a_portion_ends_in_time_but_never_stands_still(
    frames: list[Frame], monkeypatch: pytest.MonkeyPatch
) -> None:
    Copy.objects.update(verified_at=factory.LONG_AGO)
    portion(monkeypatch, proof_portion_s=-1.0)
    assert tasks.prove_copies() == {"good": 1}


def test_a_portion_repairs_and_tells(frames: list[Frame]) -> None:
    factory.lead(), factory.person("Hale", "keeper")
    Copy.objects.update(verified_at=factory.LONG_AGO)
    path = Path(settings.SECOND_STORE_DIR) / places.Key(frames[1].sha256, "tif").path
    path.chmod(0o644)
    path.write_bytes(b"rotten")
    assert tasks.prove_copies() == {"good": 5, "repaired": 1}
    assert {name for name, text in told() if "1.tif" in text} == {"Signe", "Hale"}


def test_a_silent_place_is_told_once_a_day(
    frames: list[Frame], monkeypatch: pytest.MonkeyPatch
) -> None:
    factory.lead(), factory.person("Hale", "keeper")
    Copy.objects.update(verified_at=factory.LONG_AGO)

    def silent(name: str, sha256: str, extension: str) -> bool:
        raise store.StoreError("The disk does not answer.")

    monkeypatch.setattr(store, "is_good", silent)
    for _ in range(2):
        assert tasks.prove_copies() == {"unread": 2}
    assert Notice.objects.count() == 4, "two places, two people, once"
    assert Copy.objects.filter(verified_at=factory.LONG_AGO, is_good=True).count() == 6


def test_the_sweeps_are_scheduled() -> None:
    scheduled = {sweep["task"] for sweep in SWEEPS.values()}
    assert {"intake.prove_copies", "progress.prove"} <= scheduled


# The daily proof of the statuses


def test_a_good_proof_is_told_to_keeper_and_lead_only(db: None) -> None:
    factory.lead(), factory.person("Hale", "keeper"), factory.curator()
    assert prove_statuses().is_good
    assert {name for name, _ in told()} == {"Signe", "Hale"}
    assert all("found every stored status equal" in text for _, text in told())


def test_a_difference_is_told_and_not_repaired(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    factory.person("Hale", "keeper")
    planted = [Difference(7, 11, "accepted", "owed")] * 7
    monkeypatch.setattr("imaging_requests.progress.proof.verify", lambda: planted)
    monkeypatch.setattr(
        "imaging_requests.progress.proof.imbalances", lambda now: [Imbalance("12", 3, 4)]
    )
    assert not prove_statuses().is_good
    ((_, text),) = told()
    assert "8 stored statuses that differ" in text
    assert "object 7, view 11: accepted instead of owed" in text
    assert "and 3 more" in text
    assert Proof((), ()).is_good


# Pictures made again


def rebuild(*options: str) -> dict[str, int]:
    out = StringIO()
    call_command("rebuild_derivatives", "--json", *options, stdout=out)
    found: dict[str, int] = json.loads(out.getvalue())
    return found


def derived_files() -> dict[str, int]:
    folder = Path(settings.DERIVED_DIR)
    return {
        str(path.relative_to(folder)): path.stat().st_size
        for path in folder.rglob("*")
        if path.is_file() and path.suffix != ".json"
    }


def test_deleted_pictures_are_made_again_under_the_same_names(frames: list[Frame]) -> None:
    before, rows = derived_files(), set(Derivative.objects.values_list("frame", "kind", "path"))
    states = set(Frame.objects.values_list("pk", "state"))
    assert len(before) == 9
    assert rebuild() == {"masters": 0, "done": 0, "failed": 0}
    shutil.rmtree(settings.DERIVED_DIR)
    assert rebuild("--dry-run")["masters"] == 3
    assert derived_files() == {}
    assert rebuild()["masters"] == 3
    settle()
    assert derived_files() == before
    assert set(Derivative.objects.values_list("frame", "kind", "path")) == rows
    assert set(Frame.objects.values_list("pk", "state")) == states


def test_one_deleted_picture_asks_for_one_master(frames: list[Frame]) -> None:
    one = Derivative.objects.filter(frame=frames[1], kind="256").get()
    (Path(settings.DERIVED_DIR) / one.path).unlink()
    assert rebuild()["masters"] == 1
    assert (Path(settings.DERIVED_DIR) / one.path).is_file()


def test_a_changed_recipe_asks_for_all_and_placed_frames_stay(frames: list[Frame]) -> None:
    Derivative.objects.update(recipe="0" * 20)
    Frame.objects.filter(pk=frames[0].pk).update(state=FrameState.SET_ASIDE)
    assert rebuild()["masters"] == 3
    settle()
    assert rebuild()["masters"] == 0
    assert Frame.objects.get(pk=frames[0].pk).state == FrameState.SET_ASIDE
