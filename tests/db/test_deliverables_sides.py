"""Front against back, and an X-ray's scale against the distances of its card, by the real jobs."""

from __future__ import annotations

from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from django.db import transaction

from imaging_requests.campaigns.models import SetupCard, ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.actions.registering import REGISTER
from imaging_requests.imaging.synthesis import (
    Face,
    PaintingSpec,
    Scene,
    Shot,
    Technique,
    build_painting,
    capture,
    picture_extent,
)
from imaging_requests.intake.jobs import Outcome, enqueue, run
from imaging_requests.intake.models import Derivative, FileCheck
from tests import factory
from tests.intake_scene import bring, open_drop, settle, tiff

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]
WIDTH_MM, HEIGHT_MM, DENSITY = 300.0, 240.0, 2.5


@cache
def frame(
    technique: Technique, face: Face = Face.FRONT, height_mm: float = HEIGHT_MM, larger: float = 1.0
) -> np.ndarray:
    """A picture of one painting, 16 bits; all its sizes are made from the same seed."""
    spec = PaintingSpec(seed=5, width_mm=WIDTH_MM, height_mm=height_mm)
    scene = Scene(build_painting(spec, px_per_mm=2.0))
    tile = picture_extent(spec, technique)
    return capture(
        scene, Shot(technique=technique, face=face, tile=tile, px_per_mm=DENSITY * larger)
    ).pixels


@pytest.fixture
def painting() -> CollectionObject:
    factory.rules()
    return factory.museum_object(
        "AR 0070", "The Quarantine Island", width_mm=WIDTH_MM, height_mm=HEIGHT_MM
    )


def bring_face(painting: CollectionObject, face: str, pixels: np.ndarray, minute: int) -> None:
    """One whole visible picture of a face, brought by its photographer."""
    session = factory.session()
    line: ShotLine = factory.shot_line(
        session, painting, "VF", face, px_per_mm=DENSITY, exposures_ev=[0], expected_files=1
    )
    at = session.starts_at + timedelta(minutes=minute)
    drop = open_drop(session.photographer, line=line)
    bring(drop, f"VF-{face}.tif", tiff(at=at, picture=pixels))
    settle()


def silhouette() -> FileCheck:
    return FileCheck.objects.get(rule="B1")


def test_a_back_waits_for_its_front_and_then_fits_it(painting: CollectionObject) -> None:
    bring_face(painting, "B", frame(Technique.FLASH, Face.BACK), 10)
    assert silhouette().verdict == "cannot_tell"
    assert "Not checked: needs a visible picture of the front" in silhouette().sentence
    bring_face(painting, "F", frame(Technique.FLASH), 20)
    found = silhouette()
    assert found.verdict == "pass", found.sentence
    assert float(found.value) < 0.5
    assert found.frame.first_name == "VF-B.tif"
    assert found.place_px


def test_the_back_of_another_object_is_told_by_its_outline(painting: CollectionObject) -> None:
    bring_face(painting, "F", frame(Technique.FLASH), 10)
    bring_face(painting, "B", frame(Technique.FLASH, Face.BACK, HEIGHT_MM - 8), 20)
    found = silhouette()
    assert found.verdict == "fail"
    assert float(found.value) == pytest.approx(4, abs=0.5)
    assert "Check the number on the label" in found.sentence


def picture(
    painting: CollectionObject, technique: str, pixels: np.ndarray, folder: Path, **extra: Any
) -> Any:
    """A picture with its copy for the screen, as the job `derive` leaves it."""
    made = factory.frame()
    values = (pixels >> 8).astype(np.uint8)
    path = folder / f"{made.pk}.tif"
    pyvips.Image.new_from_array(values).tiffsave(str(path))
    Derivative.objects.create(
        frame=made, kind="pyramid", recipe="r", path=path.name, width_px=values.shape[1],
        height_px=values.shape[0],
    )  # fmt: skip
    row = factory.deliverable(
        painting, technique, state="to_review", frames=[made], px_per_mm=DENSITY, **extra
    )
    with transaction.atomic():
        job = enqueue(REGISTER, row.pk, again=True)
    assert run(job.pk) is Outcome.DONE
    return row


def x_ray(painting: CollectionObject, folder: Path, pixels: np.ndarray, **card: Any) -> FileCheck:
    """Register an X-ray shot by a card, and return what the rule on its scale says."""
    used = factory.setup_card(factory.station("xray"), technique="XR")
    SetupCard.objects.filter(pk=used.pk).update(values=card)
    session = factory.session(station=factory.station("xray"))
    line = factory.shot_line(session, painting, "XR", "T", setup_card=used)
    row = picture(painting, "XR", pixels, folder, face="T", shot_line=line, polarity="negative")
    return FileCheck.objects.get(rule="X7", frame=row.cover)


@pytest.fixture
def folder(tmp_path: Path, settings: Any) -> Path:
    settings.DERIVED_DIR = tmp_path
    return tmp_path


CARD = {"source_detector_mm": 1000, "object_detector_mm": 20}


def test_an_x_ray_enlarged_by_its_distances_passes_and_one_that_is_not_fails(
    painting: CollectionObject, folder: Path
) -> None:
    unlaid = x_ray(painting, folder, frame(Technique.X_RAY), **CARD)
    assert unlaid.verdict == "cannot_tell"
    assert "Not checked: needs the X-ray laid on the visible picture" in unlaid.sentence
    picture(painting, "VF", frame(Technique.FLASH), folder)
    larger = frame(Technique.X_RAY, larger=1000 / 980)
    found = x_ray(painting, folder, larger, **CARD)
    assert found.verdict == "pass", found.sentence
    assert "enlarged 1.020 times by the distances" in found.sentence
    scaled_back = x_ray(painting, folder, frame(Technique.X_RAY), **CARD)
    assert scaled_back.verdict == "pass"
    assert "scaled back already" in scaled_back.sentence
    wrong = x_ray(painting, folder, frame(Technique.X_RAY, larger=1.04), **CARD)
    assert wrong.verdict == "fail"
    assert "Check the two distances" in wrong.sentence
    bare = x_ray(painting, folder, larger, voltage_kv=30)
    assert bare.verdict == "cannot_tell"
    assert "needs the distances from source and from object" in bare.sentence
