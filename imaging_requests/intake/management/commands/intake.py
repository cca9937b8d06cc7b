"""Take the files of a folder in as a drop, the same way as the page does.

Run it for a card reader, a hot folder (`--watch`), or from a script (`--json`). The folder is only
read. Files that are known already are answered "already here", so it may be run again at any time.
"""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError

from imaging_requests.campaigns.models import Session
from imaging_requests.intake import actions, jobs, queries
from imaging_requests.intake.errors import TooLargeError
from imaging_requests.intake.folders import Found, walk
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.intake.rules import may_format, written_out
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User

PIECE_BYTES = 1024 * 1024
LOOK_AGAIN_S = 2.0
STILL_S = 2.0
WAIT_S = 0.3
NOT_AT_REST = (
    "Not taken: the watch ended before this file had come to rest. Take the folder in again."
)
GREW = (
    "Not taken: it was still being written to while it was read, for it grew meanwhile. Take the "
    "folder in again once the file is complete."
)


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
            raise CommandError(f"{written_out(str(folder))} is no folder that can be read.")
        try:
            drop = actions.open_drop(
                actor=self._person(options),
                session_id=options["session"],
                shot_line_id=options["line"],
                note=f"From the folder {written_out(folder.name)}",
            )
        except DomainError as error:
            raise CommandError(str(error)) from error
        self.is_quiet = options["json"]
        self.left: list[dict[str, Any]] = []
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
        waiting_room = _WaitingRoom(needs_rest=watch)
        try:
            while True:
                for found in waiting_room.news(folder):
                    self._bring(drop, found)
                    if wait:
                        jobs.run_due(["ingest"])
                if wait:
                    self._wait_for(drop)
                if not watch:
                    return
                time.sleep(LOOK_AGAIN_S)
        finally:
            for path in waiting_room.restless:
                self._leave(drop, path, NOT_AT_REST)

    def _bring(self, drop: Drop, found: Found) -> None:
        """Take one file in, or say in the drop why it was not taken; the next ones follow."""
        path, token = found.path, None
        if found.because:
            self._leave(drop, path, found.because, is_needed=found.is_needed)
            return
        try:
            arrival = actions.begin_arrival(
                actor=drop.brought_by,
                drop_id=drop.pk,
                name=path.name,
                size_bytes=path.stat().st_size,
            )
            token = arrival.token
            if arrival.size_bytes:
                actions.append_bytes(
                    actor=drop.brought_by, token=token, offset=0, chunks=_pieces(path)
                )
        except TooLargeError as error:
            self._leave(drop, path, str(error) if token is None else GREW, token=token)
            return
        except (DomainError, OSError) as error:
            self._leave(drop, path, str(error), token=token)
            return
        arrival.refresh_from_db()
        if arrival.state == ArrivalState.ARRIVING:
            because = f"Could be read only up to byte {arrival.offset_bytes:,}. Look at the card."
            self._leave(drop, path, because, token=token)

    def _leave(
        self,
        drop: Drop,
        path: Path,
        because: str,
        *,
        token: UUID | None = None,
        is_needed: bool = True,
    ) -> None:
        """Name what is not taken in the drop, so that no receipt speaks as if it were."""
        arrival = actions.leave_behind(
            actor=drop.brought_by,
            drop_id=drop.pk,
            name=path.name or "folder",
            because=because,
            token=token,
            is_needed=is_needed,
        )
        self.left.append({"name": str(arrival.name), "answer": because, "is_needed": is_needed})
        if is_needed:
            self._say(f"{arrival.name}: {because}")

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
                "not_taken": self.left,
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
                "card_may_be_formatted": card.is_safe,
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


@dataclass
class _WaitingRoom:
    """Files that were seen, and when by our own clock; the clock of a card may say anything."""

    needs_rest: bool
    seen: set[tuple[Path, int, int]] = field(default_factory=set)
    since: dict[tuple[Path, int, int], float] = field(default_factory=dict)
    restless: list[Path] = field(default_factory=list)

    def news(self, folder: Path) -> Iterator[Found]:
        """Yield what was not brought yet, in order; a watched file must have come to rest."""
        self.restless = []
        for found in walk(folder):
            try:
                key = _key(found)
            except FileNotFoundError:
                continue
            except OSError as error:
                found = Found(found.path, f"It cannot be looked at ({error.strerror}).")
                key = _key(found)
            if key in self.seen:
                continue
            if self.needs_rest and not found.because and not self._rests(key):
                self.restless.append(found.path)
                continue
            self.seen.add(key)
            yield found

    def _rests(self, key: tuple[Path, int, int]) -> bool:
        """Tell whether a file is old by its own time, or has stayed the same under our eyes."""
        first_seen = self.since.setdefault(key, time.monotonic())
        age_s = time.time() - key[2] / 1e9
        return age_s >= STILL_S or time.monotonic() - first_seen >= STILL_S


def _key(found: Found) -> tuple[Path, int, int]:
    """Return by what a file that changed is told from the same file as before."""
    if found.because:
        return (found.path, 0, 0)
    stands = found.path.stat()
    return (found.path, stands.st_size, stands.st_mtime_ns)


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
