"""Joining the tiles of a picture: what is asked, what is kept, and what the checks say of it."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings

from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableKind,
    Join,
    PlateMap,
)
from imaging_requests.imaging.joining import CODE_VERSION
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.tile_rules import RULES, SEAM_RULES
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.intake.limits import read_data, reading_limits
from imaging_requests.intake.models import FileCheck, Job

JOIN = "join"
DATA = "checks/joining-1.json"
ORDER_RULE, FIT_RULE, SEAM_RULE = "J1", "J2", "J3"
X_RAY = "XR"
Verdict = FileCheck.Verdict


@lru_cache(maxsize=1)
def join_settings() -> JoinSettings:
    """Return the numbers that joining goes by."""
    return JoinSettings.from_settings(read_data(DATA))


@dataclass(frozen=True, slots=True)
class Plate:
    """A tile in its place: column and row from 0, quarter turns clockwise, mirrored."""

    frame: int
    sha256: str
    extension: str
    name: str
    column: int
    row: int
    quarters: int = 0
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """The tiles of a picture as they shall be joined; `plate_map`: a person laid them so."""

    plates: tuple[Plate, ...]
    px_per_mm: float
    technique: str
    plate_map: PlateMap | None

    @property
    def is_x_ray(self) -> bool:
        """Whether an inverted picture is made too."""
        return self.technique == X_RAY

    @property
    def grid(self) -> tuple[int, int]:
        """Columns and rows."""
        return (
            max(plate.column for plate in self.plates) + 1,
            max(plate.row for plate in self.plates) + 1,
        )

    @property
    def ingredients(self) -> dict[str, Any]:
        """Return all that decides what comes out."""
        return {
            "code": CODE_VERSION,
            "settings": join_settings().version,
            "px_per_mm": self.px_per_mm,
            "is_fixed": self.plate_map is not None,
            "plates": [
                [plate.sha256, plate.column, plate.row, plate.quarters, plate.mirrored]
                for plate in self.plates
            ],
        }

    @property
    def recipe(self) -> str:
        """Return the name of what comes out."""
        text = json.dumps(self.ingredients, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()

    def request(self, paths: list[Path], target: Path, inverted: Path | None) -> dict[str, Any]:
        """Return what the guarded process is asked."""
        return {
            "task": "join",
            "arguments": {
                "paths": [str(path.absolute()) for path in paths],
                "target": str(target.absolute()),
                "inverted": str(inverted.absolute()) if inverted else "",
                "grid": list(self.grid),
                "plates": [[p.column, p.row, p.quarters, p.mirrored] for p in self.plates],
                "is_fixed": self.plate_map is not None,
                "px_per_mm": self.px_per_mm,
                "settings": asdict(join_settings()),
                "technique": self.technique,
                "data_folder": str(settings.BASE_DIR / "fixtures" / "checks"),
                "limits": reading_limits().as_data(),
            },
        }


def is_joined_kind(row: Deliverable) -> bool:
    """Whether the tiles of a picture are joined: one exposure of each, more than one tile."""
    return row.kind == DeliverableKind.MOSAIC


def newest_join(row: Deliverable) -> Join | None:
    """Return the joining of the tiles as they lie today; without one the last that was made."""
    made = list(row.joins.order_by("-made_at", "-pk"))
    plan = plan_of(row) if len(made) > 1 else None
    recipe = plan.recipe if plan is not None else ""
    return next((join for join in made if join.recipe == recipe), made[0] if made else None)


def work_on(row: Deliverable) -> Job | None:
    """Return the background work that joins a picture's tiles, if it was ever asked for."""
    return Job.objects.filter(kind=JOIN, subject_id=row.pk).first()


def plan_of(row: Deliverable) -> Plan | None:
    """Return how the tiles of a picture shall be joined now; None if there is nothing to join."""
    return plans_of([row]).get(row.pk)


def plans_of(rows: Iterable[Deliverable]) -> dict[int, Plan]:
    """Return how the tiles of many pictures shall be joined, by primary key, in two queries."""
    by_pk = {row.pk: row for row in rows}
    seats: dict[int, list[DeliverableFrame]] = defaultdict(list)
    for seat in (
        DeliverableFrame.objects.filter(deliverable__in=by_pk)
        .select_related("frame")
        .order_by("tile_y", "tile_x")
    ):
        seats[seat.deliverable_id].append(seat)
    laid: dict[int, PlateMap] = {}
    for plate_map in (
        PlateMap.objects.filter(deliverable__in=by_pk)
        .select_related("by")
        .order_by("recorded_at", "pk")
    ):
        laid[plate_map.deliverable_id] = plate_map
    plans = {pk: _plan(row, seats[pk], laid.get(pk)) for pk, row in by_pk.items()}
    return {pk: plan for pk, plan in plans.items() if plan is not None}


def _plan(row: Deliverable, seats: list[DeliverableFrame], laid: PlateMap | None) -> Plan | None:
    if len(seats) < 2 or any(seat.focus_slice for seat in seats):
        return None
    moved = {plate["frame"]: plate for plate in laid.plates} if laid is not None else {}
    if set(moved) != {seat.frame_id for seat in seats}:
        laid, moved = None, {}
    left = min(seat.tile_x for seat in seats)
    top = min(seat.tile_y for seat in seats)
    plates = tuple(
        Plate(
            frame=seat.frame_id,
            sha256=seat.frame.sha256,
            extension=seat.frame.extension,
            name=seat.frame.first_name,
            column=moved.get(seat.frame_id, {}).get("column", seat.tile_x - left),
            row=moved.get(seat.frame_id, {}).get("row", seat.tile_y - top),
            quarters=moved.get(seat.frame_id, {}).get("quarters", 0),
            mirrored=moved.get(seat.frame_id, {}).get("mirrored", False),
        )
        for seat in seats
    )
    return Plan(plates, row.px_per_mm, row.technique, laid)


def rules_of(technique: str) -> tuple[str, ...]:
    """Return all rules that the joining of a picture answers."""
    return (ORDER_RULE, FIT_RULE, SEAM_RULE, *RULES.get(technique, ()))


def judged(
    report: dict[str, Any], plan: Plan, findings: Iterable[Mapping[str, Any]] = ()
) -> list[dict[str, Any]]:
    """Return the checks of a joined picture: order, agreement in overlaps, step at seams.

    Infrared and X-ray have rules of their own for the seams, which are among ``findings``.
    """
    numbers = join_settings()
    made = [_order(report, plan), _fit(report, numbers)]
    if plan.technique not in SEAM_RULES:
        made.append(_seam(report, numbers))
    return made + [_found(each, plan) for each in findings]


def refused(
    sentence: str, plan: Plan, findings: Iterable[Mapping[str, Any]] = ()
) -> list[dict[str, Any]]:
    """Return the checks of tiles that could not be joined."""
    made = [_check(ORDER_RULE, Verdict.FAIL, "not joined", "joined", sentence)]
    return made + [_found(each, plan) for each in findings]


def _found(said: Mapping[str, Any], plan: Plan) -> dict[str, Any]:
    """Turn a finding on a tile into a check of its frame."""
    finding = Finding.from_data(said["finding"])
    return {
        "frame": plan.plates[said["tile"] - 1].frame,
        "rule": finding.rule_id,
        "rule_version": finding.rule_version,
        "verdict": finding.outcome.value,
        "value": "" if finding.value is None else f"{finding.value:g}",
        "unit": finding.unit[:60],
        "limit": finding.limit[:240],
        "sentence": finding.sentence,
        "place_px": None if finding.place is None else finding.place.as_list(),
    }


def _order(report: dict[str, Any], plan: Plan) -> dict[str, Any]:
    reasons = " ".join(report["reasons"])
    if plan.plate_map is not None:
        said = f"{plan.plate_map.by} laid the tiles: {plan.plate_map.note}"
        left_out = [tile for tile in report["tiles"] if tile["matrix"] is None]
        verdict = Verdict.WARN if reasons else Verdict.PASS
        if left_out:
            verdict = Verdict.FAIL
        return _check(ORDER_RULE, verdict, "laid by a person", "", f"{said} {reasons}".strip())
    if reasons:
        return _check(
            ORDER_RULE,
            Verdict.FAIL,
            "uncertain",
            "every tile in its place beyond doubt",
            f"{reasons} Look at the plate map and lay the tiles, or shoot what is missing again.",
        )
    moved = [note for note in report["notes"] if note.startswith(("Tile ", "Tiles "))]
    if report["order"] != "as_given" and moved:
        return _check(
            ORDER_RULE,
            Verdict.WARN,
            "corrected",
            "as planned",
            f"{' '.join(moved)} They were joined so; confirm it on the plate map.",
        )
    return _check(ORDER_RULE, Verdict.PASS, "as planned", "as planned", "Every tile is in place.")


def _fit(report: dict[str, Any], settings: JoinSettings) -> dict[str, Any]:
    found, in_mm = report["rms_px"], report["rms_mm"]
    verdict = Verdict.PASS
    if found > settings.residual_pass_px:
        verdict = Verdict.WARN if found <= settings.residual_warn_px else Verdict.FAIL
    words = f"The overlaps agree within {found:.2f} px"
    words += f" ({in_mm:.2f} mm)." if in_mm is not None else "."
    limit = f"≤ {settings.residual_pass_px:g} px, warning up to {settings.residual_warn_px:g} px"
    return _check(FIT_RULE, verdict, f"{found:.3f}", limit, words, "px")


def _seam(report: dict[str, Any], settings: JoinSettings) -> dict[str, Any]:
    step = report["worst_step_percent"]
    verdict = Verdict.PASS
    if step > settings.seam_pass_percent:
        verdict = Verdict.WARN if step <= settings.seam_warn_percent else Verdict.FAIL
    words = f"The largest step at a seam is {step:.2f} % of the range of levels."
    limit = f"≤ {settings.seam_pass_percent:g} %, warning up to {settings.seam_warn_percent:g} %"
    return _check(SEAM_RULE, verdict, f"{step:.2f}", limit, words, "%")


def _check(
    rule: str, verdict: str, value: str, limit: str, sentence: str, unit: str = ""
) -> dict[str, Any]:
    return {
        "rule": rule,
        "rule_version": join_settings().version,
        "verdict": str(verdict),
        "value": value,
        "unit": unit,
        "limit": limit,
        "sentence": sentence,
    }
