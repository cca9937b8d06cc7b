"""What was filed on a past day stays so, however often copies are proven again or found bad."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib import import_module
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.db import IntegrityError
from django.utils import timezone

from imaging_requests.collection.models import StaleMark
from imaging_requests.intake import places, store
from imaging_requests.intake.actions import proving
from imaging_requests.intake.actions.fixity import check_store
from imaging_requests.intake.models import Copy, CopyLapse, Frame, FrameState
from imaging_requests.people import audit
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.gather.filings import Turn, filed_spans
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.rules import derive_object
from imaging_requests.requesting.models import Demand, OwedView
from tests import factory, progress_scene
from tests.intake_scene import bring, frame_of, open_drop, settle, tiff

HOUR = timedelta(hours=1)
T = factory.NOW


@dataclass(frozen=True)
class Scene:
    """UV of the front, in a sealed package; its master was proven when it came and never since."""

    view: OwedView
    frame: Frame
    proven_at: datetime
    filed_at: datetime

    def status(self, at: datetime, *, known_at: datetime | None = None) -> str:
        pk = self.view.object_id
        derived = derive_object(
            gather_cases([pk])[pk],
            speech=speech_for([pk]),
            now=at,
            known_at=known_at or timezone.now(),
        )
        (found,) = (each for each in derived.views if each.view_key == str(self.view.pk))
        return str(found.status)

    @property
    def is_marked(self) -> bool:
        return StaleMark.objects.filter(object=self.view.object_id).exists()


@pytest.fixture
def scene(db: None, stores: Path) -> Scene:
    factory.rules()
    signe = factory.lead()
    thing = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.entry(thing)
    filed_at = timezone.now() - timedelta(days=50)
    proven_at = filed_at - timedelta(days=3)
    progress_scene.derive(proven_at - timedelta(days=100))
    Demand.objects.update(since=proven_at - timedelta(days=100))
    view = OwedView.objects.get(object=thing, technique="UV", face="F")
    arrival = bring(open_drop(factory.photographer()), "1.tif", tiff(1, at=T))
    settle()
    frame = frame_of(arrival)
    line = factory.shot_line(factory.session(), thing, meets=[view])
    Frame.objects.filter(pk=frame.pk).update(state=FrameState.PLACED, shot_line=line)
    Copy.objects.update(first_verified_at=proven_at, verified_at=proven_at, written_at=proven_at)
    made = progress_scene.picture(view, proven_at - timedelta(days=1), by=signe, frames=[frame])
    progress_scene.file(made, filed_at, by=signe)
    frame.refresh_from_db()
    StaleMark.objects.all().delete()
    return Scene(view, frame, proven_at, filed_at)


def rot(frame: Frame, *folders: str) -> None:
    for folder in folders:
        path = Path(folder) / places.Key(frame.sha256, "tif").path
        path.chmod(0o644)
        path.write_bytes(b"rotten")


def test_a_sweep_that_finds_everything_good_changes_no_answer_about_the_past(
    scene: Scene,
) -> None:
    day = scene.filed_at + timedelta(days=1)
    before = [scene.status(day, known_at=known) for known in (day, None)]
    assert before == ["filed", "filed"]
    assert scene.status(scene.filed_at - HOUR) == "accepted"
    assert {report.outcome for report in check_store()} == {"good"}
    assert not Copy.objects.filter(verified_at__lt=day).exists(), "the last proof has moved"
    assert [scene.status(day, known_at=known) for known in (day, None)] == before
    assert scene.status(scene.filed_at - HOUR) == "accepted"
    assert not scene.is_marked


def test_a_copy_gone_bad_counts_until_it_was_found_bad_and_again_once_mended(scene: Scene) -> None:
    rot(scene.frame, settings.STORE_DIR, settings.SECOND_STORE_DIR)
    before = timezone.now()
    assert {report.outcome for report in check_store()} == {"lost"}
    lost_at = timezone.now()
    day = scene.filed_at + timedelta(days=1)
    assert (scene.status(day), scene.status(before), scene.status(lost_at)) == (
        "filed",
        "filed",
        "accepted",
    )
    assert scene.status(lost_at, known_at=before) == "filed", "nobody knew it yet"
    assert scene.is_marked
    list(check_store())
    assert CopyLapse.objects.count() == 2, "found bad again: it has been so since it was found"
    proving.prove(scene.frame, store.PLACES, timezone.now())
    assert not CopyLapse.objects.filter(mended_at=None).exists()
    assert (scene.status(timezone.now()), scene.status(lost_at)) == ("filed", "accepted")
    assert set(Copy.objects.values_list("first_verified_at", flat=True)) == {scene.proven_at}


def test_a_copy_that_is_repaired_at_once_leaves_the_picture_filed(scene: Scene) -> None:
    rot(scene.frame, settings.SECOND_STORE_DIR)
    assert {report.outcome for report in check_store()} == {"good", "repaired"}
    assert CopyLapse.objects.filter(mended_at__isnull=False).count() == 1
    assert scene.status(timezone.now()) == scene.status(scene.filed_at + HOUR) == "filed"


def test_a_copy_that_was_never_there_counts_from_when_it_was_made(scene: Scene) -> None:
    Copy.objects.filter(place=store.PLACES[1]).delete()
    assert scene.status(timezone.now()) == "accepted"
    before = timezone.now()
    assert "repaired" in {report.outcome for report in check_store()}
    assert (scene.status(before), scene.status(timezone.now())) == ("accepted", "filed")
    assert scene.is_marked


def test_the_database_refuses_a_proof_without_a_first_one(scene: Scene) -> None:
    with pytest.raises(IntegrityError, match="proven_copy_was_proven_first"):
        Copy.objects.update(first_verified_at=None)


@pytest.mark.parametrize(
    ("turns", "spans"),
    [
        ([], []),
        ([(T - HOUR, 1, 1)], []),
        ([(T - HOUR, 1, 1), (T - HOUR, 1, 1)], [(T, None)]),
        ([(T - HOUR, 1, 1), (T + HOUR, 1, 1)], [(T + HOUR, None)]),
        (
            [(T, 1, 1), (T, 1, 1), (T + HOUR, 1, -1), (T + 3 * HOUR, 1, 1)],
            [(T, T + HOUR), (T + 3 * HOUR, None)],
        ),
        ([(T, 1, 1), (T, 1, 1), (T + HOUR, 1, -1), (T + HOUR, 1, 1)], [(T, None)]),
        ([(T - 3 * HOUR, 1, 1), (T - 3 * HOUR, 1, 1), (T - HOUR, 1, -1)], []),
    ],
)
def test_spans_in_which_one_frame_has_two_copies_that_count(
    turns: list[Turn], spans: list[tuple[datetime, datetime | None]]
) -> None:
    assert filed_spans(T, turns, frames=1, needed=2) == spans


def test_a_picture_is_filed_while_all_its_frames_are_and_one_without_frames_from_its_sealing() -> (
    None
):
    both = [(T, frame, 1) for frame in (1, 2) for _ in range(2)]
    assert filed_spans(T, both, frames=2, needed=2) == [(T, None)]
    assert filed_spans(T, [*both, (T + HOUR, 2, -1)], frames=2, needed=2) == [(T, T + HOUR)]
    assert filed_spans(T, both, frames=3, needed=2) == []
    assert filed_spans(T, [], frames=0, needed=2) == [(T, None)]


def test_a_copy_that_is_bad_today_has_been_so_since_the_trail_says(scene: Scene) -> None:
    found_at = scene.filed_at + timedelta(days=7)
    audit.record(
        "intake.copy_lost",
        actor=None,
        subject=scene.frame,
        after={"place": store.PLACES[0]},
        now=found_at,
    )
    Copy.objects.update(is_good=False)
    migration = import_module("imaging_requests.intake.migrations.0004_carry_first_proofs_over")
    before = timezone.now()
    for _ in range(2):
        migration.carry_over(apps, None)
    lapses = dict(CopyLapse.objects.values_list("copy__place", "found_at"))
    assert lapses.keys() == set(store.PLACES)
    assert lapses[store.PLACES[0]] == found_at
    assert lapses[store.PLACES[1]] >= before, "the trail is silent about this one"
    assert scene.status(found_at - HOUR) == "filed"
    assert scene.status(found_at + HOUR) == "accepted"
