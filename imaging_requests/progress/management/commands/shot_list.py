"""Derive the exact shot list of one object from a facts document.

Run it to see what an object needs before anything is booked, or to check a protocol version or
studio settings that are still being written. It reads files only and changes nothing.
"""

import json
import sys
from argparse import ArgumentParser
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from django.conf import settings as django_settings
from django.core.management.base import BaseCommand

from imaging_requests.reckoning.shots import (
    BadProtocolError,
    BadSettingsError,
    as_data,
    as_text,
    derive_shot_list,
    read_facts,
    read_protocol,
    read_settings,
)

Read = TypeVar("Read")
REFUSED = 2
#: Characters of a value that are repeated in a sentence.
_SHOWN = 40


class _TwiceError(ValueError):
    """One name in one JSON object with two values, of which a reader would drop the first."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read: dict[str, Any] = {}
    for name, value in pairs:
        if name in read:
            both = " and ".join(_short(json.dumps(each)) for each in (read[name], value))
            raise _TwiceError(f"{_short(name)} twice ({both})")
        read[name] = value
    return read


def _short(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


class Command(BaseCommand):
    """Facts in, shot list out; refusals and questions as sentences on stderr with exit code 2."""

    help = (
        "Derive the exact shot list of one object from its facts (JSON). Exit code 0: a list was "
        "made. Exit code 2: facts, protocol or settings are wrong or missing, said on stderr."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        fixtures = Path(django_settings.BASE_DIR) / "fixtures"
        parser.add_argument("facts", help="path of FACTS.json, or - to read standard input")
        parser.add_argument("--json", action="store_true", help="answer as JSON")
        parser.add_argument(
            "--protocol",
            default=str(fixtures / "protocols" / "catalogue-3.json"),
            help="path of a protocol version (default: the catalogue set, version 3)",
        )
        parser.add_argument(
            "--studio-settings",
            default=str(fixtures / "studio" / "settings-1.json"),
            help="path of studio settings (default: version 1)",
        )
        parser.add_argument(
            "--provisional",
            action="store_true",
            help="make a list although facts are missing, marked as provisional",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        settings = self._read(options["studio_settings"], "studio settings", read_settings)
        protocol = self._read(options["protocol"], "protocol", read_protocol)
        reading = read_facts(self._load(options["facts"], "facts"), settings=settings)
        for remark in reading.remarks:
            self.stderr.write(f"Note: {remark}")
        if reading.facts is None:
            self._refuse(*reading.refusals)
        answer = derive_shot_list(
            reading.facts,
            protocol=protocol,
            settings=settings,
            provisional=options["provisional"],
        )
        if options["json"]:
            text = json.dumps(as_data(answer), indent=1, ensure_ascii=False, allow_nan=False)
            self.stdout.write(text)
        elif answer.views or not answer.questions:
            self.stdout.write(as_text(answer), ending="")
        if answer.questions and not answer.provisional:
            self._refuse(*(item.question for item in answer.questions))

    def _read(self, path: str, what: str, reader: Callable[[Mapping[str, Any]], Read]) -> Read:
        document = self._load(path, what)
        if not isinstance(document, dict):
            self._refuse(f"The {what} in {path} must be one JSON object.")
        try:
            return reader(document)
        except (BadProtocolError, BadSettingsError) as problem:
            self._refuse(f"The {what} in {path} cannot be used. {problem}")

    def _load(self, path: str, what: str) -> Any:
        try:
            text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8-sig")
            return json.loads(text, object_pairs_hook=_once)
        except _TwiceError as problem:
            self._refuse(
                f"The {what} in {'standard input' if path == '-' else path} give {problem}. "
                "Keep the right one."
            )
        except OSError as problem:
            self._refuse(f"The {what} cannot be read from {path}: {problem.strerror}.")
        except UnicodeDecodeError:
            self._refuse(f"The {what} in {path} are not text in UTF-8. Save them as UTF-8 JSON.")
        except json.JSONDecodeError as problem:
            self._refuse(
                f"The {what} in {'standard input' if path == '-' else path} are not valid JSON: "
                f"line {problem.lineno}, column {problem.colno}: {problem.msg}."
            )
        except (ValueError, RecursionError):
            self._refuse(
                f"The {what} in {'standard input' if path == '-' else path} cannot be read: a "
                "number has thousands of digits, or lists stand inside lists without end."
            )

    def _refuse(self, *sentences: str) -> NoReturn:
        for sentence in sentences:
            self.stderr.write(sentence)
        raise SystemExit(REFUSED)
