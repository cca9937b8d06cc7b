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
from imaging_requests.demo import large, replacing
from imaging_requests.demo.load import build
from imaging_requests.demo.scenario import SIZES, Scenario, people_of_the_house, read_scenario
from imaging_requests.demo.verdict import differences, totals
from imaging_requests.demo.world import World
from imaging_requests.intake.tasks import prove_copies
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import Role

#: Beyond this a miniature has too few pixels to be checked.
MOST_REDUCED = 40
LARGE = "large"
#: A page and why it is worth looking at.
Sight = tuple[str, str]


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
            help=(
                "small: eleven entries; full: all forty with every treatment and request; "
                "large: a hundred thousand objects without pictures, for measuring"
            ),
        )
        parser.add_argument(
            "--reduction",
            type=float,
            help="how many times smaller pictures are than in a real studio (default: 12)",
        )
        parser.add_argument("--objects", type=int, help="of the large demo, instead of 100,000")
        parser.add_argument("--no-start", action="store_true", help="build only, serve nothing")
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        self._demand_options(options)
        if options["verbosity"] < 2:
            logging.getLogger("imaging_requests").setLevel(logging.WARNING)
        address = f"http://{options['host']}:{options['port']}"
        started = time.monotonic()
        if options["size"] == LARGE:
            sights = self._fill(options["objects"] or large.SIZE)
            differs = False
        else:
            world = self._build(read_scenario(options["size"], reduction=options["reduction"]))
            differs = self._compare(world)
            sights = _sights(world)
        self._say(f"Ready after {time.monotonic() - started:.0f} s.")
        if options["no_start"]:
            if differs:
                raise CommandError("The demo is not the one that its story tells; see above.")
            self._introduce(address, sights, is_served=False)
            return
        crew = children(host=options["host"], port=options["port"], slots=settings.WORKER_SLOTS)
        Supervisor(crew).run(when_up=lambda: self._open(address, sights))

    def _open(self, address: str, sights: list[Sight]) -> None:
        """Introduce the museum, and have the workers read its copies again.

        The files of the story came weeks ago by its calendar: most are due for their next proof.
        """
        self._introduce(address, sights, is_served=True)
        prove_copies.delay()

    def _demand_options(self, options: dict[str, Any]) -> None:
        """Refuse in words what cannot be built or served, before anything is touched."""
        size, reduction, objects = (options[name] for name in ("size", "reduction", "objects"))
        if size not in (*SIZES, LARGE):
            raise CommandError(
                f"There is no demo of size “{size}”. Choose small (eleven entries), full (all "
                "forty) or large (a hundred thousand objects without pictures)."
            )
        if reduction is not None and not 1 <= reduction <= MOST_REDUCED:
            raise CommandError(
                f"Pictures can be 1 to {MOST_REDUCED} times smaller than in a real studio."
            )
        if objects is not None and (size != LARGE or objects < 1):
            raise CommandError("A number of objects, 1 or more, is given for the large demo only.")
        if not options["no_start"]:
            self._demand_free(options["host"], options["port"])

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

    def _make_room(self) -> None:
        addresses = frozenset(row["email"] for row in people_of_the_house()["people"])
        try:
            if replacing.make_room(addresses=addresses):
                self._say("The earlier demo is removed.")
        except DomainError as error:
            raise CommandError(str(error)) from error
        replacing.mark()
        prepare(verbosity=0)

    def _build(self, scenario: Scenario) -> World:
        self._make_room()
        return build(scenario, today=timezone.localdate(), say=self._say)

    def _fill(self, objects: int) -> list[Sight]:
        """Fill the database in bulk; the museum of the story is another one."""
        self._make_room()
        try:
            large.load(objects, self.stdout)
        except DomainError as error:
            raise CommandError(str(error)) from error
        return [(reverse("progress:catalogues"), "The catalogues, the first with most entries.")]

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

    def _introduce(self, address: str, sights: list[Sight], *, is_served: bool) -> None:
        """Print where it is, who can sign in, and what is worth looking at first."""
        data = people_of_the_house()
        self._say("")
        self._say(self.style.SUCCESS(f"The {data['museum']}: {address}/"))
        self._say(f'Everybody signs in with the password "{data["password"]}":')
        for row in data["people"]:
            roles = ", ".join(str(Role(role).label).lower() for role in row["roles"])
            self._say(f"  {row['email']:<28} {roles}")
        self._say("Worth looking at first:")
        for path, words in sights:
            self._say(f"  {address}{path}  {words}")
        if is_served:
            self._say("It is served until you press Ctrl-C.")
        else:
            self._say("Serve it with: python manage.py serve")

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()


def _sights(world: World) -> list[Sight]:
    """What is worth looking at first in the museum of the story."""
    found: list[Sight] = []
    for row in world.scenario["people"]["worth_looking_at"]:
        target = world.entries if row["page"] == "progress:entry" else world.treatments
        found.append((reverse(row["page"], args=[target[row["of"]]]), row["words"]))
    return found
