"""One guarded process: start it, exchange a line with it under a deadline, end it for certain."""

import contextlib
import os
import selectors
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import IO, cast

import imaging_requests

WORKER = "imaging_requests.imaging.files.worker_main"
ROOT = Path(imaging_requests.__file__).resolve().parents[1]
PASSED_ON = ("PATH", "LD_LIBRARY_PATH", "TMPDIR", "SYSTEMROOT")
TAIL_BYTES = 4_096
READ_BYTES = 65_536
END_WAIT_S = 5.0
POLL_S = 0.005
LOOK_S = 0.5
AT_WORK_SHARE = 0.01
"""A process that had this share of a core since the last look is at work and waits its turn."""


class ChildError(Exception):
    """The process gave no usable answer. ``return_code`` is None while it was still running."""

    def __init__(self, kind: str, *, return_code: int | None, printed: str) -> None:
        super().__init__(f"{kind}, return code {return_code}: {printed}")
        self.kind = kind
        self.return_code = return_code
        self.printed = printed


class Child:
    """A worker process in a process group of its own, with nothing of our environment.

    Secrets live in the environment, and a decoder fed with foreign files has no need of them.
    """

    def __init__(self, *, memory_bytes: int, threads: int, worker: str = WORKER) -> None:
        command = [sys.executable, "-P", "-m", worker, "--parent", str(os.getpid())]
        command += ["--memory-bytes", str(memory_bytes), "--threads", str(threads)]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd="/",
            env=_environment(threads),
            start_new_session=True,
            bufsize=0,
        )
        self._stdin = cast(IO[bytes], self._process.stdin)
        self._stdout = cast(IO[bytes], self._process.stdout)
        self._stderr = cast(IO[bytes], self._process.stderr)
        self._printed = b""

    @property
    def is_alive(self) -> bool:
        """Whether the process is still running."""
        return self._return_code(wait_s=0) is None

    def exchange(
        self, line: bytes, *, wall_s: float, max_answer_bytes: int, patience: float = 1.0
    ) -> bytes:
        """Send one line and return the one line that comes back.

        ``patience``: a process that is at work and has not had ``wall_s`` of processor time, since
        the machine is busy, may take so many times as long.

        Raises ``ChildError`` of kind "time" (no line within that), "end" (the process ended) or
        "garbled" (more than one line, or more bytes than allowed).
        """
        started, used_before = time.monotonic(), self._processor_s()
        deadline, last = started + wall_s, started + patience * wall_s
        used = used_before
        try:
            self._stdin.write(line + b"\n")
        except BrokenPipeError:
            raise self._ended() from None
        received = b""
        with selectors.DefaultSelector() as selector:
            selector.register(self._stdout, selectors.EVENT_READ)
            selector.register(self._stderr, selectors.EVENT_READ)
            while b"\n" not in received:
                ready = selector.select(max(deadline - time.monotonic(), 0))
                if not ready:
                    had, used = used, self._processor_s()
                    is_at_work = used - had >= AT_WORK_SHARE * LOOK_S
                    is_starved = used - used_before < wall_s
                    if not (is_at_work and is_starved and time.monotonic() < last):
                        raise self._error("time")
                    deadline = min(time.monotonic() + LOOK_S, last)
                for key, _ in ready:
                    data = os.read(key.fd, READ_BYTES)
                    if key.fileobj is self._stderr:
                        self._printed = (self._printed + data)[-TAIL_BYTES:]
                        if not data:
                            selector.unregister(key.fileobj)
                    elif not data:
                        raise self._ended()
                    else:
                        received += data
                if len(received) > max_answer_bytes:
                    raise self._error("garbled")
        answer, _, rest = received.partition(b"\n")
        if rest:
            raise self._error("garbled")
        return answer

    def _processor_s(self) -> float:
        """Processor time that the process has had, all threads together; 0 if it is gone."""
        try:
            stat = Path(f"/proc/{self._process.pid}/stat").read_text("ascii")
        except OSError:
            return 0.0
        user, system = stat.rpartition(")")[2].split()[11:13]
        return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")

    def finish(self) -> None:
        """Let an idle process end by closing its input; kill it if it does not."""
        self._stdin.close()
        self._return_code(wait_s=END_WAIT_S)
        self.kill()

    def kill(self) -> None:
        """Kill the process and everything that it started, and take back its pipes."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        for pipe in (self._stdin, self._stdout, self._stderr):
            pipe.close()

    def _return_code(self, *, wait_s: float) -> int | None:
        """Wait for the end of the process and return its code; None if it is still running.

        The ended process is left in the system's table until ``kill``, so that its number cannot
        pass to a stranger before the rest of its group is killed.
        """
        deadline = time.monotonic() + wait_s
        while True:
            ended = os.waitid(os.P_PID, self._process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT)
            if ended is not None:
                is_exit = ended.si_code == os.CLD_EXITED
                return ended.si_status if is_exit else -ended.si_status
            if time.monotonic() >= deadline:
                return None
            time.sleep(POLL_S)

    def _ended(self) -> ChildError:
        return_code = self._return_code(wait_s=END_WAIT_S)
        os.set_blocking(self._stderr.fileno(), False)
        last = self._stderr.read() or b""
        self._printed = (self._printed + last)[-TAIL_BYTES:]
        return self._error("garbled" if return_code is None else "end", return_code)

    def _error(self, kind: str, return_code: int | None = None) -> ChildError:
        printed = self._printed.decode("utf-8", "replace").strip()
        return ChildError(kind, return_code=return_code, printed=printed)


def _environment(threads: int) -> dict[str, str]:
    kept = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    return kept | {
        "LANG": "C.UTF-8",
        "PYTHONPATH": str(ROOT),
        "PYTHONNOUSERSITE": "1",
        "VIPS_CONCURRENCY": str(threads),
        "OPENBLAS_NUM_THREADS": "1",
        "MALLOC_ARENA_MAX": "2",
    }
