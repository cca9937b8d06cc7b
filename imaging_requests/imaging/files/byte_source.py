"""Read a few bytes at a time from a file of any size, never past its end, never to write."""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from imaging_requests.imaging.files.refusals import HeaderError, Reason, truncated


class ByteSource:
    """Positioned reads within known bounds.

    ``read(offset, count, what)`` returns exactly ``count`` bytes or raises the refusal that names
    ``what`` is missing. ``peek`` returns what there is.
    """

    def __init__(self, handle: BinaryIO, size_bytes: int) -> None:
        self._handle = handle
        self.size_bytes = size_bytes

    def peek(self, offset: int, count: int) -> bytes:
        """Return up to ``count`` bytes from ``offset``; fewer near the end of the file."""
        if offset >= self.size_bytes or count <= 0:
            return b""
        self._handle.seek(offset)
        return self._handle.read(count)

    def read(self, offset: int, count: int, what: str) -> bytes:
        """Return ``count`` bytes from ``offset``.

        Raises ``HeaderError`` (truncated) if the file ends before them.
        """
        if offset + count > self.size_bytes:
            raise truncated(
                f"{what} should reach to byte {offset + count:,}", actual_bytes=self.size_bytes
            )
        self._handle.seek(offset)
        data = self._handle.read(count)
        if len(data) != count:
            raise truncated(f"{what} is not complete", actual_bytes=self.size_bytes)
        return data


@contextmanager
def open_source(path: Path) -> Iterator[ByteSource]:
    """Open a regular file read-only as a ``ByteSource``.

    Raises ``HeaderError`` for anything that is not a regular, readable file. A pipe or device is
    refused before it is opened, since opening one can wait for ever.
    """
    try:
        found = path.stat()
    except OSError as error:
        raise HeaderError(
            Reason.NOT_A_FILE,
            f"There is no file named {path.name} in this place, or it may not be read. "
            "Check the name and the access rights of the folder.",
            str(error),
        ) from error
    if not stat.S_ISREG(found.st_mode):
        raise HeaderError(
            Reason.NOT_A_FILE,
            f"{path.name} is a folder or a special file, not a picture. Choose the file itself.",
        )
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    except OSError as error:
        raise HeaderError(
            Reason.NOT_A_FILE,
            f"{path.name} may not be read. Check the access rights of the file.",
            str(error),
        ) from error
    with os.fdopen(descriptor, "rb") as handle:
        yield ByteSource(handle, found.st_size)
