"""Run the decoding of foreign files in processes that may fail without harm to anybody else.

``run`` starts a process for one request. ``GuardPool`` keeps warm processes for many. Both answer
with a dict, or with a ``GuardFailure`` that says what went wrong; neither ever waits longer than
the limits allow, and neither raises because of a file.
"""

import itertools
import json
import os
import queue
import shutil
import signal
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from imaging_requests.imaging.files.child import WORKER, Child, ChildError
from imaging_requests.imaging.files.limits import Limits, is_out_of_memory


class Trouble(StrEnum):
    """Why a request got no answer."""

    TIME = "time"
    MEMORY = "memory"
    CRASH = "crash"
    GARBLED = "garbled"
    STORAGE = "storage"
    FAULT = "fault"


SENTENCES = {
    Trouble.TIME: "Decoding took longer than {wall_s:.0f} seconds and was stopped. That does not "
    "say that the file is bad: the machine may be too busy, or the file leads the decoder in "
    "circles. Try once more when the machine is less busy; if it happens again, export the picture "
    "anew and send that.",
    Trouble.MEMORY: "The picture needs more than {memory_mb:,.0f} MB of memory to decode and was "
    "stopped. It is probably interlaced or progressive, or damaged. Save it plainly (strips or "
    "tiles, not interlaced) and send it again.",
    Trouble.CRASH: "The decoder broke down on this file and was stopped; nothing else was touched. "
    "The file is probably damaged. Copy it again from the card, or export it anew.",
    Trouble.GARBLED: "The decoder gave no sensible answer for this file and was stopped; nothing "
    "else was touched. Try once more; if it happens again, export the picture anew.",
    Trouble.STORAGE: "The derived pictures cannot be written: the disk is full or the folder may "
    "not be changed. The master is safe. Make room or mend the folder's rights, then try again.",
    Trouble.FAULT: "The program failed while reading this file; that is a fault of the program, "
    "not of the file. The master is safe. Report it with the technical detail.",
}
BROKEN = {"memory": Trouble.MEMORY, "storage": Trouble.STORAGE, "fault": Trouble.FAULT}
TIME_SIGNALS = {-signal.SIGXCPU, -signal.SIGALRM}
BLAMES_THE_PROCESS = {Trouble.MEMORY, Trouble.CRASH, Trouble.GARBLED}
RECYCLE_SHARE = 0.25
MAX_REQUEST_BYTES = 32_768


@dataclass(frozen=True, slots=True)
class GuardFailure:
    """No answer: the reason as a code, a sentence for people, and detail for the log."""

    reason: Trouble
    sentence: str
    detail: str = ""

    @property
    def is_transient(self) -> bool:
        """Whether the same file may succeed later without being changed."""
        return self.reason in (Trouble.TIME, Trouble.STORAGE)


def run(
    request: Mapping[str, Any], *, limits: Limits, worker: str = WORKER
) -> dict[str, Any] | GuardFailure:
    """Answer one request in a process of its own.

    ``request``: ``task`` (a name in ``worker_main.TASKS``), ``arguments`` (plain values), and if
    wanted ``megapixels`` (known size, lengthens the time allowed) and ``scratch_in`` (a folder in
    which the task gets ``arguments["scratch"]``, an empty folder that is removed afterwards,
    whatever happens). Returns the task's dict with ``peak_bytes`` added.
    """
    with GuardPool(limits=limits, slots=1, worker=worker) as pool:
        return pool.run(request)


@dataclass(slots=True)
class _Slot:
    child: Child | None = None
    served: int = 0


class GuardPool:
    """A fixed number of guarded processes that are kept between requests.

    A process is ended after ``limits.recycle_after`` files, after any failure, and after a file
    that took a quarter of the memory allowed. If a process that had served other files before
    breaks, the request runs once more in a fresh one, so that no file answers for another.
    Safe to use from several threads; each call waits for a free place. After a fork the new
    process starts with places of its own.
    """

    def __init__(self, *, limits: Limits, slots: int = 1, worker: str = WORKER) -> None:
        if slots < 1:
            raise ValueError("a pool needs at least one place")
        self.limits, self._slots, self._worker = limits, slots, worker
        self._numbers = itertools.count(1)
        self._open_places()

    def __enter__(self) -> "GuardPool":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def run(self, request: Mapping[str, Any]) -> dict[str, Any] | GuardFailure:
        """Answer one request; see ``run`` of this module for its parts."""
        if os.getpid() != self._owner:
            self._open_places()
        places = self._places
        slot = places.get()
        try:
            was_used = slot.served > 0
            answer = self._attempt(slot, request)
            if (
                was_used
                and isinstance(answer, GuardFailure)
                and answer.reason in BLAMES_THE_PROCESS
            ):
                answer = self._attempt(slot, request)
            return answer
        finally:
            places.put(slot)

    def failure(self, reason: Trouble, *, detail: str, megapixels: float = 0.0) -> GuardFailure:
        """Return a failure with the sentence for its reason, the limits filled in."""
        sentence = SENTENCES[reason].format(
            wall_s=self.limits.wall_s(megapixels), memory_mb=self.limits.memory_bytes / 1e6
        )
        return GuardFailure(reason, sentence, detail)

    def close(self) -> None:
        """Wait for running requests and end all processes; the pool can be used again."""
        if os.getpid() != self._owner:
            return
        held = [self._places.get() for _ in range(self._slots)]
        for slot in held:
            self._end(slot, is_gentle=True)
            self._places.put(slot)

    def _open_places(self) -> None:
        self._owner = os.getpid()
        self._places: queue.LifoQueue[_Slot] = queue.LifoQueue()
        for _ in range(self._slots):
            self._places.put(_Slot())

    def _attempt(self, slot: _Slot, request: Mapping[str, Any]) -> dict[str, Any] | GuardFailure:
        try:
            with _scratch(request) as arguments:
                answer = self._exchange(slot, request, arguments)
        except OSError as error:
            answer = self.failure(Trouble.STORAGE, detail=str(error))
        if isinstance(answer, GuardFailure):
            self._end(slot, is_gentle=answer.reason in (Trouble.STORAGE, Trouble.FAULT))
            return answer
        slot.served += 1
        is_large = answer["peak_bytes"] > RECYCLE_SHARE * self.limits.memory_bytes
        if is_large or slot.served >= self.limits.recycle_after:
            self._end(slot, is_gentle=True)
        return answer

    def _exchange(
        self, slot: _Slot, request: Mapping[str, Any], arguments: dict[str, Any]
    ) -> dict[str, Any] | GuardFailure:
        number, wall_s = next(self._numbers), self.limits.wall_s(request.get("megapixels", 0.0))
        message = {
            "id": number,
            "task": request["task"],
            "arguments": arguments,
            "wall_s": wall_s,
            "patience": self.limits.patience,
        }
        line = json.dumps(message).encode()
        if len(line) > MAX_REQUEST_BYTES:
            raise ValueError("a request is longer than a pipe takes at once")
        if slot.child is None or not slot.child.is_alive:
            self._end(slot, is_gentle=False)
            slot.child = Child(
                memory_bytes=self.limits.memory_bytes,
                threads=self.limits.threads,
                worker=self._worker,
            )
        try:
            raw = slot.child.exchange(
                line,
                wall_s=wall_s,
                max_answer_bytes=self.limits.max_answer_bytes,
                patience=self.limits.patience,
            )
        except ChildError as error:
            return self.failure(
                _diagnose(error), detail=str(error), megapixels=request.get("megapixels", 0.0)
            )
        return self._read_answer(raw, number)

    def _read_answer(self, raw: bytes, number: int) -> dict[str, Any] | GuardFailure:
        try:
            message = json.loads(raw)
            answer, peak_bytes = message["answer"], message["peak_bytes"]
            is_ours = message["id"] == number and isinstance(answer, dict)
        except (ValueError, KeyError, TypeError):
            is_ours = False
        if not is_ours or not isinstance(peak_bytes, int):
            return self.failure(Trouble.GARBLED, detail=repr(raw[:200]))
        if "broken" in answer:
            trouble = BROKEN.get(answer["broken"], Trouble.FAULT)
            return self.failure(trouble, detail=str(answer.get("detail", "")))
        result: dict[str, Any] = answer | {"peak_bytes": peak_bytes}
        return result

    @staticmethod
    def _end(slot: _Slot, *, is_gentle: bool) -> None:
        if slot.child is not None:
            if is_gentle:
                slot.child.finish()
            else:
                slot.child.kill()
        slot.child, slot.served = None, 0


def _diagnose(error: ChildError) -> Trouble:
    if error.kind == "time" or error.return_code in TIME_SIGNALS:
        return Trouble.TIME
    if error.kind == "garbled":
        return Trouble.GARBLED
    if error.return_code == -signal.SIGKILL or is_out_of_memory(error.printed):
        return Trouble.MEMORY
    return Trouble.CRASH


@contextmanager
def _scratch(request: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Give the task an empty folder and remove it afterwards, also after a kill."""
    arguments = dict(request["arguments"])
    if "scratch_in" not in request:
        yield arguments
        return
    os.makedirs(request["scratch_in"], exist_ok=True)
    folder = tempfile.mkdtemp(dir=request["scratch_in"], prefix=".part-")
    try:
        yield arguments | {"scratch": folder}
    finally:
        shutil.rmtree(folder, ignore_errors=True)
