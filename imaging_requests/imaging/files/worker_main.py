"""The guarded process: takes requests on standard input, answers on what was standard output.

One request is one line of JSON, one answer is one line of JSON. The process limits itself before
it loads any decoder, and whatever a library prints goes to standard error, so that it cannot mix
with the answers. It ends when its input ends or its parent is gone: a fork of the parent may hold
the input open without knowing.

``python -m imaging_requests.imaging.files.worker_main --parent PID --memory-bytes N --threads N``
"""

import argparse
import importlib
import json
import os
import resource
import select
import signal
import sys
import time
from collections.abc import Iterator
from typing import Any, TextIO

from imaging_requests.imaging.files.limits import is_out_of_memory

TASKS = {
    "derive": "imaging_requests.imaging.files.tasks:derive",
    "look": "imaging_requests.imaging.likeness.look:look",
    "measure": "imaging_requests.imaging.measure.task:measure",
    "join": "imaging_requests.imaging.joining.tasks:join",
    "compare": "imaging_requests.imaging.comparison.tasks:compare",
}
"""Name of a task → module and function, loaded when first asked for: dict in, dict out."""

CPU_SLACK_S = 2
PARENT_CHECK_S = 2.0
READ_BYTES = 65_536
ORPHAN_SLACK_S = 5


def main(arguments: list[str] | None = None) -> int:
    """Limit this process, then serve requests until the input ends."""
    parser = argparse.ArgumentParser(prog="worker_main", description=__doc__)
    parser.add_argument("--parent", type=int, default=os.getppid())
    parser.add_argument("--memory-bytes", type=int, required=True)
    parser.add_argument("--threads", type=int, required=True)
    options = parser.parse_args(arguments)
    resource.setrlimit(resource.RLIMIT_AS, (options.memory_bytes, options.memory_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    answers = _take_standard_output()
    for line in _requests(options.parent):
        request = json.loads(line)
        _limit_time(request["wall_s"], request.get("patience", 1.0), options.threads)
        answer = {"id": request["id"], "answer": _answer(request)}
        signal.setitimer(signal.ITIMER_REAL, 0)
        answer["peak_bytes"] = _peak_bytes()
        print(json.dumps(answer), file=answers, flush=True)
    return 0


def _requests(parent: int) -> Iterator[bytes]:
    """Yield the lines of standard input until it ends or the parent is another process."""
    waiting = b""
    while os.getppid() == parent:
        ready, _, _ = select.select([0], [], [], PARENT_CHECK_S)
        if not ready:
            continue
        data = os.read(0, READ_BYTES)
        if not data:
            return
        *lines, waiting = (waiting + data).split(b"\n")
        yield from lines


def _take_standard_output() -> TextIO:
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    return answers


def _peak_bytes() -> int:
    """Return the largest resident size of this program.

    Not from ``getrusage``, whose figure survives the start of a new program and so begins with the
    size of the parent.
    """
    with open("/proc/self/status", encoding="ascii") as status:
        for line in status:
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    return 0


def _limit_time(wall_s: float, patience: float, threads: int) -> None:
    """Bound the processor time of this request, and end by itself if the parent is gone."""
    used = time.process_time()
    soft = int(used + wall_s * threads) + CPU_SLACK_S
    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.RLIM_INFINITY))
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, patience * wall_s + ORPHAN_SLACK_S)


def _answer(request: dict[str, Any]) -> dict[str, Any]:
    try:
        module, _, function = TASKS[request["task"]].partition(":")
        task = getattr(importlib.import_module(module), function)
        result: dict[str, Any] = task(request["arguments"])
    except MemoryError:
        return {"broken": "memory", "detail": "MemoryError"}
    except OSError as error:
        return {"broken": "storage", "detail": str(error)}
    except Exception as error:
        kind = "memory" if is_out_of_memory(str(error)) else "fault"
        return {"broken": kind, "detail": f"{type(error).__name__}: {error}"}
    return result


if __name__ == "__main__":
    sys.exit(main())
