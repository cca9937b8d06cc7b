"""Every picture is compared with accepted ones of its own and other objects, or says why not."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from imaging_requests.campaigns.models import Session
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.actions import keep_recognition
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.deliverables.recognising import check_recognition
from imaging_requests.deliverables.unchecked import unchecked
from imaging_requests.imaging.likeness.pattern import pattern_of, pattern_text
from imaging_requests.intake.models import Derivative, FileCheck, Frame, FrameLook
from tests import factory
from tests.factory import NOW, hours

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


def shows(frame: Frame, composition: int, folder: Path) -> Frame:
    """Give a frame a small picture of a composition that only the number decides."""
    coarse = np.random.default_rng(composition).uniform(20, 235, (6, 8))
    grain = np.random.default_rng(frame.pk).normal(0, 6, (192, 256))
    pixels = np.clip(np.kron(coarse, np.ones((32, 32))) + grain, 0, 255).astype(np.uint8)
    Image.fromarray(pixels).save(folder / f"{frame.pk}.png")
    Derivative.objects.create(
        frame=frame, kind="256", recipe="r", path=f"{frame.pk}.png", width_px=256, height_px=192
    )
    return frame


@dataclass(frozen=True)
class Easel:
    """Makes pictures of fronts in one session."""

    during: Session
    folder: Path

    def picture(self, obj: CollectionObject, composition: int, **more: object) -> Deliverable:
        line = factory.shot_line(self.during, obj, "VF")
        frame = shows(factory.frame(line), composition, self.folder)
        return factory.deliverable(obj, "VF", frames=[frame], shot_line=line, **more)


@pytest.fixture
def easel(tmp_path: Path, settings: Any) -> Easel:
    settings.DERIVED_DIR = tmp_path
    factory.rules()
    return Easel(factory.session(by=factory.photographer()), tmp_path)


@pytest.mark.parametrize(
    ("composition", "verdict", "said"),
    [
        (11, "pass", "This looks like AR 0011, as it should."),
        (20, "fail", "This looks like AR 0020, not like AR 0011."),
        (99, "cannot_tell", "Look at it."),
    ],
)
def test_a_front_is_told_from_the_fronts_of_others(
    composition: int, verdict: str, said: str, easel: Easel
) -> None:
    own = factory.museum_object("AR 0011")
    other = factory.museum_object("AR 0020")
    easel.picture(own, 11)
    easel.picture(other, 20)
    fresh = easel.picture(own, composition, state="to_review", captured_at=NOW + hours(1))
    check = check_recognition(fresh)
    assert check is not None
    assert check.verdict == verdict
    assert said in check.sentence


def test_a_detail_is_no_reference_for_a_whole_front(easel: Easel) -> None:
    own = factory.museum_object("AR 0011")
    easel.picture(own, 20, detail_mm={"x": 1, "y": 2, "w": 3, "h": 4})
    fresh = easel.picture(own, 11, state="to_review", captured_at=NOW + hours(1))
    check = check_recognition(fresh)
    assert check is not None
    assert check.verdict == "cannot_tell"
    assert "nobody compared this with AR 0011" in check.sentence


def face(seed: int) -> np.ndarray:
    """Paint a face: grey, 192 x 256, smooth blots of three sizes."""
    rng = np.random.default_rng(seed)
    made = np.zeros((192, 256), np.float32)
    for cells, weight in ((4, 1.0), (9, 0.7), (25, 0.5)):
        small = rng.normal(0, 1, (cells, cells)).astype(np.float32)
        made += weight * cv2.resize(small, (256, 192), interpolation=cv2.INTER_CUBIC)
    return np.clip(128 + 40 * made / made.std(), 0, 255)


def glowing(seed: int) -> np.ndarray:
    """The same face in other light: what was light may be dark, where edges lie they stay."""
    tones = np.abs(face(seed) - 110) * 1.3
    grain = np.random.default_rng(seed + 1).normal(0, 4, tones.shape)
    return np.clip(tones + grain, 0, 255)


def look(grey: np.ndarray, **place: Any) -> Frame:
    """A frame of which the pattern is known."""
    frame = factory.frame()
    for name, value in place.items():
        setattr(frame, name, value)
    frame.save()
    pattern = pattern_text(pattern_of(np.asarray(grey, np.uint8)))
    FrameLook.objects.create(frame=frame, pattern=pattern)
    return frame


@dataclass(frozen=True)
class Two:
    """Two objects of one campaign with accepted visible pictures of their fronts."""

    own: CollectionObject
    other: CollectionObject
    during: Session


@pytest.fixture
def two() -> Two:
    factory.rules()
    during = factory.session(by=factory.photographer())
    objects = [factory.museum_object(number) for number in ("AR 0070", "AR 0052")]
    for seed, each in enumerate(objects):
        factory.shot_line(during, each, "VF")
        factory.deliverable(each, "VF", frames=[look(face(seed))])
    return Two(objects[0], objects[1], during)


def said_of(row: Deliverable) -> tuple[str, str]:
    check = check_recognition(row)
    assert check is not None
    return check.verdict, check.sentence


@pytest.mark.parametrize("technique", ["UV", "RK", "IR", "VC"])
@pytest.mark.parametrize(
    ("seed", "verdict", "words"),
    [
        (0, "pass", "This shows AR 0070"),
        (1, "fail", "This shows AR 0052, not AR 0070"),
        (9, "cannot_tell", "Look whether it shows AR 0070 before it is accepted."),
    ],
)
def test_a_picture_in_other_light_is_compared_with_the_visible_one(
    technique: str, seed: int, verdict: str, words: str, two: Two
) -> None:
    shown = glowing(seed) if technique in ("UV", "IR") else face(seed)
    row = factory.deliverable(two.own, technique, state="to_review", frames=[look(shown)])
    found, sentence = said_of(row)
    assert (found, words in sentence) == (verdict, True), sentence


def test_of_a_bracket_the_exposure_that_tells_most_is_compared(two: Two) -> None:
    frames = [look(np.full((192, 256), 2), ev=-1), look(glowing(1), ev=0)]
    row = factory.deliverable(two.own, "UV", state="to_review", frames=frames, kind="bracket")
    assert said_of(row)[0] == "fail"


@pytest.mark.parametrize(("seed", "verdict"), [(0, "pass"), (1, "fail"), (9, "cannot_tell")])
def test_tiles_are_compared_with_the_part_where_they_lie(seed: int, verdict: str, two: Two) -> None:
    line = factory.shot_line(two.during, two.own, "RK", variant="L", tiles_across=2)
    whole, wide = face(seed), round(256 / 1.8)
    frames = [look(part, tile_x=x) for x, part in enumerate((whole[:, :wide], whole[:, -wide:]))]
    row = factory.deliverable(
        two.own, "RK", "F", "L", state="to_review", frames=frames, kind="mosaic", shot_line=line
    )
    assert said_of(row)[0] == verdict


@pytest.mark.parametrize(
    ("technique", "side", "more", "because"),
    [
        ("XR", "F", {}, "an X-ray shows what lies behind the paint"),
        ("VF", "E", {}, "edges have no reference picture"),
        ("VF", "B", {}, "no visible picture of its whole back has been accepted yet"),
        ("UV", "F", {"detail_mm": {"x": 1, "y": 2, "w": 3, "h": 4}}, "a part of the face only"),
    ],
)
def test_what_was_not_compared_says_why(
    technique: str, side: str, more: dict[str, Any], because: str, two: Two
) -> None:
    row = factory.deliverable(
        two.own, technique, side, state="to_review", frames=[look(face(0))], **more
    )
    verdict, sentence = said_of(row)
    assert verdict == "cannot_tell"
    assert sentence.startswith("Cannot tell: nobody compared this with AR 0070, because ")
    assert because in sentence


def test_a_picture_without_structure_is_not_compared(two: Two) -> None:
    flat = look(np.full((192, 256), 90))
    row = factory.deliverable(two.own, "UV", state="to_review", frames=[flat])
    verdict, sentence = said_of(row)
    assert verdict == "cannot_tell"
    assert "its structure is too faint" in sentence


def test_what_was_not_told_stands_among_what_the_program_did_not_check(two: Two) -> None:
    row = factory.deliverable(two.own, "XR", state="to_review", frames=[look(face(0))])
    assert any("was never asked for" in each for each in unchecked(row, []))
    for _ in range(2):
        keep_recognition(row=row, check=check_recognition(row))
    kept = list(FileCheck.objects.filter(rule="G12"))
    assert len(kept) == 1
    assert any("nobody compared this with AR 0070" in each for each in unchecked(row, kept))
    fit = factory.deliverable(two.own, "UV", state="to_review", frames=[look(glowing(0))])
    check = check_recognition(fit)
    assert check is not None
    assert not any("G12" in each for each in unchecked(fit, [check]))


def test_a_first_picture_of_a_face_says_that_nothing_held_its_turn(two: Two) -> None:
    """Mirrored or upside down it would become what all later pictures are held against."""
    row = factory.deliverable(two.own, "VF", state="to_review", frames=[look(face(0))])
    assert any("not turned (G11)" in each for each in unchecked(row, []))
    held = FileCheck(frame=row.cover, rule="G11", verdict="pass")
    assert not any("G11" in each for each in unchecked(row, [held]))
    edges = factory.deliverable(two.own, "VF", "E", state="to_review", frames=[look(face(0))])
    assert not any("G11" in each for each in unchecked(edges, []))


def test_an_exposure_of_another_object_in_a_bracket_is_named(easel: Easel) -> None:
    own, other = factory.museum_object("AR 0070"), factory.museum_object("AR 0055")
    line = factory.shot_line(easel.during, own, "UV")
    factory.shot_line(easel.during, other, "UV")
    factory.deliverable(own, "VF", frames=[look(face(1))])
    factory.deliverable(other, "VF", "B", frames=[look(face(2))])

    def said(shown: tuple[int, int]) -> FileCheck:
        frames = [look(face(number), ev=ev) for ev, number in enumerate(shown)]
        row = factory.deliverable(
            own, "UV", frames=frames, kind="bracket", shot_line=line, state="to_review"
        )
        check = check_recognition(row)
        assert check is not None
        return check

    strange = said((1, 2))
    assert strange.verdict == "fail"
    assert "Exposure +1" in strange.sentence
    assert "shows AR 0055 back, not the front of AR 0070" in strange.sentence
    assert said((1, 1)).verdict != "fail"
