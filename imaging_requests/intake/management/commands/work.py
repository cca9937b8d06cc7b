"""Do due background work in this process, without a broker.

Run it when no worker is running, to load a demonstration or to catch up by hand. It may run beside
workers: each job is done once.
"""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from imaging_requests.intake import jobs
from imaging_requests.intake.actions.receiving import tidy_quarantine
from imaging_requests.intake.models import Job, JobState

IDLE_S = 0.5


class Command(BaseCommand):
    """Do due background work in this process."""

    help = "Do due background work in this process, until Ctrl-C or until nothing is left."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--until-empty",
            action="store_true",
            help="end when nothing is due or will be; waits for pauses between tries",
        )
        parser.add_argument(
            "--queue", action="append", choices=sorted(jobs.TASKS), help="only this queue"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        queues: list[str] = options["queue"] or []
        done = 0
        tidy_quarantine()
        while True:
            jobs.sweep()
            now_done = jobs.run_due(queues)
            done += now_done
            if options["until_empty"] and not self._left(queues):
                break
            if not now_done:
                time.sleep(IDLE_S)
        if options["verbosity"]:
            self.stdout.write(f"{done} {'job' if done == 1 else 'jobs'} done; nothing is left.")

    def _left(self, queues: list[str]) -> bool:
        left = Job.objects.filter(
            state__in=(JobState.DUE, JobState.CLAIMED), kind__in=list(jobs.KINDS)
        )
        return (left.filter(queue__in=queues) if queues else left).exists()
