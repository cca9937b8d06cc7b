"""The two kinds of place that a copy of a master can lie in: a folder, or a bucket.

A bucket is anything that speaks the S3 protocol. Both are asked the same things; neither ever
replaces what it holds, and what is written counts only after it was read back (`store` does that).
"""

from __future__ import annotations

import errno
import os
import time
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from imaging_requests.imaging.files.fixity import CHUNK_BYTES, hash_stream, sync_folder

READ_ONLY = 0o444
DAMAGED = "damaged"
MARK = "PLACE.txt"
MARK_SHOWN = 120
MARK_WORDS = (
    "This folder is the {name} of the imaging requests. Leave this file where it is: without it "
    "the disk is taken for one that is not mounted, and nothing is stored here.\n"
)
NO_LINKS_HERE = (errno.EPERM, errno.EOPNOTSUPP, errno.EMLINK, errno.EXDEV)


class StoreError(Exception):
    """The store cannot keep or give this now; the message is a sentence for people.

    `trouble` is the part of it that says what is wrong with the place, for who stores other things
    than what was received.
    """

    def __init__(self, message: str, *, trouble: str = "") -> None:
        super().__init__(message)
        self.trouble = trouble or message


class NotTheSameError(Exception):
    """Bytes that were read back are not those that were meant."""


@dataclass(frozen=True, slots=True)
class Key:
    """The address of a master in any place: made from its content, never from its name."""

    sha256: str
    extension: str

    @property
    def path(self) -> str:
        """Return where it lies below the top of a place."""
        return f"{self.sha256[:2]}/{self.sha256[2:4]}/{self.sha256}.{self.extension}"

    @property
    def path_aside(self) -> str:
        """Return a new name for a copy that does not match and is kept for a person."""
        stamp = f"{datetime.now():%Y%m%dT%H%M%S}-{uuid.uuid4().hex[:8]}"
        return f"{DAMAGED}/{self.sha256}-{stamp}.{self.extension}"


class Place(Protocol):
    """What a place of copies can do. Trouble with the place itself is a `StoreError`."""

    @property
    def name(self) -> str:
        """What people call it."""

    def holds(self, key: Key) -> bool:
        """Whether something lies under the key, good or bad."""

    def read(self, key: Key) -> Iterator[bytes]:
        """Yield what lies under the key, from the disk; `OSError` if it cannot be read."""

    def write(self, key: Key, chunks: Iterable[bytes]) -> None:
        """Keep a stream under the key; nothing if its digest is another one or it breaks off."""

    def replace(self, key: Key, chunks: Iterable[bytes]) -> None:
        """Put the right bytes where wrong ones lie; the wrong ones are kept for a person.

        At every instant something lies under the key: the old, or the new once it is proven.
        """

    def free_bytes(self) -> int | None:
        """Return the room that is left; None if the place does not say."""

    def sweep_scratch(self, *, older_than_s: float) -> int:
        """Remove what killed writers left; those still writing are younger."""


@dataclass(frozen=True)
class Folder:
    """A folder on a disk. Copies are read-only files that appear by a link, whole or not at all."""

    name: str
    root: Path

    def path_of(self, key: Key) -> Path:
        """Return the file of a copy."""
        return self.root / key.path

    @property
    def is_marked(self) -> bool:
        """Whether this is the folder itself, and not the empty place where its disk belongs."""
        return self._mark_words.startswith(self._own_words)

    @property
    def strange_mark(self) -> str:
        """What the mark says if it is the mark of something else than this place."""
        words = self._mark_words.strip()
        return "" if self.is_marked else words.partition(". ")[0][:MARK_SHOWN]

    @property
    def _own_words(self) -> str:
        return MARK_WORDS.format(name=self.name).partition(". ")[0] + "."

    @property
    def _mark_words(self) -> str:
        try:
            return (self.root / MARK).read_text(encoding="utf-8", errors="replace")
        except OSError:
            return ""

    def mark(self) -> None:
        """Make the folder if it is not there, and mark it as this place."""
        with self.errors():
            make_folder(self.root)
            scratch = self.root / f".{uuid.uuid4()}.part"
            with open(scratch, "x", encoding="utf-8") as mark:
                mark.write(MARK_WORDS.format(name=self.name))
                mark.flush()
                os.fsync(mark.fileno())
            os.replace(scratch, self.root / MARK)
            sync_folder(self.root)

    def holds(self, key: Key) -> bool:
        """Whether a file lies under the key."""
        return self.path_of(key).exists()

    def read(self, key: Key) -> Iterator[bytes]:
        """Yield a copy from the disk: the system is asked to forget what it holds in memory."""
        return read_from_disk(self.path_of(key))

    def write(self, key: Key, chunks: Iterable[bytes]) -> None:
        """Write under a scratch name, synchronise, and link into place."""
        target = self.path_of(key)
        with self.errors(), self._proven(key, chunks) as scratch:
            try:
                os.link(scratch, target)
            except FileExistsError:
                return
            except OSError:
                os.rename(scratch, target)
            sync_folder(target.parent)

    def replace(self, key: Key, chunks: Iterable[bytes]) -> None:
        """Give the old file a second name among the damaged ones, and slip the new one under it.

        Whoever has the old file open reads on in it; whoever is killed here leaves the old file or
        the new one, never none. A disk without links has no copy for the moment between two names.
        """
        target, kept = self.path_of(key), self.root / key.path_aside
        with self.errors(), self._proven(key, chunks) as scratch:
            make_folder(kept.parent)
            with suppress(FileNotFoundError):
                _keep_under(target, kept)
            sync_folder(kept.parent)
            os.replace(scratch, target)
            sync_folder(target.parent)

    @contextmanager
    def _proven(self, key: Key, chunks: Iterable[bytes]) -> Iterator[Path]:
        """Write a stream beside its place and yield the file if its digest is the right one."""
        folder = self.path_of(key).parent
        make_folder(folder)
        scratch = folder / f".{uuid.uuid4()}.part"
        try:
            with open(scratch, "xb") as into:
                found = hash_stream(chunks, into=into)
            if found.sha256 != key.sha256:
                raise NotTheSameError(f"the source of the {self.name} of {key.sha256}")
            os.chmod(scratch, READ_ONLY)
            yield scratch
        finally:
            scratch.unlink(missing_ok=True)

    def adopt(self, key: Key, part: Path) -> bool:
        """Link a received file into place; tell whether it could be linked on this disk."""
        target = self.path_of(key)
        with self.errors():
            make_folder(target.parent)
            os.chmod(part, READ_ONLY)
            _sync_file(part)
            try:
                os.link(part, target)
            except FileExistsError:
                return True
            except OSError as error:
                if error.errno not in NO_LINKS_HERE:
                    raise
                return False
            sync_folder(target.parent)
        return True

    def free_bytes(self) -> int | None:
        """Return the free space of the disk; None while the folder is not there."""
        try:
            found = os.statvfs(self.root)
        except OSError:
            return None
        return found.f_bavail * found.f_frsize

    def sweep_scratch(self, *, older_than_s: float) -> int:
        """Remove scratch files of killed writers."""
        limit = time.time() - older_than_s
        removed = 0
        for scratch in self.root.rglob(".*.part"):
            if scratch.stat().st_mtime < limit:
                scratch.unlink(missing_ok=True)
                removed += 1
        return removed

    @contextmanager
    def errors(self) -> Iterator[None]:
        """Say in words what is in the way of writing here."""
        try:
            yield
        except OSError as error:
            raise cannot_take(self.name, str(self.root), reason_of(error)) from error


def read_from_disk(path: Path) -> Iterator[bytes]:
    """Yield a file from the disk and not from memory, where the system offers that."""
    with open(path, "rb", buffering=0) as handle:
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(handle.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while chunk := handle.read(CHUNK_BYTES):
            yield chunk


def reason_of(error: OSError) -> str:
    """Return in words why a disk does not take a file."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return "its disk is full"
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return "it may not be written to"
    return f"it does not answer ({error.strerror})"


def cannot_take(name: str, where: str, reason: str) -> StoreError:
    """Return the error of a place that does not take a file."""
    trouble = f"The {name} at {where} cannot take files now: {reason}."
    return StoreError(
        f"{trouble} What was received is safe in quarantine and is stored as soon as this is put "
        "right.",
        trouble=trouble,
    )


def make_folder(folder: Path) -> None:
    """Make a folder whose entry survives a power cut, parents included."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def _keep_under(target: Path, kept: Path) -> None:
    try:
        os.link(target, kept)
    except OSError as error:
        if error.errno not in NO_LINKS_HERE:
            raise
        os.rename(target, kept)


def _sync_file(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
