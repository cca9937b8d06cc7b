"""Build the invented Ardenmoor Museum from nothing, and serve it."""

from __future__ import annotations

import logging
import socket
import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse
from django.utils import timezone

from imaging_requests.config.desk import prepare
from imaging_requests.config.management.commands.serve import children
from imaging_requests.config.supervisor import Supervisor
from imaging_requests.demo import replacing
from imaging_requests.demo.load import build
from imaging_requests.demo.scenario import SIZES, Scenario, read_scenario
from imaging_requests.demo.verdict import differences, totals
from imaging_requests.demo.world import World
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import Role

#: Beyond this a miniature has too few pixels to be checked.
MOST_REDUCED = 40


class Command(BaseCommand):
    """Run it in a fresh checkout, or again to begin anew; Ctrl-C ends what it serves.

    An earlier demo in the same data folder is replaced completely; anything else is never touched.
    """

    help = (
        "Build the demo museum with synthetic pictures run through the real intake, and serve it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--size",
            default="small",
            help="small: eleven entries; full: all forty with every treatment and request",
        )
        parser.add_argument(
            "--reduction",
            type=float,
            help="how many times smaller pictures are than in a real studio (default: 12)",
        )
        parser.add_argument("--no-start", action="store_true", help="build only, serve nothing")
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        if options["size"] not in SIZES:
            raise CommandError(
                f"There is no demo of size “{options['size']}”. Choose small (eleven entries) or "
                "full (all forty)."
            )
        if options["reduction"] is not None and not 1 <= options["reduction"] <= MOST_REDUCED:
            raise CommandError(
                f"Pictures can be 1 to {MOST_REDUCED} times smaller than in a real studio."
            )
        if not options["no_start"]:
            self._demand_free(options["host"], options["port"])
        if options["verbosity"] < 2:
            logging.getLogger("imaging_requests").setLevel(logging.WARNING)
        started = time.monotonic()
        world = self._build(read_scenario(options["size"], reduction=options["reduction"]))
        self._say(f"Ready after {time.monotonic() - started:.0f} s.")
        differs = self._compare(world)
        address = f"http://{options['host']}:{options['port']}"
        if options["no_start"]:
            if differs:
                raise CommandError("The demo is not the one that its story tells; see above.")
            self._introduce(world, address, is_served=False)
            return
        crew = children(host=options["host"], port=options["port"], slots=settings.WORKER_SLOTS)
        Supervisor(crew).run(when_up=lambda: self._introduce(world, address, is_served=True))

    def _demand_free(self, host: str, port: int) -> None:
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError as error:
                raise CommandError(
                    f"Nothing can be served at {host}:{port}: {error.strerror}. "
                    "Another program answers there; choose another with --port."
                ) from error

    def _build(self, scenario: Scenario) -> World:
        addresses = frozenset(row["email"] for row in scenario["people"]["people"])
        try:
            if replacing.make_room(addresses=addresses):
                self._say("The earlier demo is removed.")
        except DomainError as error:
            raise CommandError(str(error)) from error
        replacing.mark()
        prepare(verbosity=0)
        return build(scenario, today=timezone.localdate(), say=self._say)

    def _compare(self, world: World) -> bool:
        """Say what the program derives of everything, and every difference to the story."""
        found = differences(world, timezone.now())
        counted = totals()
        self._say(
            f"Derived from it: {sum(counted.present.values())} present views ("
            + ", ".join(f"{number} {status}" for status, number in counted.present.most_common())
            + f") and {sum(counted.of_treatments.values())} of treatments."
        )
        self._say(f"{len(found)} differences to the story.")
        for difference in found:
            self.stderr.write(f"  {difference}")
        return bool(found)

    def _introduce(self, world: World, address: str, *, is_served: bool) -> None:
        """Print where it is, who can sign in, and what is worth looking at first."""
        data = world.scenario["people"]
        self._say("")
        self._say(self.style.SUCCESS(f"The {world.scenario['objects']['museum']}: {address}/"))
        self._say(f'Everybody signs in with the password "{data["password"]}":')
        for row in data["people"]:
            roles = ", ".join(str(Role(role).label).lower() for role in row["roles"])
            self._say(f"  {row['email']:<28} {roles}")
        self._say("Worth looking at first:")
        for row in data["worth_looking_at"]:
            target = world.entries if row["page"] == "progress:entry" else world.treatments
            path = reverse(row["page"], args=[target[row["of"]]])
            self._say(f"  {address}{path}  {row['words']}")
        if is_served:
            self._say("It is served until you press Ctrl-C.")
        else:
            self._say("Serve it with: python manage.py serve")

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()
