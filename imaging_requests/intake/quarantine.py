"""The files of uploads under way, and of refused ones that wait for a person.

Nothing in here counts as stored. A part grows at its durable end; when it is complete, the store
takes it over or it is kept as refused.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO
from uuid import UUID, uuid4

from django.conf import settings

from imaging_requests.imaging.files.fixity import CHUNK_BYTES, sync_folder

ENDING = ".part"


def part_path(token: UUID) -> Path:
    """Return where the bytes of an arriving file lie."""
    return Path(settings.QUARANTINE_DIR) / f"{token}{ENDING}"


def refused_path(token: UUID) -> Path:
    """Return where the bytes of a refused file are kept for a person."""
    return Path(settings.QUARANTINE_DIR) / "refused" / str(token)


@contextmanager
def open_part(token: UUID, *, at: int, is_mine: Callable[[], bool]) -> Iterator[BinaryIO | None]:
    """Open a part for writing from byte `at` on; a new part when there is none.

    What lies beyond `at` was never acknowledged; it is overwritten by the bytes that are sent
    again. A writer whose connection died without telling may still hold the file open: then the
    acknowledged bytes go into a file of their own, and the old writer's last words reach nobody.
    `is_mine` is asked while nobody else can open the part; None is yielded if it says no.
    """
    path = part_path(token)
    path.parent.mkdir(parents=True, exist_ok=True)
    with _folder_lock(path.parent):
        descriptor = _open_alone(path, at) if is_mine() else None
    if descriptor is None:
        yield None
        return
    with os.fdopen(descriptor, "r+b", buffering=0) as part:
        part.seek(at)
        yield part


@contextmanager
def _folder_lock(folder: Path) -> Iterator[None]:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)


def _open_alone(path: Path, at: int) -> int:
    """Return a descriptor that no other writer shares."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return _own_copy(path, at)
    sync_folder(path.parent)
    return descriptor


def _own_copy(path: Path, length: int) -> int:
    """Move the first `length` bytes into a file of their own under the same name."""
    scratch = path.parent / f".{uuid4()}{ENDING}"
    descriptor = os.open(scratch, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        with open(path, "rb", buffering=0) as source:
            left = length
            while left and (chunk := source.read(min(CHUNK_BYTES, left))):
                os.write(descriptor, chunk)
                left -= len(chunk)
        os.fsync(descriptor)
        os.replace(scratch, path)
    except BaseException:
        os.close(descriptor)
        scratch.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)
    return descriptor


def write_all(part: BinaryIO, chunk: bytes) -> None:
    """Write a whole chunk; an unbuffered file may take less at once."""
    view = memoryview(chunk)
    while view:
        view = view[part.write(view) :]


def sync(part: BinaryIO) -> None:
    """Return when the bytes written so far are on the disk."""
    os.fsync(part.fileno())


def cut_back(part: BinaryIO, length: int) -> None:
    """Give back the space of bytes that could not be kept."""
    os.ftruncate(part.fileno(), length)


def keep_refused(token: UUID) -> bool:
    """Move a part to the refused ones; tell whether there was one."""
    target = refused_path(token)
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.rename(part_path(token), target)
    except FileNotFoundError:
        return target.exists()
    sync_folder(target.parent)
    sync_folder(part_path(token).parent)
    return True


def discard(token: UUID) -> None:
    """Remove the part of an upload that has its answer or was given up."""
    part_path(token).unlink(missing_ok=True)


def discard_refused(token: UUID) -> None:
    """Remove the bytes of a refused file after a person has decided so."""
    refused_path(token).unlink(missing_ok=True)


def tokens_present() -> Iterator[UUID]:
    """Yield the tokens of all parts that lie here."""
    for path in Path(settings.QUARANTINE_DIR).glob(f"*{ENDING}"):
        try:
            yield UUID(path.stem)
        except ValueError:
            continue
