"""Serve the desk size: web, workers and the clock of the sweeps, in one command."""

from __future__ import annotations

import os
import socket
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from imaging_requests.config.desk import prepare
from imaging_requests.config.supervisor import Child, Supervisor

CELERY = ["-m", "celery", "--quiet", "-A", "imaging_requests.config.celery"]
QUIET = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING"]


def children(*, host: str, port: int, slots: int) -> list[Child]:
    """Return the processes of the desk size: one web server, its workers, one clock."""
    web = [
        *("-m", "gunicorn", "imaging_requests.config.wsgi", "--bind", f"{host}:{port}"),
        *("--workers", "1", "--threads", "12", "--timeout", "0", "--graceful-timeout", "5"),
        *("--log-level", "warning", "--worker-tmp-dir", str(settings.DATA_DIR)),
    ]
    first = [*CELERY, "worker", "-P", "solo", "-n", "first@%h", "-Q", "ingest,plans,mail", *QUIET]
    worker = [*CELERY, "worker", "-P", "solo", *QUIET]
    # all help to receive: that is what a photographer with a card in the hand waits for
    pixels = [
        Child(
            f"pixel worker {number}",
            [*worker, "-n", f"pixels{number}@%h", "-Q", "ingest,pixels"],
        )
        for number in range(1, slots + 1)
    ]
    clock = Child("clock", [*CELERY, "beat", "--loglevel", "WARNING", "--pidfile", ""])
    return [Child("web", web), Child("worker", first), *pixels, clock]


class Command(BaseCommand):
    """Run it after set-up, and leave it running; Ctrl-C ends everything."""

    help = "Serve the site and its workers on this machine (desk size)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")
        host, port = options["host"], options["port"]
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError as error:
                raise CommandError(
                    f"Nothing can be served at {host}:{port}: {error.strerror}. "
                    "Another program answers there; choose another with --port."
                ) from error
        prepare(verbosity=options["verbosity"])
        crew = children(host=host, port=port, slots=settings.WORKER_SLOTS)
        Supervisor(crew).run(when_up=lambda: self._say(host, port))

    def _say(self, host: str, port: int) -> None:
        self.stdout.write(
            self.style.SUCCESS(f"Serving at http://{host}:{port}/ until you press Ctrl-C.")
        )
        self.stdout.flush()
