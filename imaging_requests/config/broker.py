"""The desk size's broker: a folder of messages that are there whole, or not at all.

Kombu's own folder transport opens a message and then fills it, so that a reader may take an empty
one, and it carries every message through the machine's temporary folder. Here a message gets its
name when it is whole, never leaves the broker's folder, and one that cannot be read is set aside
instead of ending its reader. Nothing is synced: after a power cut a message may be gone or empty,
and both are harmless, because the database holds the work and a sweep sends what is due again.
"""

from __future__ import annotations

import fcntl
import json
import logging
import os
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.exceptions import ChannelError
from kombu.transport import TRANSPORT_ALIASES, filesystem, virtual
from kombu.utils.json import dumps, loads

logger = logging.getLogger(__name__)

SCHEME = "wholefiles"
TRANSPORT_ALIASES[SCHEME] = "imaging_requests.config.broker:Transport"

#: Half-written and half-taken files of a process that was killed are removed after this time.
STRAY_AFTER_S = 3600.0

_Binding = filesystem.exchange_queue_t


def options(folder: Path) -> dict[str, object]:
    """Name the folders inside `folder` and make them."""
    for name in ("queue", "taken", "aside", "control"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    return {
        "data_folder_in": str(folder / "queue"),
        "data_folder_out": str(folder / "queue"),
        "processed_folder": str(folder / "taken"),
        "aside_folder": str(folder / "aside"),
        "control_folder": str(folder / "control"),
        "store_processed": False,
        "polling_interval": 0.1,
    }


class Channel(filesystem.Channel):
    """Kombu's channel over folders, with every file replaced whole and read with doubt."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.queue_folder = Path(self.data_folder_in)
        self.taken_folder = Path(self.processed_folder)
        self.aside_folder = Path(self.transport_options["aside_folder"])
        for folder in (self.queue_folder, self.taken_folder, self.aside_folder):
            folder.mkdir(parents=True, exist_ok=True)
        _remove_strays((self.queue_folder, ".part"), (self.taken_folder, ".msg"))

    # the two classes further in name the second argument differently, so no name fits both
    def _put(  # type: ignore[override]
        self, queue: str, payload: dict[str, Any], **kwargs: Any
    ) -> None:
        name = f"{time.time_ns():020}_{uuid.uuid4().hex}.{queue}.msg"
        try:
            _write_whole(self.queue_folder / name, dumps(payload))
        except OSError as error:
            raise ChannelError(f"No message can be left in {self.queue_folder}") from error

    def _get(self, queue: str, timeout: float | None = None) -> dict[str, Any]:
        for name in self._waiting(queue):
            taken = self.taken_folder / name
            try:
                os.rename(self.queue_folder / name, taken)
            except OSError:
                continue  # another reader was first
            payload = _read(taken)
            if payload is not None:
                with suppress(OSError):
                    taken.unlink()
                return payload
            self._set_aside(taken)
        raise Empty

    def _waiting(self, queue: str) -> list[str]:
        """The queue's messages, oldest first; none while somebody clears the folder away."""
        try:
            names = os.listdir(self.queue_folder)
        except OSError:
            return []
        return sorted(name for name in names if name.partition(".")[2] == f"{queue}.msg")

    def _set_aside(self, taken: Path) -> None:
        logger.warning("%s is no whole message; it lies in %s now.", taken.name, self.aside_folder)
        try:
            os.rename(taken, self.aside_folder / taken.name)
        except OSError as error:
            logger.warning("%s could not be set aside: %s", taken.name, error)

    def get_table(self, exchange: str) -> list[Any]:
        """Who listens to the exchange; a table that cannot be read is as good as none."""
        return _read_table(self._exchange_file(exchange))

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str, queue: str) -> None:
        binding = _Binding(routing_key or "", pattern or "", queue or "")
        self._change_table(exchange, lambda table: table if binding in table else [binding, *table])

    def _delete(
        self, queue: str, exchange: str, routing_key: str, pattern: str, *args: Any, **kwargs: Any
    ) -> None:
        self._purge(queue)
        binding = _Binding(routing_key or "", pattern or "", queue or "")
        self._change_table(exchange, lambda table: [known for known in table if known != binding])

    def _change_table(self, exchange: str, change: Callable[[list[Any]], list[Any]]) -> None:
        file = self._exchange_file(exchange)
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
            with _alone(file.with_name("lock")):
                before = _read_table(file)
                after = change(before)
                if after != before:
                    _write_whole(file, dumps(after))
        except OSError as error:
            raise ChannelError(f"The table {file} cannot be changed") from error


class Transport(filesystem.Transport):
    """The transport behind the address `wholefiles://`.

    What is bound is remembered for each connection and not for the process, so that a further
    connection writes down for its own folder who listens there.
    """

    Channel = Channel

    def __init__(self, client: Any, **kwargs: Any) -> None:
        super().__init__(client, **kwargs)
        self.state = virtual.BrokerState()


def _write_whole(file: Path, text: str) -> None:
    part = file.with_name(f".{file.name}.{uuid.uuid4().hex}.part")
    try:
        part.write_text(text, encoding="utf-8")
        os.replace(part, file)
    finally:
        part.unlink(missing_ok=True)


def _read(file: Path) -> dict[str, Any] | None:
    """Return the message, or None if it is empty, torn, unreadable, gone or no message."""
    try:
        payload = loads(file.read_text(encoding="utf-8"))
        is_message = "delivery_tag" in payload["properties"] and "body" in payload
    except (OSError, ValueError, TypeError, KeyError):
        return None
    return payload if is_message else None


def _read_table(file: Path) -> list[Any]:
    try:
        return [_Binding(*row) for row in json.loads(file.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError):
        return []


@contextmanager
def _alone(file: Path) -> Iterator[None]:
    with file.open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _remove_strays(*places: tuple[Path, str], after_s: float = STRAY_AFTER_S) -> None:
    long_ago = time.time() - after_s
    for folder, ending in places:
        for file in folder.glob(f"*{ending}"):
            try:
                if file.stat().st_ctime < long_ago:
                    file.unlink()
            except OSError:
                continue  # another process was first
