"""A worker of the guard with tasks that go wrong on purpose; run as a module by the tests."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pyvips

from imaging_requests.imaging.files import worker_main

HERE = "tests.pure.files_misbehaving"


def echo(arguments: dict[str, Any]) -> dict[str, Any]:
    """Give back what came, and who answers."""
    return {
        "got": arguments,
        "pid": os.getpid(),
        "environment": sorted(os.environ),
        "threads": pyvips.concurrency_get(),
        "folder": os.getcwd(),
    }


def hang(arguments: dict[str, Any]) -> dict[str, Any]:
    """Sleep for ever, with a grandchild that does the same."""
    child = subprocess.Popen(["sleep", "600"])
    Path(arguments["note"]).write_text(str(child.pid))
    while True:
        time.sleep(1)


def labour(arguments: dict[str, Any]) -> dict[str, Any]:
    """Work in small bits with pauses, as a process does that shares its core with many others."""
    until = time.monotonic() + arguments["for_s"]
    while time.monotonic() < until:
        bit = time.process_time() + 0.01
        while time.process_time() < bit:
            pass
        time.sleep(0.06)
    return {"done": True}


def spin(_: dict[str, Any]) -> dict[str, Any]:
    """Burn the processor for ever and take no notice of the alarm."""
    signal.signal(signal.SIGALRM, signal.SIG_IGN)
    while True:
        pass


def hoard(_: dict[str, Any]) -> dict[str, Any]:
    """Take memory without end."""
    held = []
    while True:
        held.append(bytearray(16 * 1024 * 1024))


def take_some(_: dict[str, Any]) -> dict[str, Any]:
    """Use a good part of the memory allowed, and give it back."""
    held = bytearray(os.urandom(1024)) * 350_000
    return {"pid": os.getpid(), "held": len(held)}


def hoard_pixels(_: dict[str, Any]) -> dict[str, Any]:
    """Let the decoder's own library take memory without end."""
    image = pyvips.Image.black(60_000, 60_000, bands=3).copy_memory()
    return {"size": image.width}


def crash(_: dict[str, Any]) -> dict[str, Any]:
    """Read where nothing is."""
    ctypes.string_at(0)
    return {}


def vanish(_: dict[str, Any]) -> dict[str, Any]:
    """End without a word."""
    os._exit(0)


def babble(_: dict[str, Any]) -> dict[str, Any]:
    """Write garbage where the answer belongs."""
    for number in range(3, 16):
        try:
            if "pipe" in os.readlink(f"/proc/self/fd/{number}"):
                os.write(number, b"\x00garbage{{{\n")
        except OSError:
            continue
    return {}


def flood(_: dict[str, Any]) -> dict[str, Any]:
    """Answer with more than anybody asked for."""
    return {"much": "x" * 5_000_000}


def chatter(arguments: dict[str, Any]) -> dict[str, Any]:
    """Print on both outputs, more than a pipe holds, and answer properly."""
    sys.stdout.write("to standard output " * 20_000)
    sys.stderr.write("to standard error " * 20_000)
    return {"got": arguments}


def fail(_: dict[str, Any]) -> dict[str, Any]:
    """Fail as a fault of the program does."""
    raise KeyError("no such thing")


def no_space(_: dict[str, Any]) -> dict[str, Any]:
    """Fail as a full disk does."""
    raise OSError(28, "No space left on device")


def litter(arguments: dict[str, Any]) -> dict[str, Any]:
    """Leave a file in the scratch folder, then crash or answer."""
    (Path(arguments["scratch"]) / "half.tif").write_bytes(b"half")
    if arguments["crash"]:
        os.kill(os.getpid(), signal.SIGSEGV)
    return {"scratch": arguments["scratch"]}


def worn_out(_: dict[str, Any]) -> dict[str, Any]:
    """Crash if this process has answered before."""
    worn_out.calls = getattr(worn_out, "calls", 0) + 1  # type: ignore[attr-defined]
    if worn_out.calls > 1:  # type: ignore[attr-defined]
        os.kill(os.getpid(), signal.SIGSEGV)
    return {"pid": os.getpid()}


TASKS = (
    echo, hang, labour, spin, hoard, hoard_pixels, take_some, crash, vanish, babble, flood, chatter,
    fail, no_space, litter, worn_out,
)  # fmt: skip


if __name__ == "__main__":
    worker_main.TASKS.update({task.__name__: f"{HERE}:{task.__name__}" for task in TASKS})
    sys.exit(worker_main.main())
