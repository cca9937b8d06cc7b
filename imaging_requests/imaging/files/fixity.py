"""SHA-256 of files: computed while receiving, and again by a second, independent read."""

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from io import RawIOBase
from pathlib import Path
from typing import BinaryIO

CHUNK_BYTES = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Fixity:
    """The SHA-256 of some bytes, as 64 small hexadecimal digits, and their number."""

    sha256: str
    size_bytes: int


class LengthMismatchError(Exception):
    """The sender announced another number of bytes than arrived; nothing was kept."""

    def __init__(self, *, expected_bytes: int, received_bytes: int) -> None:
        super().__init__(
            f"The transfer broke off: {expected_bytes:,} bytes were announced, "
            f"{received_bytes:,} arrived. Nothing was kept. Send the file again."
        )
        self.expected_bytes = expected_bytes
        self.received_bytes = received_bytes


def hash_stream(chunks: Iterable[bytes], *, into: BinaryIO | RawIOBase | None = None) -> Fixity:
    """Compute the SHA-256 of a stream; with ``into``, write the same bytes there on the way.

    Memory is one chunk. ``into`` is flushed and synced to the disk before the result is returned,
    so that a digest is never known for bytes that could still be lost. Raises ``OSError`` if a
    chunk cannot be written whole.

    >>> hash_stream([b"a", b"bc"]).sha256[:16]
    'ba7816bf8f01cfea'
    """
    digest, size = hashlib.sha256(), 0
    for chunk in chunks:
        if into is not None and (written := into.write(chunk)) != len(chunk):
            raise OSError(f"only {written} of {len(chunk)} bytes were written")
        digest.update(chunk)
        size += len(chunk)
    if into is not None:
        into.flush()
        os.fsync(into.fileno())
    return Fixity(digest.hexdigest(), size)


def receive(chunks: Iterable[bytes], *, target: Path, expected_bytes: int | None = None) -> Fixity:
    """Write a stream into a new file and return its fixity; all of it or nothing.

    ``target`` must not exist yet (``FileExistsError``). File and folder entry are on the disk when
    the function returns. On any error, also a full disk, the file is removed and the error goes
    on. ``LengthMismatchError`` if ``expected_bytes`` was announced and does not match.
    """
    with open(target, "xb") as handle:
        try:
            fixity = hash_stream(chunks, into=handle)
            if expected_bytes is not None and fixity.size_bytes != expected_bytes:
                raise LengthMismatchError(
                    expected_bytes=expected_bytes, received_bytes=fixity.size_bytes
                )
        except BaseException:
            target.unlink(missing_ok=True)
            raise
    sync_folder(target.parent)
    return fixity


def hash_file(path: Path, *, is_from_disk: bool = False) -> Fixity:
    """Read a file again and compute its SHA-256.

    ``is_from_disk`` first asks the system to forget its copy in memory, so that the read tests
    the disk and not the memory (where the system offers that).
    """
    with open(path, "rb", buffering=0) as handle:
        if is_from_disk and hasattr(os, "posix_fadvise"):
            os.posix_fadvise(handle.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return hash_stream(_chunks(handle))


def sync_folder(folder: Path) -> None:
    """Make the entries of a folder (new names, renames) survive a power cut."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _chunks(handle: RawIOBase) -> Iterator[bytes]:
    while chunk := handle.read(CHUNK_BYTES):
        yield chunk
