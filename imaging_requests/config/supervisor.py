"""Keep the few processes of the desk size running, and end them together."""

from __future__ import annotations

import ctypes
import logging
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from types import FrameType

logger = logging.getLogger(__name__)

GRACE_SECONDS = 10.0
PR_SET_PDEATHSIG = 1
LONGEST_PAUSE_SECONDS = 30.0


def _end_with_parent() -> None:
    """Ask Linux to end this child when the supervisor dies, even if it is killed outright."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


@dataclass
class Child:
    """One process to keep running; a crash is answered with a growing pause, then a new start."""

    name: str
    arguments: list[str]
    process: subprocess.Popen[bytes] | None = None
    pause_seconds: float = 1.0
    start_after: float = 0.0
    started_at: float = 0.0


class Supervisor:
    """Starts children, restarts those that end, and ends all on a signal."""

    def __init__(self, children: list[Child]) -> None:
        self.children = children
        self.stopping = False

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self.stopping = True

    def run(self, *, when_up: Callable[[], None]) -> None:
        """Run until a signal; `when_up` is called once after the first start of all children."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._stop)
        try:
            self._tend()
            when_up()
            while not self.stopping:
                time.sleep(0.3)
                self._tend()
        finally:
            self._end_all()

    def _tend(self) -> None:
        now = time.monotonic()
        for child in self.children:
            if child.process is not None and child.process.poll() is not None:
                if now - child.started_at > 60:
                    child.pause_seconds = 1.0
                logger.warning(
                    "%s ended with %s; it starts again in %.0f s",
                    child.name,
                    child.process.returncode,
                    child.pause_seconds,
                )
                child.process = None
                child.start_after = now + child.pause_seconds
                child.pause_seconds = min(child.pause_seconds * 2, LONGEST_PAUSE_SECONDS)
            if child.process is None and now >= child.start_after and not self.stopping:
                child.process = subprocess.Popen(
                    [sys.executable, *child.arguments],
                    start_new_session=True,
                    preexec_fn=_end_with_parent,
                )
                child.started_at = now

    def _end_all(self) -> None:
        living = [child.process for child in self.children if child.process is not None]
        for process in living:
            process.terminate()
        deadline = time.monotonic() + GRACE_SECONDS
        for process in living:
            try:
                process.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
