"""Take the files of a folder in as a drop, the same way as the page does.

Run it for a card reader, a hot folder (`--watch`), or from a script (`--json`). The folder is only
read. Files that are known already are answered "already here", so it may be run again at any time.
"""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from imaging_requests.campaigns.models import Session
from imaging_requests.intake import actions, jobs, queries
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.intake.rules import may_format
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User

PIECE_BYTES = 1024 * 1024
LOOK_AGAIN_S = 2.0
STILL_S = 2.0
WAIT_S = 0.3


class Command(BaseCommand):
    """Take the files of a folder in as a drop."""

    help = "Take the files of a folder in as a drop, and wait for the answer to each."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--session", type=int, help="the session in which they were shot")
        parser.add_argument("--line", type=int, help="the shot line that they were shot for")
        parser.add_argument("--as", dest="email", help="e-mail address of the one who brings them")
        parser.add_argument(
            "--watch", action="store_true", help="go on with new files until Ctrl-C"
        )
        parser.add_argument(
            "--no-wait", action="store_true", help="receive only; workers do the rest"
        )
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["folder"]
        if not folder.is_dir():
            raise CommandError(f"{folder} is no folder that can be read.")
        try:
            drop = actions.open_drop(
                actor=self._person(options),
                session_id=options["session"],
                shot_line_id=options["line"],
                note=f"From the folder {folder.name}",
            )
        except DomainError as error:
            raise CommandError(str(error)) from error
        self.is_quiet = options["json"]
        self.refusals: list[dict[str, str]] = []
        try:
            self._bring_all(drop, folder, watch=options["watch"], wait=not options["no_wait"])
        except KeyboardInterrupt:
            self._say("Stopped.")
        self._answer(drop, as_json=options["json"])

    def _person(self, options: dict[str, Any]) -> User:
        """Return who brings the files: as named, else the photographer of the session."""
        if options["email"]:
            person = User.objects.filter(email=options["email"].strip().lower()).first()
            if person is None:
                raise CommandError(f"Nobody has the address {options['email']}.")
            return person
        sessions = Session.objects.select_related("photographer")
        if options["line"]:
            session = sessions.filter(shot_lines=options["line"]).first()
        else:
            session = sessions.filter(pk=options["session"] or 0).first()
        if session is None:
            raise CommandError("Say who brings the files with --as, or name --session or --line.")
        return session.photographer

    def _bring_all(self, drop: Drop, folder: Path, *, watch: bool, wait: bool) -> None:
        seen: set[tuple[Path, int, int]] = set()
        while True:
            for path in self._new_files(folder, seen, needs_rest=watch):
                self._bring(drop, path)
                if wait:
                    jobs.run_due(["ingest"])
            if wait:
                self._wait_for(drop)
            if not watch:
                return
            time.sleep(LOOK_AGAIN_S)

    def _new_files(
        self, folder: Path, seen: set[tuple[Path, int, int]], *, needs_rest: bool
    ) -> Iterator[Path]:
        """Yield files not brought yet, in order; a watched file must have come to rest."""
        for path in sorted(path for path in folder.rglob("*") if path.is_file()):
            if path.name.startswith("."):
                continue
            found = path.stat()
            key = (path, found.st_size, found.st_mtime_ns)
            if key in seen or (needs_rest and time.time() - found.st_mtime < STILL_S):
                continue
            seen.add(key)
            yield path

    def _bring(self, drop: Drop, path: Path) -> None:
        try:
            arrival = actions.receive_whole(
                actor=drop.brought_by,
                drop_id=drop.pk,
                name=path.name,
                size_bytes=path.stat().st_size,
                chunks=_pieces(path),
            )
        except (DomainError, OSError) as error:
            self.refusals.append({"name": path.name, "answer": str(error)})
            self._say(f"{path.name}: {error}")
            return
        if arrival.state == ArrivalState.ARRIVING:
            actions.give_up_arrival(actor=drop.brought_by, token=arrival.token)
            answer = f"could be read only up to byte {arrival.offset_bytes:,}. Look at the card."
            self.refusals.append({"name": path.name, "answer": answer})
            self._say(f"{path.name} {answer}")

    def _wait_for(self, drop: Drop) -> None:
        """Do what is due, beside any workers, until every file of the drop has its answer."""
        while not queries.is_final(drop.pk):
            jobs.sweep()
            if not jobs.run_due():
                if queries.failed_jobs(drop_id=drop.pk).exists():
                    return
                time.sleep(WAIT_S)

    def _say(self, text: str) -> None:
        if not self.is_quiet:
            self.stdout.write(text)

    def _answer(self, drop: Drop, *, as_json: bool) -> None:
        arrivals = Arrival.objects.filter(drop=drop).select_related("frame").order_by("pk")
        lines = queries.progress_by_line(queries.lines_of(drop))
        card = may_format(queries.count_of(drop.pk))
        if as_json:
            answer = {
                "drop": drop.number,
                "files": [_as_data(arrival) for arrival in arrivals],
                "not_taken": self.refusals,
                "lines": [
                    {
                        "line": line.sheet.line_id,
                        "name": line.sheet.words,
                        "expected": line.expected,
                        "placed": line.placed,
                        "missing": line.sentence,
                    }
                    for line in lines
                ],
                "card_may_be_formatted": card.is_safe and not self.refusals,
                "card": card.sentence,
            }
            self.stdout.write(json.dumps(answer, indent=1, ensure_ascii=False))
            return
        for arrival in arrivals:
            because = arrival.frame.waiting_because if arrival.frame is not None else ""
            state = arrival.frame.get_state_display() if arrival.frame is not None else ""
            stands = f"{state}." if state else ""
            said = [each for each in (arrival.answer, stands, because) if each]
            self.stdout.write(f"{arrival.name}: {' '.join(said)}")
        for line in lines:
            self.stdout.write(
                f"{line.sheet.words}: {line.placed} of {line.expected}, {line.sentence}"
            )
        self.stdout.write(card.sentence)


def _pieces(path: Path) -> Iterator[bytes]:
    with open(path, "rb", buffering=0) as file:
        while piece := file.read(PIECE_BYTES):
            yield piece


def _as_data(arrival: Arrival) -> dict[str, Any]:
    frame = arrival.frame
    return {
        "name": arrival.name,
        "state": arrival.state,
        "answer": arrival.answer,
        "sha256": frame.sha256 if frame is not None else None,
        "frame": frame.state if frame is not None else None,
        "waiting_because": frame.waiting_because if frame is not None else "",
        "shot_line": frame.shot_line_id if frame is not None else None,
        "tile": [frame.tile_x, frame.tile_y] if frame is not None else None,
        "ev": frame.ev if frame is not None else None,
    }
