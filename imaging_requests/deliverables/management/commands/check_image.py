"""Measure picture files and say what is right, what is not, and what cannot be told.

Run it at the easel on a file before the object leaves, or on a folder of old files. It reads files
only and changes nothing.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from math import isfinite
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from imaging_requests.imaging.files.data_values import DataError
from imaging_requests.imaging.files.guard import GuardFailure, GuardPool
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure.ask import Measured, measure
from imaging_requests.imaging.measure.charts import read_editions
from imaging_requests.imaging.measure.checks import TECHNIQUES
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.imaging.measure.stars import MOST_STARS, Stars
from imaging_requests.intake.limits import read_data, reading_limits

FAILED, REFUSED = 1, 2
GRAVITY = (Outcome.FAIL, Outcome.CANNOT_TELL, Outcome.WARN, Outcome.PASS)
SAID = {
    Outcome.PASS: "pass",
    Outcome.WARN: "WARNING",
    Outcome.FAIL: "FAIL",
    Outcome.CANNOT_TELL: "cannot tell",
}
VISIBLE = ("VF", "VC")
ROLES = ("view", "flat", "dark", "ambient", "target")


class Command(BaseCommand):
    """Files in, findings out; nothing is written anywhere."""

    help = (
        "Measure picture files of one technique. Exit code 0: nothing failed. 1: something failed. "
        "2: a file cannot be read, or what was asked makes no sense, said on stderr."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", nargs="+", help="a picture file, or the frames of one bracket")
        parser.add_argument("--technique", required=True, choices=TECHNIQUES)
        parser.add_argument("--json", action="store_true", help="answer as JSON")
        parser.add_argument("--face", default="F", choices=("F", "B", "E", "T"))
        parser.add_argument("--role", default="view", choices=ROLES)
        parser.add_argument(
            "--direction",
            default="",
            choices=("L", "R", "T", "B"),
            help="declared side of the lamp",
        )
        parser.add_argument(
            "--ev", type=float, nargs="+", help="offset of each file in its bracket, in EV"
        )
        parser.add_argument(
            "--wanted-ev", type=float, nargs="+", default=[], help="offsets that were ordered"
        )
        parser.add_argument("--px-per-mm", type=float, help="planned density")
        parser.add_argument("--width-mm", type=float, help="width of the face")
        parser.add_argument("--height-mm", type=float, help="height of the face")
        parser.add_argument("--elevation-deg", type=float, help="lamp of the set-up card")
        parser.add_argument("--baseline-mtf50", type=float, help="of the station, cycles per pixel")
        parser.add_argument("--polarity", default="", choices=("dense_bright", "dense_dark"))
        parser.add_argument(
            "--chart", action="append", default=[], help="edition of the chart that the studio owns"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        files = [Path(name) for name in options["files"]]
        evs = options["ev"] or [None] * len(files)
        self._demand_sense(files, evs, options)
        plans = [self._plan(ev, options) for ev in evs]
        megapixels = sum(self._megapixels(path) for path in files)
        with TemporaryDirectory() as scratch, GuardPool(limits=reading_limits()) as pool:
            answer = measure(
                pool,
                list(zip(files, plans, strict=True)),
                data_folder=settings.BASE_DIR / "fixtures" / "checks",
                scratch_in=Path(scratch),
                megapixels=megapixels,
                charts=tuple(options["chart"]),
                wanted_ev=options["wanted_ev"],
            )
        if isinstance(answer, GuardFailure):
            raise CommandError(answer.sentence, returncode=REFUSED)
        verdict = _gravest(answer)
        if options["json"]:
            self.stdout.write(_as_json(answer, files, evs, verdict, options))
        else:
            self.stdout.write(_as_text(answer, files, options["technique"]))
        refused = [each for each in answer.frames if isinstance(each, Unreadable)]
        if refused:
            raise CommandError(refused[0].sentence, returncode=REFUSED)
        if verdict is Outcome.FAIL:
            raise SystemExit(FAILED)

    def _demand_sense(self, files: list[Path], evs: list[Any], options: dict[str, Any]) -> None:
        if len(evs) != len(files):
            self._refuse(f"There are {len(files)} files and {len(evs)} exposures; name one each.")
        for name in ("ev", "wanted_ev"):
            for value in options[name] or ():
                if not isfinite(value):
                    option = f"--{name.replace('_', '-')}"
                    self._refuse(f"{option} takes numbers such as -1 or 0.5, not {value:g}.")
        if (options["width_mm"] is None) != (options["height_mm"] is None):
            self._refuse("The size of a face is its width and its height; name both or none.")
        numbers = ("px_per_mm", "width_mm", "height_mm", "elevation_deg", "baseline_mtf50")
        for name in numbers:
            value = options[name]
            if value is not None and not 0 < value < float("inf"):
                self._refuse(f"--{name.replace('_', '-')} must be a number above 0, not {value:g}.")
        try:
            known = read_editions(read_data("checks/charts-1.json"))
        except DataError as error:
            self._refuse(str(error))
        for name in options["chart"]:
            if name not in known:
                self._refuse(f"No chart is called {name}; known are {', '.join(known)}.")

    def _refuse(self, sentence: str) -> None:
        raise CommandError(sentence, returncode=REFUSED)

    @staticmethod
    def _plan(ev: float | None, options: dict[str, Any]) -> Plan:
        size = None
        if options["width_mm"] is not None:
            size = (options["width_mm"], options["height_mm"])
        return Plan(
            technique=options["technique"],
            face=options["face"],
            role=options["role"],
            direction=options["direction"],
            ev=ev,
            px_per_mm=options["px_per_mm"],
            face_mm=size,
            polarity=options["polarity"],
            elevation_deg=options["elevation_deg"],
            baseline_mtf50=options["baseline_mtf50"],
        )

    @staticmethod
    def _megapixels(path: Path) -> float:
        structure = read_structure(path)
        return 0.0 if isinstance(structure, Unreadable) else structure.pixels / 1e6


def _gravest(answer: Measured) -> Outcome:
    found = [*answer.together]
    for each in answer.frames:
        if isinstance(each, Unreadable):
            return Outcome.FAIL
        found += each[0]
    outcomes = {finding.outcome for finding in found}
    return next((outcome for outcome in GRAVITY if outcome in outcomes), Outcome.CANNOT_TELL)


def _as_json(
    answer: Measured,
    files: list[Path],
    evs: list[Any],
    verdict: Outcome,
    options: dict[str, Any],
) -> str:
    strip = read_data("checks/target-strip-1.json")
    told: list[dict[str, Any]] = []
    for path, ev, each in zip(files, evs, answer.frames, strict=True):
        row: dict[str, Any] = {"file": str(path), "ev": ev}
        if isinstance(each, Unreadable):
            row["refused"] = each.as_data()
        else:
            row |= {"size_px": list(each[1]), "findings": [found.as_data() for found in each[0]]}
        told.append(row)
    data = {
        "technique": options["technique"],
        "rules_version": int(read_data("checks/measurements-1.json")["version"]),
        "charts": options["chart"] or list(strip["values"]["chart.patch_mm"]["value"]),
        "verdict": verdict.value,
        "stars": _stars(answer, options["technique"]),
        "files": told,
        "together": [found.as_data() for found in answer.together],
    }
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)


def _stars(answer: Measured, technique: str) -> dict[str, Any] | None:
    """Grade a picture in visible light as the published guideline does: by its worst value."""
    if technique not in VISIBLE:
        return None
    stars = Stars.from_settings(read_data("checks/stars-1.json"))
    worst: dict[str, int] = {}
    for each in answer.frames:
        if isinstance(each, Unreadable):
            continue
        values = {found.rule_id: found.value for found in each[0] if found.value is not None}
        for rule, count in stars.of(values).items():
            worst[rule] = min(worst.get(rule, count), count)
    if not worst:
        return None
    return {"guideline": stars.title, "least": min(worst.values()), "by_rule": worst}


def _as_text(answer: Measured, files: list[Path], technique: str) -> str:
    lines = []
    for path, each in zip(files, answer.frames, strict=True):
        lines.append(path.name)
        if isinstance(each, Unreadable):
            lines.append(f"  FAIL: {each.sentence}")
        else:
            lines += [_line(found) for found in each[0]]
    if answer.together:
        lines.append("The frames together")
        lines += [_line(found) for found in answer.together]
    stars = _stars(answer, technique)
    if stars is not None:
        count = stars["least"]
        lines.append(f"{stars['guideline']}: {count} of {MOST_STARS}, by the worst value measured")
    return "\n".join(lines)


def _line(found: Finding) -> str:
    value = "" if found.value is None else f" [{found.value:g} {found.unit}; {found.limit}]"
    return f"  {SAID[found.outcome]}, {found.title} ({found.rule_id}): {found.sentence}{value}"
