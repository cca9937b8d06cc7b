"""The job `join`: put the tiles of a picture together in a guarded process and store the result."""

from __future__ import annotations

import logging
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings

from imaging_requests.deliverables import joining
from imaging_requests.deliverables.actions.joins import (
    ask_where_it_lies,
    is_undecided,
    keep_checks,
    keep_join,
)
from imaging_requests.deliverables.actions.records import spoken
from imaging_requests.deliverables.joined import EXTENSION, INVERTED, is_whole
from imaging_requests.deliverables.models import Deliverable, Join
from imaging_requests.imaging.files.ask import derive as ask_derive
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.fixity import hash_file, sync_folder
from imaging_requests.imaging.files.guard import GuardFailure, Trouble
from imaging_requests.imaging.joining.tile_rules import unknown
from imaging_requests.imaging.joining.words import Trouble as Broken
from imaging_requests.intake import store
from imaging_requests.intake.actions.made import DERIVED, MadeFile
from imaging_requests.intake.deriving import guards
from imaging_requests.intake.jobs import CannotDoError, TryLaterError, Work
from imaging_requests.intake.limits import measurement_rules, recipe
from imaging_requests.intake.places import Key, reason_of
from imaging_requests.people.names import shown_name

logger = logging.getLogger(__name__)

QUEUE = "pixels"
#: 84 plates are 1.3 thousand million pixels; the guarded process has its own, shorter limit.
LONGEST_S = 1_800.0
FINDINGS = "findings"
#: Rough room for one pixel of a tile while it is read, joined and written, in px of the limit.
PASSES = 4
TILES_ARE_SAFE = "The tiles are safe, and are joined as soon as this is put right."
NOT_WRITTEN = (
    "The joined picture cannot be written beside the derived pictures: the disk is full or the "
    f"folder may not be written to. {TILES_ARE_SAFE}"
)


def join(work: Work) -> None:
    """Join the tiles of one picture, unless the same has been done before and is all there.

    What is in the way of writing is said and tried again; it is never an answer to the tiles.
    """
    try:
        _join(work)
    except store.StoreError as error:
        raise TryLaterError(f"{error.trouble} {TILES_ARE_SAFE}") from error
    except store.NotTheSameError as error:
        raise TryLaterError(
            f"What was written of the joined picture does not read back the same ({error}). The "
            f"disk may be failing. {TILES_ARE_SAFE}"
        ) from error
    except OSError as error:
        raise TryLaterError(
            f"The joined picture cannot be written beside the derived pictures: "
            f"{reason_of(error)}. {TILES_ARE_SAFE}"
        ) from error


def _join(work: Work) -> None:
    row = Deliverable.objects.filter(pk=work.subject_id).first()
    if row is None or not row.is_complete or not joining.is_joined_kind(row):
        return
    plan = joining.plan_of(row)
    if plan is None:
        return
    made = Join.objects.filter(deliverable=row, recipe=plan.recipe).first()
    if made is not None and is_whole(made):
        # the tiles were laid back to an earlier order: its joining stands again
        with work.publish():
            if is_undecided(row):
                keep_checks(row, plan, _checks_of(made, plan), now=work.now())
            ask_where_it_lies(row, now=work.now())
        return
    paths = [_path_of(plate) for plate in plan.plates]
    megapixels = PASSES * sum(path.stat().st_size for path in paths) / 2e6
    derived = Path(settings.DERIVED_DIR)
    derived.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=derived, prefix=".join-") as scratch:
        target = Path(scratch) / "joined.tif"
        inverted = Path(scratch) / "inverted.tif" if plan.is_x_ray else None
        answer = guards().run({**plan.request(paths, target, inverted), "megapixels": megapixels})
        if isinstance(answer, GuardFailure):
            sentence = _settle(answer, work)
            answer = {
                "refused": {"sentence": sentence},
                FINDINGS: [
                    each.as_data()
                    for each in unknown(plan.technique, sentence, measurement_rules())
                ],
            }
        if "refused" in answer:
            if answer["refused"].get("reason") == Broken.SAVE.value:
                raise TryLaterError(NOT_WRITTEN)
            _demand_good_copies(answer["refused"], plan)
            _keep_refusal(work, row, plan, _renamed(answer, paths, plan))
            return
        answer |= {name: _renamed(answer[name], paths, plan) for name in ("report", FINDINGS)}
        _keep_joined(work, row, plan, answer, target, inverted)


def _renamed(said: Any, paths: Sequence[Path], plan: joining.Plan) -> Any:
    """Name tiles in whatever is said as the photographer knows them, not as the store does."""
    if isinstance(said, dict):
        return {name: _renamed(value, paths, plan) for name, value in said.items()}
    if isinstance(said, list):
        return [_renamed(value, paths, plan) for value in said]
    if isinstance(said, str):
        for path, plate in zip(paths, plan.plates, strict=True):
            said = said.replace(path.name, shown_name(plate.name))
    return said


def _checks_of(made: Join, plan: joining.Plan) -> list[dict[str, Any]]:
    """What an earlier joining said, to be said again."""
    findings = made.report.get(FINDINGS, [])
    if not made.sha256:
        return joining.refused(made.sentence, plan, findings)
    return joining.judged(made.report, plan, findings)


def _path_of(plate: joining.Plate) -> Path:
    path = store.readable_path(plate.sha256, plate.extension)
    if path is None:
        raise TryLaterError(
            f"Neither copy of {plate.name} can be opened. Ask the system keeper to look at the "
            "disks; the check of the store repairs one copy from the other."
        )
    return path


def _demand_good_copies(refused: dict[str, Any], plan: joining.Plan) -> None:
    """Restore the stored copy of a tile that cannot be read, if it is not what was received.

    A tile that was broken when it came is an answer; one that rotted in the store is not.
    """
    number = refused.get("tile", 0)
    if refused.get("reason") != Broken.UNREADABLE.value or not number:
        return
    plate = plan.plates[number - 1]
    if store.is_good(store.FIRST, plate.sha256, plate.extension):
        return
    restored = store.repair(store.FIRST, plate.sha256, plate.extension)
    raise TryLaterError(
        f"The stored copy of {plate.name} did not match any more. "
        + (
            "It was restored from the second copy, and the tiles are joined again."
            if restored
            else "It could not be restored from the second copy: bring the same file again from "
            "the card or from another backup."
        )
    )


def _settle(failure: GuardFailure, work: Work) -> str:
    logger.warning("job %s: %s: %s", work.job_id, failure.reason, failure.detail)
    if failure.reason is Trouble.FAULT:
        raise RuntimeError(failure.detail)
    if failure.is_transient and not work.is_last_try:
        raise TryLaterError(failure.sentence)
    return failure.sentence


def _keep_refusal(work: Work, row: Deliverable, plan: joining.Plan, answer: dict[str, Any]) -> None:
    """Keep that the tiles cannot be joined; what was joined once keeps its verdict."""
    sentence = str(answer["refused"]["sentence"])
    joined_once = Join.objects.filter(deliverable=row, recipe=plan.recipe).exclude(sha256="")
    if joined_once.exists():
        raise CannotDoError(f"The joined picture cannot be made again. {sentence}")
    with work.publish():
        keep_join(
            row=row,
            plan=plan,
            values={
                "verdict": Join.Verdict.NOT_JOINED,
                "sentence": sentence,
                "report": {FINDINGS: answer[FINDINGS]},
            },
            checks=joining.refused(sentence, plan, answer[FINDINGS]),
            now=work.now(),
        )
        work.result = {"verdict": Join.Verdict.NOT_JOINED.value}


def _keep_joined(
    work: Work,
    row: Deliverable,
    plan: joining.Plan,
    answer: dict[str, Any],
    target: Path,
    inverted: Path | None,
) -> None:
    report = answer["report"]
    sha256 = hash_file(target).sha256
    size_bytes = target.stat().st_size
    store.put(target, sha256=sha256, extension=EXTENSION)
    path = store.readable_path(sha256, EXTENSION)
    if path is None:
        raise TryLaterError("The joined picture could not be read back from the store.")
    folder = store.derived_folder(sha256)
    made = ask_derive(
        guards(),
        path,
        folder,
        recipe(),
        source_sha256=sha256,
        megapixels=report["width_px"] * report["height_px"] / 1e6,
    )
    if isinstance(made, GuardFailure) and made.is_transient and not work.is_last_try:
        raise TryLaterError(made.sentence)
    if not isinstance(made, Derived):
        raise CannotDoError(f"The joined picture cannot be shown. {made.sentence}")
    pictures = _pictures(made, folder)
    name = f"joined picture ({spoken(row)})"
    files = [MadeFile(sha256, size_bytes, name, Key(sha256, EXTENSION).path, store.PLACES)]
    if inverted is not None:
        kept = folder / f"{plan.recipe}-{INVERTED}.{EXTENSION}"
        files.append(_keep_inverted(inverted, kept, f"inverted {name}"))
        pictures.append(_picture(INVERTED, kept, report["width_px"], report["height_px"]))
    with work.publish():
        keep_join(
            row=row,
            plan=plan,
            values={
                "verdict": Join.Verdict(report["verdict"]),
                "sentence": " ".join(report["reasons"] or report["notes"]),
                "report": report | {FINDINGS: answer[FINDINGS]},
                "sha256": sha256,
                "size_bytes": size_bytes,
                "width_px": report["width_px"],
                "height_px": report["height_px"],
                "pictures": pictures,
                "is_tone_stretched": made.is_tone_stretched,
            },
            checks=joining.judged(report, plan, answer[FINDINGS]),
            files=files,
            now=work.now(),
        )
        work.result = {"verdict": report["verdict"], "rms_px": report["rms_px"]}


def _keep_inverted(inverted: Path, kept: Path, name: str) -> MadeFile:
    """Put the inverted file in its place, over one that is there unless it is the same."""
    found = hash_file(inverted)
    if not kept.is_file() or hash_file(kept, is_from_disk=True) != found:
        os.replace(inverted, kept)
        sync_folder(kept.parent)
    path = str(kept.relative_to(settings.DERIVED_DIR))
    return MadeFile(found.sha256, found.size_bytes, name, path, (DERIVED,))


def _pictures(made: Derived, folder: Path) -> list[dict[str, Any]]:
    found: Sequence[Any] = made.files
    return [
        _picture(
            file.name.split("-")[1] if file.kind == "thumbnail" else file.kind,
            folder / file.name,
            file.width_px,
            file.height_px,
        )
        for file in found
    ]


def _picture(kind: str, path: Path, width_px: int, height_px: int) -> dict[str, Any]:
    return {
        "kind": kind,
        "path": str(path.relative_to(settings.DERIVED_DIR)),
        "width_px": width_px,
        "height_px": height_px,
    }
