"""Rules that need several tiles of one picture: judged by the job that joins them."""

from __future__ import annotations

import hashlib
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import pyvips
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import queries
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.imaging.joining import tasks
from imaging_requests.imaging.joining.tile_rules import check_inverted
from imaging_requests.imaging.synthesis.profiles import grey_profile, wide_rgb_profile
from imaging_requests.intake import store
from imaging_requests.intake.jobs import Outcome, enqueue, run
from imaging_requests.intake.limits import measurement_rules, reading_limits
from imaging_requests.intake.models import FileCheck, Job
from tests import factory
from tests.factory import NOW, hours
from tests.joining_scene import SETTINGS, Cut, cut_tiles, scene_size, texture, write_tiles

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]
PAIR = Cut(columns=2, rows=1, tile_px=(400, 360), overlap=0.3, is_whole=True)
NARROW = Cut(columns=2, rows=1, tile_px=(400, 360), overlap=0.1, is_whole=True)
FOUR = Cut(columns=2, rows=2, tile_px=(260, 280), overlap=0.15, is_whole=True)


def tiles_of(cut: Cut, seed: int = 21) -> list[np.ndarray]:
    """Tiles whose structure is as wide as that of a picture in focus, levels of 16 bits."""
    return cut_tiles(texture(*scene_size(cut), seed=seed), cut, seed=seed)[0]


def scaled(pixels: np.ndarray, by: Any) -> np.ndarray:
    return np.clip(np.rint(pixels * by), 0, 65_535).astype(np.uint16)


def joined(
    technique: str, cut: Cut, tiles: list[np.ndarray], folder: Path, *, has_profile: bool = True
) -> dict[str, list[FileCheck]]:
    """Place tiles on a line of its own, work off what follows, and return checks by rule."""
    factory.rules()
    thing = factory.museum_object("AR 0082", "Boy with a Tern")
    station = factory.station("xray") if technique == "XR" else None
    extra = {} if station is None else {"station": station}
    session = factory.session(by=factory.photographer(), **extra)
    line: ShotLine = factory.shot_line(
        session,
        thing,
        technique,
        "T" if technique == "XR" else "F",
        tiles_across=cut.columns,
        tiles_down=cut.rows,
        px_per_mm=10,
        exposures_ev=[0],
        expected_files=len(tiles),
    )
    is_colour = technique in ("VF", "VC")
    profile = wide_rgb_profile() if is_colour else grey_profile(is_linear=True)
    for number, path in enumerate(write_tiles(folder, tiles)):
        image = pyvips.Image.new_from_file(str(path))
        if is_colour:
            image = image.bandjoin([image, image]).copy(interpretation="rgb16")
        named = folder / f"{technique}-{path.name}"
        if has_profile:
            image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
        image.tiffsave(str(named))
        sha256 = hashlib.sha256(named.read_bytes()).hexdigest()
        store.put(named, sha256=sha256, extension="tif")
        factory.frame(
            line,
            sha256=sha256,
            first_name=named.name,
            width_px=image.width,
            height_px=image.height,
            tile_x=number % cut.columns,
            tile_y=number // cut.columns,
        )
    with transaction.atomic():
        job = enqueue("assemble", line.pk, again=True, now=NOW)
    assert run(job.pk, now=NOW + hours(6)) is Outcome.DONE
    for wanted in Job.objects.filter(kind="join"):
        run(wanted.pk, now=timezone.now() + hours(1))
    row = Deliverable.objects.get(shot_line=line)
    found: dict[str, list[FileCheck]] = {}
    for check in queries.checks_of([row])[row.pk]:
        found.setdefault(check.rule, []).append(check)
    return found


def test_tiles_alike_in_sharpness_and_exposure_pass(tmp_path: Path) -> None:
    found = joined("VF", PAIR, tiles_of(PAIR), tmp_path)
    assert [check.verdict for check in found["V10"]] == ["pass"]
    assert [check.verdict for check in found["V11"]] == ["pass"]
    assert float(found["V10"][0].value) > 0.97
    assert found["J3"][0].verdict == "pass"
    assert "I5" not in found


def test_a_soft_and_dark_tile_is_named_with_the_place_where_it_differs(tmp_path: Path) -> None:
    first, second = tiles_of(PAIR)
    soft = scaled(cv2.GaussianBlur(second, (0, 0), 2.5), 2.0 ** (-0.3 / 2.2))
    found = joined("VF", PAIR, [first, soft], tmp_path)
    (sharpness,), (exposure,) = found["V10"], found["V11"]
    assert (sharpness.verdict, exposure.verdict) == ("fail", "fail")
    assert sharpness.sentence.startswith("Tile 2 of 2 is softer than tile 1 (")
    assert "EV darker than tile 1" in exposure.sentence
    assert "Shoot all tiles again" in exposure.sentence
    assert sharpness.frame.first_name == "VF-plate-02.tif"
    left, top, width, _ = sharpness.place_px
    assert (left, top) == pytest.approx((0, 0), abs=6)
    assert width == pytest.approx(0.3 * 400, abs=8)


def test_tiles_without_profile_or_with_a_narrow_overlap_cannot_tell(tmp_path: Path) -> None:
    found = joined("VC", NARROW, tiles_of(NARROW), tmp_path, has_profile=False)
    assert [check.verdict for check in found["V10"]] == ["cannot_tell"]
    assert "are needed to compare their sharpness" in found["V10"][0].sentence
    assert [check.verdict for check in found["V11"]] == ["cannot_tell"]
    assert "no profile says what their levels mean" in found["V11"][0].sentence


@pytest.mark.parametrize(("technique", "rules"), [("IR", ["I5"]), ("XR", ["X4", "X6"])])
def test_even_tiles_of_infrared_and_x_ray_pass(
    technique: str, rules: list[str], tmp_path: Path
) -> None:
    found = joined(technique, FOUR, tiles_of(FOUR), tmp_path)
    assert {rule: found[rule][0].verdict for rule in rules} == dict.fromkeys(rules, "pass")
    assert "J3" not in found


@pytest.mark.parametrize(("technique", "rule"), [("IR", "I5"), ("XR", "X4")])
def test_a_step_that_evening_cannot_take_away_is_found_at_the_seam(
    technique: str, rule: str, tmp_path: Path
) -> None:
    clean = tiles_of(FOUR)
    uneven = [*clean[:3], scaled(clean[3], np.linspace(0.75, 1.0, 260))]
    (step,) = joined(technique, FOUR, uneven, tmp_path)[rule]
    assert step.verdict == "fail"
    assert "is left although exposure was evened" in step.sentence
    assert step.place_px


@pytest.mark.parametrize(("technique", "rules"), [("IR", ["I5"]), ("XR", ["X4", "X6"])])
def test_tiles_that_do_not_join_cannot_tell(
    technique: str, rules: list[str], tmp_path: Path
) -> None:
    strangers = [tiles_of(FOUR, seed)[0] for seed in (1, 2, 3, 4)]
    found = joined(technique, FOUR, strangers, tmp_path)
    for rule in rules:
        assert [check.verdict for check in found[rule]] == ["cannot_tell"]
        assert "were not joined" in found[rule][0].sentence
    assert found["J1"][0].verdict == "fail"


def test_one_pixel_off_in_the_inverted_picture_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paths = write_tiles(tmp_path, tiles_of(FOUR))
    honest = tasks.join_tiles

    def broken(paths: Any, target: Path, request: Any, **more: Any) -> Any:
        answer = honest(paths, target, request, **more)
        pixels = pyvips.Image.new_from_file(str(request.inverted)).numpy().copy()
        pixels[100, 100] ^= 1
        pyvips.Image.new_from_array(pixels).copy(interpretation="grey16").tiffsave(
            str(request.inverted)
        )
        return answer

    monkeypatch.setattr(tasks, "join_tiles", broken)
    answer = tasks.join(
        {
            "paths": [str(path) for path in paths],
            "target": str(tmp_path / "joined.tif"),
            "inverted": str(tmp_path / "inverted.tif"),
            "grid": [2, 2],
            "plates": [[n % 2, n // 2, 0, False] for n in range(4)],
            "is_fixed": False,
            "px_per_mm": 10.0,
            "settings": asdict(SETTINGS),
            "technique": "XR",
            "data_folder": str(settings.BASE_DIR / "fixtures" / "checks"),
            "limits": reading_limits().as_data(),
        }
    )
    (found,) = [each["finding"] for each in answer["findings"] if each["finding"]["rule"] == "X6"]
    assert found["verdict"] == "fail"
    assert "is not to be trusted" in found["sentence"]
    without = check_inverted(tmp_path / "joined.tif", None, measurement_rules())
    assert without.outcome.value == "cannot_tell"
