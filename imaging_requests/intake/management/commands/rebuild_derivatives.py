"""Make pyramids and small pictures again: those that are missing, or all.

Run it after the folder of derived files was deleted or moved, or after an update that makes them
differently. Masters are only read, and what is there and up to date is not made again.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from imaging_requests.intake import jobs, queries
from imaging_requests.intake.actions.deriving import ask_for_pictures
from imaging_requests.intake.rebuilding import rebuilders


class Command(BaseCommand):
    """Make pyramids and small pictures again from the masters."""

    help = "Make missing or outdated pyramids and small pictures again from the masters."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--all", action="store_true", help="look at every master anew")
        parser.add_argument("--dry-run", action="store_true", help="only say how many there are")
        parser.add_argument(
            "--no-wait", action="store_true", help="only ask for the work; workers do it"
        )
        parser.add_argument("--json", action="store_true", help="answer as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        wanted = queries.frames_without_pictures(
            Path(settings.DERIVED_DIR), everything=options["all"]
        )
        others = [(each, each.lost()) for each in rebuilders()]
        failed_before = set(queries.failed_jobs().values_list("pk", flat=True))
        if not options["dry_run"]:
            ask_for_pictures(wanted)
            for rebuilder, lost in others:
                rebuilder.ask(lost)
        done = 0
        if not options["dry_run"] and not options["no_wait"]:
            done = jobs.run_due(["pixels"])
        failed = queries.failed_jobs().exclude(pk__in=failed_before).count()
        answer = {"masters": len(wanted), "done": done, "failed": failed}
        answer |= {rebuilder.words: len(lost) for rebuilder, lost in others if lost}
        needed = [f"{len(lost):,} {rebuilder.words}" for rebuilder, lost in others if lost]
        said = f"{len(wanted):,} masters need pictures; {done:,} were read now."
        if needed:
            said = f"{said} Missing beside them: {', '.join(needed)}."
        self.stdout.write(json.dumps(answer) if options["json"] else said)
        if failed:
            raise CommandError(f"{failed:,} could not be done; see the pages of their drops.")
