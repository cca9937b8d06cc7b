"""Faces that are known by accepted pictures of tiles, and strangers told by those of others."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from imaging_requests.campaigns.models import Session
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import joining, reference_faces
from imaging_requests.deliverables.models import Deliverable, Join, PlateMap
from imaging_requests.deliverables.recognising import check_recognition
from imaging_requests.intake.models import Derivative, Frame, FrameLook
from tests import factory
from tests.db.test_deliverables_recognising import face, glowing, look

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


def in_tiles(grey: np.ndarray, *, are_looked_at: bool = True) -> list[Frame]:
    """Two frames side by side with a fifth of overlap, as the placing limits have it."""
    share = 1 / 1.8
    wide = round(grey.shape[1] * share)
    parts = (grey[:, :wide], grey[:, -wide:])
    if are_looked_at:
        return [look(part, tile_x=x) for x, part in enumerate(parts)]
    return [factory.frame(tile_x=x) for x in range(2)]


@dataclass(frozen=True)
class Studio:
    """Two objects of one campaign, whose fronts were accepted as two tiles each."""

    own: CollectionObject
    other: CollectionObject
    during: Session

    def tiled(self, obj: CollectionObject, frames: list[Frame], **more: Any) -> Deliverable:
        line = factory.shot_line(self.during, obj, "VF", tiles_across=2)
        return factory.deliverable(obj, "VF", frames=frames, kind="mosaic", shot_line=line, **more)


@pytest.fixture
def studio(tmp_path: Path, settings: Any) -> Studio:
    settings.DERIVED_DIR = tmp_path
    factory.rules()
    objects = [factory.museum_object(number) for number in ("AR 0070", "AR 0052")]
    return Studio(objects[0], objects[1], factory.session(by=factory.photographer()))


@pytest.fixture
def two(studio: Studio) -> Studio:
    for seed, each in enumerate((studio.own, studio.other)):
        studio.tiled(each, in_tiles(face(seed)))
    return studio


def said_of(row: Deliverable, *, is_thorough: bool = False) -> tuple[str, str]:
    check = check_recognition(row, is_thorough=is_thorough)
    assert check is not None
    return check.verdict, check.sentence


def fresh(obj: CollectionObject, technique: str, frame: Frame, side: str = "F") -> Deliverable:
    return factory.deliverable(obj, technique, side, state="to_review", frames=[frame])


@pytest.mark.parametrize("technique", ["VC", "RK", "UV"])
@pytest.mark.parametrize(
    ("seed", "verdict", "words"),
    [
        (0, "pass", "This shows AR 0070"),
        (1, "fail", "This shows AR 0052, not AR 0070"),
        (9, "cannot_tell", "Look whether it shows AR 0070"),
    ],
)
def test_a_face_kept_as_tiles_is_a_reference(
    technique: str, seed: int, verdict: str, words: str, two: Studio
) -> None:
    shown = glowing(seed) if technique == "UV" else face(seed)
    found, sentence = said_of(fresh(two.own, technique, look(shown)))
    assert (found, words in sentence) == (verdict, True), sentence


def test_a_joined_picture_comes_before_its_tiles(studio: Studio, tmp_path: Path) -> None:
    row = studio.tiled(studio.own, in_tiles(face(0), are_looked_at=False))
    plan = joining.plan_of(row)
    assert plan is not None
    Image.fromarray(face(0).astype(np.uint8)).save(tmp_path / "joined.png")
    Join.objects.create(
        deliverable=row,
        recipe=plan.recipe,
        ingredients=plan.ingredients,
        verdict="joined",
        sha256="a" * 64,
        width_px=256,
        height_px=192,
        pictures=[{"kind": "256", "path": "joined.png", "width_px": 256, "height_px": 192}],
    )
    assert said_of(fresh(studio.own, "RK", look(face(0))))[0] == "pass"


def test_why_an_accepted_picture_is_no_reference_is_said(studio: Studio) -> None:
    row = fresh(studio.own, "RK", look(face(0)))
    assert "no visible picture of its whole front has been accepted yet" in said_of(row)[1]
    frames = in_tiles(face(0))
    tiled = studio.tiled(studio.own, frames)
    assert said_of(row)[0] == "pass"
    FrameLook.objects.filter(frame=frames[1]).delete()
    verdict, sentence = said_of(row)
    assert verdict == "cannot_tell"
    assert "is kept as tiles, and not every tile has a small picture yet" in sentence
    PlateMap.objects.create(deliverable=tiled, plates=[], by=tiled.photographer, note="By hand.")
    assert "were laid by hand and are not joined yet" in said_of(row)[1]
    factory.deliverable(studio.other, "VF", frames=[factory.frame()])
    other = fresh(studio.other, "RK", look(face(1)))
    assert "the accepted visible picture of its front has no small picture" in said_of(other)[1]


@pytest.mark.parametrize("is_tiled", [False, True])
def test_a_stranger_is_told_by_pictures_of_other_campaigns(is_tiled: bool, two: Studio) -> None:
    """The object of the line has no picture, and no campaign in common with what is shown."""
    unknown = factory.museum_object("AR 0118")
    line = factory.shot_line(
        factory.session(by=factory.photographer("Bela")), unknown, "RK", tiles_across=1 + is_tiled
    )
    frames = in_tiles(face(1)) if is_tiled else [look(face(1))]
    row = factory.deliverable(
        unknown,
        "RK",
        state="to_review",
        frames=frames,
        shot_line=line,
        kind="mosaic" if is_tiled else "single",
    )
    verdict, sentence = said_of(row)
    assert verdict == "warn", sentence
    assert sentence.startswith("Nobody could compare this with AR 0118, because no visible")
    assert "it looks like AR 0052" in sentence
    nothing = fresh(unknown, "RK", look(face(9)))
    assert said_of(nothing)[0] == "cannot_tell"


def with_pyramid(frame: Frame, grey: np.ndarray, folder: Path) -> Frame:
    """Give a frame the picture that is made for the screen."""
    rows, columns = grey.shape
    Image.fromarray(grey.astype(np.uint8)).save(folder / f"{frame.pk}.png")
    Derivative.objects.create(
        frame=frame,
        kind="pyramid",
        recipe="r",
        path=f"{frame.pk}.png",
        width_px=columns,
        height_px=rows,
    )
    return frame


@pytest.mark.parametrize(
    ("seed", "at_once", "verdict"),
    [(0, "cannot_tell", "pass"), (1, "cannot_tell", "fail"), (9, "cannot_tell", "cannot_tell")],
)
def test_what_patterns_do_not_tell_is_laid_over_the_tiles(
    seed: int, at_once: str, verdict: str, two: Studio, tmp_path: Path
) -> None:
    """Backs in ultraviolet: boards are alike, so the pattern alone tells nothing."""
    for shown, each in enumerate((two.own, two.other)):
        tiles = in_tiles(face(shown))
        wide = round(256 / 1.8)
        for frame, part in zip(tiles, (face(shown)[:, :wide], face(shown)[:, -wide:]), strict=True):
            with_pyramid(frame, part, tmp_path)
        line = factory.shot_line(two.during, each, "VF", face="B", tiles_across=2)
        factory.deliverable(each, "VF", "B", frames=tiles, kind="mosaic", shot_line=line)
    frame = with_pyramid(look(glowing(seed)), glowing(seed), tmp_path)
    row = fresh(two.own, "UV", frame, "B")
    assert said_of(row)[0] == at_once
    assert said_of(row, is_thorough=True)[0] == verdict


def test_references_are_remembered_and_cost_a_fixed_number_of_queries(two: Studio) -> None:
    row = fresh(two.own, "UV", look(glowing(9)))
    reference_faces._kept.clear()
    with CaptureQueriesContext(
        connection,
    ) as first:
        said_of(row)
    with CaptureQueriesContext(connection) as second:
        said_of(row)
    assert len(second) == len(first) - 1, "the patterns of known faces are read once"
    for seed in range(3, 7):
        each = factory.museum_object(f"AR 01{seed}0")
        two.tiled(each, in_tiles(face(seed)))
    with CaptureQueriesContext(connection) as more:
        said_of(row)
    assert len(more) == len(first)
