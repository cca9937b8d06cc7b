"""Build the whole demo: the museum first, then its story step by step, each at its own instant."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import connection
from django.db.backends.signals import connection_created

from imaging_requests.demo import asking, capturing, museum, painting, treating
from imaging_requests.demo.calendar import Calendar
from imaging_requests.demo.diary import visits
from imaging_requests.demo.scenario import Scenario
from imaging_requests.demo.world import Say, Step, World
from imaging_requests.people.wake import silence
from imaging_requests.progress.settle import settle

FRAMES = "demo-frames"


def build(scenario: Scenario, *, today: date, say: Say) -> World:
    """Make the demo in the present database and stores, and return it."""
    world = World(
        scenario=scenario,
        calendar=Calendar(
            written_for=date.fromisoformat(scenario["museum"]["demo_day"]),
            today=today,
            zone=ZoneInfo(settings.STUDIO_ZONE),
        ),
    )
    own = [visit for visit in visits(scenario) if visit.number in scenario.numbers]
    with silence(), _hastily(), painting.opened(world, own, settings.DATA_DIR / FRAMES) as room:
        started = time.monotonic()
        museum.build(world)
        say(f"The museum stands: {len(world.objects)} objects, {time.monotonic() - started:.0f} s.")
        steps = [
            *museum.steps(world),
            *treating.steps(world),
            *capturing.steps(world, own, room),
            *asking.steps(world),
        ]
        run(sorted(steps), say=say)
    return world


def run(steps: Iterable[Step], *, say: Say) -> None:
    """Let everything happen in the order of its instants, and say how each month went.

    At the end of each day the statuses are settled, as the workers of a served museum do it.
    """
    for month, of_month in groupby(steps, key=lambda step: step.at.strftime("%B %Y")):
        started, count = time.monotonic(), 0
        for _, of_day in groupby(of_month, key=lambda step: step.at.date()):
            for step in of_day:
                step.do()
                count += 1
            settle(now=step.at)
        say(f"{month}: {count} events, {time.monotonic() - started:.0f} s.")


@contextmanager
def _hastily() -> Iterator[None]:
    """Let no transaction of SQLite wait for the disk meanwhile.

    A demo that is cut short is begun again, so nothing can be lost. Files are synced as always.
    """

    def be(level: str, sender: object = None, connection: Any = connection, **_: object) -> None:
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute(f"PRAGMA synchronous = {level}")

    off = partial(be, "OFF")
    connection_created.connect(off)
    off()
    try:
        yield
    finally:
        connection_created.disconnect(off)
        be("FULL")
