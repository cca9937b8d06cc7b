"""Compare two pictures of one view made before and after: grade, noise floor, change map.

Run it to see what a treatment changed, or whether two shoots can be compared at all. The files are
only read. Without the set-ups of both shoots the answer is "indicative" at best.
"""

import json
import os
import sys
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.conf import settings
from django.core.management.base import BaseCommand

from imaging_requests.imaging.comparison.answer import as_text
from imaging_requests.imaging.comparison.ask import ask_compare
from imaging_requests.imaging.comparison.files import RefusedError, read_matrix
from imaging_requests.imaging.comparison.set_up import Pair, SetUp
from imaging_requests.imaging.comparison.set_up_data import read_set_ups
from imaging_requests.imaging.comparison.terms import TECHNIQUES
from imaging_requests.imaging.files.guard import GuardFailure, GuardPool
from imaging_requests.intake.limits import reading_limits

REFUSED = 2
ANSWER_VERSION = 1


class Command(BaseCommand):
    """Two files in; the grade, its sentence and the map out. Refusals are sentences on stderr."""

    help = (
        "Compare a picture made before with one made after. Exit code 0: compared, or graded N "
        "with the reason. Exit code 2: the pictures cannot be compared, said on stderr."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("before", help="path of the earlier picture")
        parser.add_argument("after", help="path of the later picture")
        parser.add_argument("--technique", default="VF", help=f"one of {', '.join(TECHNIQUES)}")
        parser.add_argument(
            "--matrix",
            default="",
            help="3 × 3 matrix from px of AFTER to px of BEFORE: nine numbers, JSON, the path of a "
            "JSON file, or identity; without it the pictures are aligned",
        )
        parser.add_argument(
            "--px-per-mm", type=float, default=None, help="density of BEFORE on the object"
        )
        parser.add_argument("--set-ups", default="", help="path of a JSON file with both set-ups")
        parser.add_argument(
            "--same-set-up",
            action="store_true",
            help="vouch that whatever was not recorded was the same; such rows count as B",
        )
        parser.add_argument("--output", default="", help="write the comparison as PNG here")
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    #: What is answered as JSON beside the sentence if the comparison is refused; None without.
    _refusal: dict[str, Any] | None = None

    def handle(self, *args: Any, **options: Any) -> None:
        technique = str(options["technique"]).upper()
        self._refusal = {"version": ANSWER_VERSION} if options["json"] else None
        if technique not in TECHNIQUES:
            self._refuse(
                f"The technique {options['technique']} is not known; it is one of "
                f"{', '.join(TECHNIQUES)}."
            )
        if self._refusal is not None:
            self._refusal["technique"] = technique
        output = self._output(options["output"])
        before_set_up, after_set_up, pair = self._set_ups(options["set_ups"])
        try:
            matrix = read_matrix(options["matrix"]) if options["matrix"] else None
        except RefusedError as refusal:
            self._refuse(str(refusal))
        with tempfile.TemporaryDirectory(
            dir=None if output is None else output.parent, prefix=".part-"
        ) as scratch:
            drawn = Path(scratch) / "sheet.png"
            answer = self._asked(
                technique,
                (Path(options["before"]), Path(options["after"])),
                (before_set_up, after_set_up, pair),
                {
                    "matrix": None if matrix is None else matrix.tolist(),
                    "px_per_mm": options["px_per_mm"],
                    "is_vouched": options["same_set_up"],
                    "reads_targets": True,
                    "output": None if output is None else str(drawn),
                },
            )
            data = answer["answer"]
            if output is not None and data["output"] is not None:
                self._publish(drawn, output)
                data["output"] = str(output)
        for note in answer["notes"]:
            self.stderr.write(f"Note: {note}")
        if output is not None and data["output"] is None:
            self.stderr.write("Pictures of grade N are not compared, so no picture was written.")
        if options["json"]:
            self.stdout.write(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))
        else:
            self.stdout.write(as_text(data))

    def _output(self, text: str) -> Path | None:
        if not text:
            return None
        path = Path(text)
        if path.suffix.lower() != ".png":
            self._refuse(f"The comparison is written as PNG; {path.name} does not end in .png.")
        if path.exists():
            self._refuse(f"{path} is there already and is not overwritten. Choose another name.")
        if not path.parent.is_dir():
            self._refuse(f"The folder {path.parent} does not exist.")
        return path

    def _set_ups(self, path: str) -> tuple[SetUp, SetUp, Pair]:
        if not path:
            return SetUp(), SetUp(), Pair()
        try:
            text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8-sig")
            return read_set_ups(json.loads(text))
        except OSError as problem:
            self._refuse(f"The set-ups cannot be read from {path}: {problem.strerror}.")
        except UnicodeDecodeError:
            self._refuse(f"The set-ups in {path} are not text in UTF-8. Save them as UTF-8 JSON.")
        except json.JSONDecodeError as problem:
            self._refuse(
                f"The set-ups in {path} are not valid JSON: line {problem.lineno}, column "
                f"{problem.colno}: {problem.msg}."
            )
        except (ValueError, RecursionError) as problem:
            self._refuse(str(problem))

    def _asked(
        self,
        technique: str,
        files: tuple[Path, Path],
        used: tuple[SetUp, SetUp, Pair],
        more: dict[str, Any],
    ) -> dict[str, Any]:
        """Ask a guarded process, since a foreign file may bring a decoder down."""
        limits = reading_limits()
        with GuardPool(limits=limits) as pool:
            answer = ask_compare(
                pool,
                technique,
                *files,
                data_folder=settings.BASE_DIR / "fixtures" / "checks",
                reading=limits,
                set_ups=used[:2],
                pair=used[2],
                megapixels=sum(self._bytes(path) for path in files) / 1e6,
                more=more,
            )
        if isinstance(answer, GuardFailure):
            self._refuse(answer.sentence)
        if "refused" in answer:
            hint = " Or give the map from px of AFTER to px of BEFORE with --matrix."
            self._refuse(f"{answer['refused']}{hint if answer['is_alignment'] else ''}")
        return answer

    @staticmethod
    def _bytes(path: Path) -> int:
        """Size of a file, which is no less than its px as a rule; 0 if it cannot be asked."""
        try:
            return path.stat().st_size
        except OSError:
            return 0

    def _publish(self, drawn: Path, path: Path) -> None:
        """Give the finished picture its name, unless somebody took it meanwhile."""
        try:
            os.link(drawn, path)
        except FileExistsError:
            self._refuse(f"{path} is there already and is not overwritten. Choose another name.")
        except OSError as problem:
            self._refuse(f"The comparison cannot be written to {path}: {problem.strerror}.")

    def _refuse(self, sentence: str) -> NoReturn:
        if self._refusal is not None:
            data = self._refusal | {"refused": sentence}
            self.stdout.write(json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False))
        self.stderr.write(sentence)
        raise SystemExit(REFUSED)
