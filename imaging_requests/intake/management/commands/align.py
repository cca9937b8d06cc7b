"""Lay one picture over another and print the map between them.

Run it to see whether an infrared picture, an X-ray or an earlier picture can be laid over a visible
one, and how well. It reads both files and changes neither; with --output it writes a new file.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

import pyvips
from django.core.management.base import BaseCommand

from imaging_requests.imaging.alignment.files import FileAlignment, align_files
from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.output import ExistsError, write_aligned
from imaging_requests.intake.limits import read_data, reading_limits

DATA = "checks/alignment-1.json"
REFUSED = 2


class Command(BaseCommand):
    """Two pictures in, the map between them out; "cannot tell" is an answer with a reason."""

    help = (
        "Find the 3 x 3 matrix from px of MOVING to px of REFERENCE. Exit code 0: answered, also "
        "with 'cannot tell'. Exit code 2: a file is missing, or the output is there already."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("reference", type=Path, help="picture that stays")
        parser.add_argument("moving", type=Path, help="picture to be laid over it")
        parser.add_argument(
            "--output", type=Path, help="write MOVING on the px grid of REFERENCE as TIFF"
        )
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        reference, moving, output = options["reference"], options["moving"], options["output"]
        limits = Limits.from_settings(read_data(DATA))
        in_the_way = _in_the_way((reference, moving), output)
        if in_the_way:
            if options["json"]:
                self._tell(_unasked(reference, moving, in_the_way, limits).as_data())
            self._refuse(in_the_way)
        answer = align_files(reference, moving, limits=limits, reading=reading_limits())
        data = answer.as_data()
        if output is not None and answer.matrix is not None:
            self._write(answer, moving, output)
            data["output"] = str(output)
        if options["json"]:
            self._tell(data)
        else:
            self.stdout.write(_as_text(data))

    def _tell(self, data: dict[str, Any]) -> None:
        self.stdout.write(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))

    def _write(self, answer: FileAlignment, moving: Path, output: Path) -> None:
        assert answer.matrix is not None
        assert answer.reference_size is not None
        width, height = answer.reference_size
        try:
            write_aligned(
                moving, output, to_reference=answer.matrix, width_px=width, height_px=height
            )
        except (ExistsError, OSError) as error:
            self._refuse(str(error))
        except pyvips.Error:
            self._refuse(f"{output} could not be written. Look whether the disk is full.")

    def _refuse(self, sentence: str) -> NoReturn:
        self.stderr.write(sentence)
        raise SystemExit(REFUSED)


def _unasked(reference: Path, moving: Path, reason: str, limits: Limits) -> FileAlignment:
    """Return the answer to two pictures that were not looked at."""
    return FileAlignment(
        reference=reference,
        moving=moving,
        reference_size=None,
        moving_size=None,
        matrix=None,
        residual_px=None,
        bend_px=None,
        found=None,
        reason=reason,
        limits=limits,
    )


def _in_the_way(pictures: tuple[Path, ...], output: Path | None) -> str:
    """Say what keeps the command from beginning; empty if nothing does."""
    for path in pictures:
        if not path.exists():
            return f"There is no file {path}."
        if not path.is_file():
            return f"{path} is a folder or a special file, not a picture. Choose the file itself."
    if output is not None and output.exists():
        return f"{output} is there already and is not overwritten. Choose another name."
    if output is not None and not output.parent.is_dir():
        return f"There is no folder {output.parent} to write into."
    return ""


def _as_text(data: dict[str, Any]) -> str:
    if data["matrix"] is None:
        return f"Cannot tell. {data['reason']}"
    rows = "\n".join("  " + "  ".join(f"{value:16.9g}" for value in row) for row in data["matrix"])
    bent = ""
    if data["bend_px"]:
        bent = (
            f"\nThe pictures are bent against each other, by up to {data['bend_px']:.2f} px "
            f"{data['bend_place']}: one map cannot follow a lens or a part that moved."
        )
    return (
        f"Aligned by a {data['model']} ({data['maps']}):\n{rows}\n"
        f"Error to be expected at the worst corner: {data['residual_px']:.2f} px. "
        f"{data['agreeing_share']:.0%} of {data['parts']} parts agree, "
        f"{data['held_out_px']:.2f} px off in the middle of all.{bent}"
    )
