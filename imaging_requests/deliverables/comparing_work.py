"""The job `compare`: compare two masters in a guarded process, keep map and sentence."""

from __future__ import annotations

import logging
import os
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from PIL import Image

from imaging_requests.deliverables.actions.comparing import keep_comparison
from imaging_requests.deliverables.comparing import NoMasterError, Plan, plan_of
from imaging_requests.deliverables.models import Comparison
from imaging_requests.imaging.comparison.ask import ask_compare
from imaging_requests.imaging.files.guard import GuardFailure, Trouble
from imaging_requests.intake import store
from imaging_requests.intake.deriving import guards
from imaging_requests.intake.jobs import TryLaterError, Work
from imaging_requests.intake.limits import reading_limits
from imaging_requests.intake.places import reason_of

logger = logging.getLogger(__name__)

QUEUE = "pixels"
#: Two large masters are decoded once each; the guarded process has its own, shorter limit.
LONGEST_S = 900.0
Verdict = Comparison.Verdict


def compare(work: Work) -> None:
    """Compare one pair, unless the same has been computed before; a full disk is tried again."""
    try:
        _compare(work)
    except OSError as error:
        raise TryLaterError(
            f"The comparison cannot be written beside the derived pictures: {reason_of(error)}. "
            "The pictures are safe, and are compared as soon as this is put right."
        ) from error


def _compare(work: Work) -> None:
    row = (
        Comparison.objects.select_related(
            "before__cover",
            "before__shot_line__setup_card",
            "before__shot_line__session",
            "after__cover",
            "after__shot_line__setup_card",
            "after__shot_line__session",
        )
        .filter(pk=work.subject_id)
        .first()
    )
    if row is None:
        return
    try:
        plan = plan_of(row)
    except NoMasterError as error:
        _keep(work, row, {"sentence": str(error), "verdict": Verdict.NOT_COMPARED, "recipe": ""})
        return
    if row.recipe == plan.recipe and _is_there(row):
        return
    derived = Path(settings.DERIVED_DIR)
    derived.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=derived, prefix=".compare-") as scratch:
        drawn = Path(scratch) / "sheet.png"
        answer = ask_compare(
            guards(),
            plan.technique,
            plan.before.path(),
            plan.after.path(),
            data_folder=settings.BASE_DIR / "fixtures" / "checks",
            reading=reading_limits(),
            set_ups=plan.set_ups,
            pair=plan.pair,
            megapixels=plan.before.megapixels + plan.after.megapixels,
            more={**plan.more, "output": str(drawn.absolute())},
        )
        if isinstance(answer, GuardFailure):
            answer = {"refused": _settle(answer, work)}
        if "refused" in answer:
            values = {"verdict": Verdict.NOT_COMPARED, "sentence": str(answer["refused"])}
            _keep(work, row, {**values, "recipe": plan.recipe})
            return
        _keep(work, row, _values(plan, answer, drawn))


def _is_there(row: Comparison) -> bool:
    """Whether what was computed is still whole: a derived file may have been deleted."""
    if row.verdict == Verdict.WAITING:
        return False
    return not row.picture or (Path(settings.DERIVED_DIR) / row.picture).is_file()


def _settle(failure: GuardFailure, work: Work) -> str:
    logger.warning("job %s: %s: %s", work.job_id, failure.reason, failure.detail)
    if failure.reason is Trouble.FAULT:
        raise RuntimeError(failure.detail)
    if failure.is_transient and not work.is_last_try:
        raise TryLaterError(failure.sentence)
    return failure.sentence


def _values(plan: Plan, answer: dict[str, Any], drawn: Path) -> dict[str, Any]:
    report: dict[str, Any] = answer["answer"]
    values = {
        "grade": report["grade"],
        "sentence": report["sentence"],
        "noise_floor": answer["noise_floor"],
        "recipe": plan.recipe,
    }
    report["output"] = None
    values["report"] = report
    if not drawn.is_file():
        return {**values, "verdict": Verdict.NOT_COMPARED}
    with Image.open(drawn) as picture:
        width, height = picture.size
    folder = store.derived_folder(plan.before.sha256)
    folder.mkdir(parents=True, exist_ok=True)
    kept = folder / f"{plan.recipe}-compared.png"
    os.replace(drawn, kept)
    is_mapped = report["map"] is not None and report["map"]["may_be_shown"]
    return {
        **values,
        "verdict": Verdict.MAPPED if is_mapped else Verdict.SIDE_BY_SIDE,
        "picture": str(kept.relative_to(settings.DERIVED_DIR)),
        "width_px": width,
        "height_px": height,
    }


def _keep(work: Work, row: Comparison, values: dict[str, Any]) -> None:
    empty: dict[str, Any] = {
        "grade": "",
        "report": {},
        "noise_floor": None,
        "picture": "",
        "width_px": 0,
        "height_px": 0,
    }
    with work.publish():
        kept = keep_comparison(row=row, values={**empty, **values}, now=work.now())
        work.result = {"verdict": kept.verdict, "grade": kept.grade}
