"""Join overlapping tiles to one picture and say how well they fit.

Run it to join files outside a session, or to look into a join that the program called uncertain.
The tiles are only read; the picture is written under a name that must be free.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser, ArgumentTypeError
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from imaging_requests.imaging.joining.join import JoinRequest, join_tiles
from imaging_requests.imaging.joining.paint_plane import XrayGeometry
from imaging_requests.imaging.joining.report import JoinReport, Verdict
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.words import Unjoined
from imaging_requests.intake.limits import read_data, reading_limits

REFUSED, UNSURE = 2, 3
DATA = "checks/joining-1.json"


class Command(BaseCommand):
    """Tiles in, one picture and a report out; a refusal is a sentence on stderr."""

    help = (
        "Join overlapping tiles, named row by row from the top left, to one tiled TIFF. Exit code "
        "0: joined. 2: no picture, the reason is on stderr. 3: a picture, but uncertain; the "
        "reasons are on stderr."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("output", type=Path, metavar="OUT.tif")
        parser.add_argument("tiles", type=Path, nargs="+", metavar="TILE")
        parser.add_argument("--grid", type=_grid, help="columns x rows, such as 4x3")
        parser.add_argument("--px-per-mm", type=_positive, help="density on the object")
        parser.add_argument("--inverted", type=Path, help="also write max − x under this name")
        parser.add_argument("--sdd-mm", type=_positive, help="X-ray: source to detector")
        parser.add_argument("--odd-mm", type=_positive, help="X-ray: paint to detector")
        parser.add_argument("--highest-mm", type=_positive, default=0.0, help="X-ray: bars")
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            xray = _xray(options)
        except ValueError as problem:
            self.stderr.write(str(problem))
            raise SystemExit(REFUSED) from None
        answer = join_tiles(
            options["tiles"],
            options["output"],
            JoinRequest(
                grid=options["grid"],
                px_per_mm=options["px_per_mm"],
                xray=xray,
                inverted=options["inverted"],
            ),
            settings=JoinSettings.from_settings(read_data(DATA)),
            limits=reading_limits(),
        )
        if options["json"]:
            data = answer.as_data()
            self.stdout.write(json.dumps(data, ensure_ascii=False, allow_nan=False))
        if isinstance(answer, Unjoined):
            self.stderr.write(answer.sentence)
            raise SystemExit(REFUSED)
        if not options["json"]:
            self._tell(answer)
        if answer.verdict is Verdict.UNCERTAIN:
            for reason in answer.reasons:
                self.stderr.write(reason)
            raise SystemExit(UNSURE)

    def _tell(self, report: JoinReport) -> None:
        in_mm = "" if report.rms_mm is None else f" ({report.rms_mm:.3f} mm)"
        self.stdout.write(
            f"{report.output}: {report.width_px} × {report.height_px} px from "
            f"{sum(tile.matrix is not None for tile in report.tiles)} of {len(report.tiles)} tiles "
            f"in {report.columns} × {report.rows}. The overlaps agree within {report.rms_px:.3f} px"
            f"{in_mm}; the largest step at a seam is {report.worst_step_percent:.2f} %."
        )
        for note in report.notes:
            self.stdout.write(note)


def _xray(options: dict[str, Any]) -> XrayGeometry | None:
    if options["sdd_mm"] is None and options["odd_mm"] is None:
        return None
    if options["sdd_mm"] is None or options["odd_mm"] is None:
        raise ValueError("Give both --sdd-mm and --odd-mm, or neither.")
    return XrayGeometry(options["sdd_mm"], options["odd_mm"], options["highest_mm"])


def _grid(text: str) -> tuple[int, int]:
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2 or not all(
        part.isascii() and part.isdigit() and int(part) for part in parts
    ):
        raise ArgumentTypeError(f"{text} is no grid; write columns x rows, such as 4x3.")
    return int(parts[0]), int(parts[1])


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ArgumentTypeError(f"{text} is no number.") from None
    if not 0 < value < float("inf"):
        raise ArgumentTypeError(f"{text} is no number above zero.")
    return value
