"""Read every stored copy again, and repair a bad one from the good one.

Masters, and the full-size files that the program made of them: joined pictures in both places, and
inverted X-rays. A made file without a good copy is asked for again; a worker makes it. Run it
nightly, or after trouble with a disk. It ends with an error if a copy of a master could not be
repaired, so that whatever runs it raises an alarm.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections import Counter
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from imaging_requests.intake import store
from imaging_requests.intake.actions.fixity import check_store
from imaging_requests.intake.proofs import CopyOutcome

SCRATCH_S = 24 * 3600
EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)
ALWAYS_SHOWN = (CopyOutcome.GOOD, CopyOutcome.REPAIRED, CopyOutcome.LOST)


class Command(BaseCommand):
    """Read every stored copy again, and repair a bad one from the good one."""

    help = (
        "Prove both copies of every master and of every joined picture; repair a bad copy from the "
        "good one, or have a joined picture made again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--older-than-days", type=float, help="only copies proven longer ago")
        parser.add_argument("--most", type=int, help="at most so many copies, oldest proof first")
        parser.add_argument(
            "--new-disk",
            choices=store.PLACES,
            help="this place lies on a new, empty disk: fill it from the other place",
        )
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        before = self._before(options["older_than_days"])
        if options["most"] is not None and options["most"] < 0:
            raise CommandError(
                f"--most {options['most']} is no number of copies. Give 0 or more, or leave it out "
                "to read all."
            )
        if options["new_disk"]:
            self._begin_anew(options["new_disk"])
        store.sweep_scratch(older_than_s=SCRATCH_S)
        counts: Counter[str] = Counter()
        trouble = []
        for report in check_store(verified_before=before, most=options["most"]):
            counts[report.outcome] += 1
            if report.outcome is not CopyOutcome.GOOD:
                trouble.append(report)
                if not options["json"]:
                    self.stderr.write(report.sentence)
        if options["json"]:
            answer = {"counts": dict(counts), "trouble": [asdict(each) for each in trouble]}
            self.stdout.write(json.dumps(answer, indent=1))
        else:
            shown = [each for each in CopyOutcome if counts[each] or each in ALWAYS_SHOWN]
            named = ", ".join(f"{counts[outcome]} {outcome}" for outcome in shown)
            self.stdout.write(f"{counts.total()} copies read: {named}.")
        if counts[CopyOutcome.UNREAD]:
            raise CommandError(
                "One place could not be read at all; nothing is known about its copies. Put it "
                "right and run this again."
            )
        if counts[CopyOutcome.LOST]:
            raise CommandError(
                f"{counts[CopyOutcome.LOST]} copies could not be repaired. Bring these files again "
                "from another backup: the same bytes heal both copies."
            )

    def _before(self, days: float | None) -> datetime | None:
        """Return the instant since which a copy must not have been proven; None for all copies."""
        if days is None:
            return None
        now = timezone.now()
        longest = (now - EARLIEST).days
        if not 0 <= days <= longest:
            raise CommandError(
                f"--older-than-days {days:g} is no number of days that can be counted back. Give 0 "
                f"to {longest}, or leave it out to read all copies."
            )
        return now - timedelta(days=days)

    def _begin_anew(self, name: str) -> None:
        try:
            store.begin_anew(name)
        except store.StoreError as error:
            raise CommandError(error.trouble) from error
