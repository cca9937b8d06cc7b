"""Where a picture lies on its face: computed against known truth, kept, and asked for again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from django.db import IntegrityError, transaction

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.actions.registering import REGISTER, ask_for_registrations
from imaging_requests.deliverables.models import Deliverable, Registration
from imaging_requests.deliverables.registering import CODE_VERSION
from imaging_requests.deliverables.tasks import sweep_registrations
from imaging_requests.imaging.alignment.matrices import apply, corners
from imaging_requests.imaging.likeness.pattern import pattern_of, pattern_text
from imaging_requests.imaging.synthesis import (
    Direction,
    Exposure,
    PaintingSpec,
    Pose,
    Scene,
    Shot,
    Technique,
    build_painting,
    capture,
    picture_extent,
)
from imaging_requests.intake.jobs import Outcome, enqueue, run
from imaging_requests.intake.models import Derivative, FileCheck, FrameLook, Job
from tests import factory

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]
MATRIX = [[0.1, 0.0, -20.0], [0.0, 0.1, -20.0], [0.0, 0.0, 1.0]]


@pytest.fixture
def line() -> ShotLine:
    factory.rules()
    obj = factory.museum_object("AR 0070", "The Quarantine Island")
    made = factory.shot_line(factory.session(), obj, meets=[factory.owed_view(obj)])
    factory.frames_for(made)
    return made


def registration(line: ShotLine, **changes: Any) -> Registration:
    row = actions.assemble_line(shot_line_id=line.pk)
    assert row is not None
    assert row.cover is not None
    values = {
        "means": "outline",
        "code_version": CODE_VERSION,
        "width_px": 800,
        "height_px": 600,
        "px_to_face_mm": MATRIX,
        "residual_mm": 0.2,
        "verdict": "pass",
    } | changes
    return Registration.objects.create(deliverable=row, frame=row.cover, **values)


NOTHING = {"px_to_face_mm": None, "residual_mm": None, "means": "", "verdict": "cannot_tell"}


@pytest.mark.parametrize(
    "changes",
    [{}, {"verdict": "warn", "reason": "It fits roughly."}, NOTHING | {"reason": "No structure."}],
)
def test_a_map_and_a_reasoned_refusal_are_kept(line: ShotLine, changes: dict[str, Any]) -> None:
    made = registration(line, **changes)
    made.refresh_from_db()
    assert made.px_to_face_mm == changes.get("px_to_face_mm", MATRIX)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"px_to_face_mm": None}, "has_a_matrix"),
        ({"residual_mm": None}, "has_a_matrix"),
        ({"residual_mm": -0.1}, "has_a_matrix"),
        ({"means": ""}, "has_a_matrix"),
        ({"verdict": "cannot_tell", "reason": "No structure."}, "has_a_matrix"),
        (NOTHING, "says_why"),
        ({"verdict": "warn"}, "says_why"),
    ],
)
def test_a_map_without_numbers_or_a_doubt_without_reason_is_refused(
    line: ShotLine, changes: dict[str, Any], name: str
) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        registration(line, **changes)


def test_one_map_for_each_version_of_the_code(line: ShotLine) -> None:
    registration(line)
    registration(line, code_version=CODE_VERSION + 1)
    with pytest.raises(IntegrityError), transaction.atomic():
        registration(line)


WIDTH_MM, HEIGHT_MM = 420.0, 330.0


@pytest.fixture(scope="module")
def taken() -> dict[str, Exposure]:
    """One painting in four techniques, each from a slightly wrong place."""
    spec = PaintingSpec(seed=21, width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
    scene = Scene(build_painting(spec, px_per_mm=1.4))
    poses = {
        "VF": Pose(rotation_deg=0.4, keystone=0.004),
        "RK": Pose(rotation_deg=-0.5),
        "UV": Pose(shift_x_mm=3, rotation_deg=0.3),
        "IR": Pose(shift_y_mm=-3, scale=1.01),
    }
    return {
        name: capture(
            scene,
            Shot(
                technique=Technique(name),
                direction=Direction.LEFT if name == "RK" else None,
                tile=picture_extent(spec, Technique(name)),
                px_per_mm=1.4,
                pose=pose,
            ),
        )
        for name, pose in poses.items()
    }


@pytest.fixture
def shown_folder(tmp_path: Path, settings: Any) -> Path:
    settings.DERIVED_DIR = tmp_path
    return tmp_path


@pytest.fixture
def painting() -> CollectionObject:
    factory.rules()
    made = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.facts(made, width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
    return made


def picture(
    obj: CollectionObject,
    technique: str,
    pixels: np.ndarray,
    folder: Path,
    *,
    state: str = "to_review",
    **extra: Any,
) -> Deliverable:
    """A picture with its copy for the screen, as the job `derive` leaves it."""
    frame = factory.frame()
    name = f"{frame.pk}.tif"
    pyvips.Image.new_from_array(np.ascontiguousarray(pixels)).tiffsave(str(folder / name))
    Derivative.objects.create(
        frame=frame,
        kind="pyramid",
        recipe="r",
        path=name,
        width_px=pixels.shape[1],
        height_px=pixels.shape[0],
    )
    return factory.deliverable(obj, technique, state=state, frames=[frame], **extra)


def eight(exposure: Exposure) -> np.ndarray:
    return (exposure.pixels >> 8).astype(np.uint8)


def worked(row: Deliverable) -> Registration | None:
    """Run the job for a picture twice; what it keeps, it keeps once."""
    for _ in range(2):
        with transaction.atomic():
            job = enqueue(REGISTER, row.pk, again=True)
        assert run(job.pk) is Outcome.DONE
    assert row.registrations.count() <= 1
    return row.registrations.select_related("reference").first()


def test_pictures_are_laid_on_their_face_to_a_fraction_of_a_millimetre(
    painting: CollectionObject, taken: dict[str, Exposure], shown_folder: Path
) -> None:
    visible = picture(painting, "VF", eight(taken["VF"]), shown_folder)
    rows = {"VF": worked(visible)}
    for technique in ("UV", "IR", "RK"):
        variant = {"variant": "L"} if technique == "RK" else {}
        row = picture(painting, technique, eight(taken[technique]), shown_folder, **variant)
        rows[technique] = worked(row)
    for technique, found in rows.items():
        assert found is not None
        assert found.px_to_face_mm is not None, (technique, found.reason)
        truth = np.array(taken[technique].truth.px_to_face_mm)
        at = corners(found.width_px, found.height_px)
        apart = apply(np.array(found.px_to_face_mm), at) - apply(truth, at)
        error_mm = float(np.median(np.linalg.norm(apart, axis=1)))
        assert error_mm <= 1.0, technique
        assert found.residual_mm is not None
        assert found.residual_mm >= 0.5 * error_mm
    assert rows["VF"] is not None
    assert rows["VF"].means == "outline"
    assert rows["UV"] is not None
    assert (rows["UV"].means, rows["UV"].reference) == ("reference", visible)
    checks = {
        (check.rule, check.frame.covers.get().technique): check.verdict
        for check in FileCheck.objects.filter(rule__in=("G11", "G12"))
    }
    assert checks["G11", "UV"] == checks["G11", "IR"] == checks["G12", "IR"] == "pass"


def test_a_mirrored_picture_fails_its_check_and_cannot_be_accepted_without_a_reason(
    painting: CollectionObject, taken: dict[str, Exposure], shown_folder: Path
) -> None:
    worked(picture(painting, "VF", eight(taken["VF"]), shown_folder, state="accepted"))
    row = picture(painting, "IR", eight(taken["IR"])[:, ::-1], shown_folder)
    found = worked(row)
    assert found is not None
    assert found.verdict == "cannot_tell"
    assert "looks mirrored" in found.reason
    check = FileCheck.objects.get(rule="G11", frame=row.cover)
    assert check.verdict == "fail"
    assert "Nothing is changed in your file" in check.sentence


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"detail_mm": [10, 10, 50, 50]}, "a part of the face only"),
        ({"kind": "mosaic"}, "several tiles"),
        ({"technique": "UV"}, "no visible picture of this face"),
    ],
)
def test_what_cannot_be_laid_out_says_why(
    painting: CollectionObject,
    taken: dict[str, Exposure],
    shown_folder: Path,
    changes: dict[str, Any],
    words: str,
) -> None:
    technique = changes.pop("technique", "VF")
    found = worked(picture(painting, technique, eight(taken["VF"]), shown_folder, **changes))
    assert found is not None
    assert found.verdict == "cannot_tell"
    assert words in found.reason


def test_a_constant_picture_and_one_without_a_copy_for_the_screen_break_nothing(
    painting: CollectionObject, shown_folder: Path
) -> None:
    flat = worked(picture(painting, "VF", np.full((300, 400), 90, np.uint8), shown_folder))
    assert flat is not None
    assert "outline" in flat.reason
    bare = factory.deliverable(painting, "UV", state="to_review", frames=[factory.frame()])
    assert worked(bare) is None


def test_the_sweep_asks_for_what_is_missing_and_again_when_a_visible_picture_has_come(
    painting: CollectionObject, taken: dict[str, Exposure], shown_folder: Path
) -> None:
    early = picture(painting, "UV", eight(taken["UV"]), shown_folder)
    sweep_registrations()
    job = Job.objects.get(kind=REGISTER)
    assert job.subject_id == early.pk
    assert run(job.pk) is Outcome.DONE
    assert ask_for_registrations(code_version=CODE_VERSION, most=9) == 0
    worked(picture(painting, "VF", eight(taken["VF"]), shown_folder))
    assert ask_for_registrations(code_version=CODE_VERSION, most=9) == 1
    assert run(job.pk) is Outcome.DONE
    assert early.registrations.get().means == "reference"
    assert ask_for_registrations(code_version=CODE_VERSION, most=9) == 0
    assert ask_for_registrations(code_version=CODE_VERSION + 1, most=9) == 2


def test_a_picture_that_is_gone_ends_its_job(painting: CollectionObject) -> None:
    with transaction.atomic():
        job = enqueue(REGISTER, 987_654)
    assert run(job.pk) is Outcome.DONE


def test_the_ultraviolet_picture_of_another_painting_is_laid_on_that_one_and_fails(
    painting: CollectionObject, taken: dict[str, Exposure], shown_folder: Path
) -> None:
    """Its own reference refuses it, the other painting's takes it: the sentence names that one."""
    spec = PaintingSpec(seed=33, width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
    extent = picture_extent(spec, Technique("VF"))
    shot = Shot(technique=Technique("VF"), tile=extent, px_per_mm=1.4)
    own = capture(Scene(build_painting(spec, px_per_mm=1.4)), shot)
    other = factory.museum_object("AR 0052")
    factory.facts(other, width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
    during = factory.session()
    rows = []
    for obj, exposure in ((painting, own), (other, taken["VF"])):
        factory.shot_line(during, obj, "VF")
        rows.append(picture(obj, "VF", eight(exposure), shown_folder, state="accepted"))
        worked(rows[-1])
    rows.append(picture(painting, "UV", eight(taken["UV"]), shown_folder))
    for row, exposure in zip(rows, (own, taken["VF"], taken["UV"]), strict=True):
        grey = eight(exposure)
        grey = grey if grey.ndim == 2 else grey[..., :3].mean(axis=2).astype(np.uint8)
        FrameLook.objects.create(frame=row.cover, pattern=pattern_text(pattern_of(grey)))
    worked(rows[-1])
    check = FileCheck.objects.get(rule="G12", frame=rows[-1].cover)
    assert check.verdict == "fail", (check.value, check.sentence)
    assert "This shows AR 0052, not AR 0070" in check.sentence
