"""Recompute statuses, or prove that the cache equals a computation from scratch."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from imaging_requests.collection.actions import mark_everything_stale
from imaging_requests.progress.balance import imbalances
from imaging_requests.progress.settle import settle, verify


class Command(BaseCommand):
    """Run it with --verify every night; a difference is an incident, never a silent repair."""

    help = "Recompute every status; with --verify change nothing and fail on a difference."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--verify", action="store_true")
        parser.add_argument("--json", action="store_true", dest="as_json")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["verify"]:
            mark_everything_stale()
            number = settle()
            self._answer(options, {"objects": number}, f"Recomputed {number} objects.")
            return
        settle()
        found = verify()
        rows = [
            {
                "object": each.object_id,
                "view": each.view_id,
                "cached": each.cached,
                "derived": each.derived,
            }
            for each in found
        ]
        unequal = [str(each) for each in imbalances(timezone.now())]
        self._answer(
            options,
            {"differences": rows, "imbalances": unequal},
            "\n".join([f"{len(rows)} differences between cache and rules.", *unequal]),
        )
        if rows or unequal:
            raise CommandError("The cache differs from the rules; nothing was changed.")

    def _answer(self, options: dict[str, Any], data: dict[str, Any], words: str) -> None:
        self.stdout.write(json.dumps(data) if options["as_json"] else words)
