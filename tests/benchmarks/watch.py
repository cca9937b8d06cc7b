"""Watch how much memory the processes of a run take, from outside."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

EVERY_S = 1.0


@dataclass
class Watch:
    """Looks at processes and all their descendants every second until it is stopped.

    The process that watches is left out.
    """

    roots: Iterable[int]
    peak_each: dict[str, int] = field(default_factory=dict)
    peak_together: int = 0
    ticks: dict[int, int] = field(default_factory=dict)
    roles: dict[int, str] = field(default_factory=dict)
    _before: dict[int, int] = field(default_factory=dict)

    @property
    def processor_s(self) -> float:
        """Return the processor time that all of them took while they were watched.

        On a machine that does other work as well this says more than the clock on the wall.
        """
        spent = sum(ticks - self._before.get(pid, 0) for pid, ticks in self.ticks.items())
        return spent / os.sysconf("SC_CLK_TCK")

    @property
    def processor_s_each(self) -> dict[str, float]:
        """Return the processor time by what the processes are."""
        spent: dict[str, float] = {}
        for pid, ticks in self.ticks.items():
            seconds = (ticks - self._before.get(pid, 0)) / os.sysconf("SC_CLK_TCK")
            spent[self.roles[pid]] = spent.get(self.roles[pid], 0.0) + seconds
        return spent

    def __enter__(self) -> Watch:
        self._before = {pid: _ticks(pid) for pid in family(self.roots)}
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._ended.wait(EVERY_S):
            together = 0
            for pid in family(self.roots) - {os.getpid()}:
                found = _status(pid)
                if found is None:
                    continue
                name, now, peak = found
                self.roles[pid] = name
                self.ticks[pid] = max(self.ticks.get(pid, 0), _ticks(pid))
                together += now
                self.peak_each[name] = max(self.peak_each.get(name, 0), peak)
            self.peak_together = max(self.peak_together, together)


def family(roots: Iterable[int]) -> set[int]:
    """Return processes and everything that they started, guarded decoders included."""
    children: dict[int, list[int]] = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        children.setdefault(int(words[1]), []).append(int(path.parent.name))
    found: set[int] = set()
    waiting = list(roots)
    while waiting:
        pid = waiting.pop()
        if pid not in found:
            found.add(pid)
            waiting.extend(children.get(pid, []))
    return found


def _ticks(pid: int) -> int:
    """Return the processor time of one process so far, in ticks of the clock."""
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0
    return int(words[11]) + int(words[12])


def _status(pid: int) -> tuple[str, int, int] | None:
    """Return what a process is, its resident bytes now, and the most it had."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
        command = Path(f"/proc/{pid}/cmdline").read_bytes().decode(errors="replace")
    except OSError:
        return None
    values = dict(line.split(":", 1) for line in lines if ":" in line)
    if "VmRSS" not in values:
        return None
    now, peak = (int(values[key].split()[0]) * 1024 for key in ("VmRSS", "VmHWM"))
    return _role(command), now, peak


def _role(command: str) -> str:
    roles = {
        "worker_main": "decoder",
        "gunicorn": "web",
        "\0worker\0": "worker",
        "\0beat\0": "clock",
    }
    return next((role for sign, role in roles.items() if sign in command), "command")


def megabytes(number: int) -> str:
    """Write bytes as megabytes."""
    return f"{number / 1e6:,.0f} MB"
