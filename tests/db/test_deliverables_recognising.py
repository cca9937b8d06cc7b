"""A front is compared with the accepted fronts of its own and other objects of the campaign."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from imaging_requests.campaigns.models import Session
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.deliverables.recognising import check_recognition
from imaging_requests.intake.models import Derivative, Frame
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


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
    assert "There is no reference picture" in check.sentence
