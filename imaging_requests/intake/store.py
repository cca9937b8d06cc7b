"""The store of masters: two copies, addressed by content, read-only, proven by reading back.

A master lies at `<root>/<aa>/<bb>/<sha256>.<ext>`. It comes there by a link that never replaces
anything, so a master cannot be overwritten, and is not counted before both copies were read
again and matched.
"""

from __future__ import annotations

import errno
import os
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from django.conf import settings

from imaging_requests.imaging.files.fixity import CHUNK_BYTES, hash_file, hash_stream, sync_folder

FIRST = "store"
SECOND = "second copy"
PLACES = (FIRST, SECOND)
READ_ONLY = 0o444
DAMAGED = "damaged"


class StoreError(Exception):
    """The store cannot keep this now; the message is a sentence for people."""


class NotTheSameError(Exception):
    """Bytes that were read back are not those that were meant."""


def root(place: str) -> Path:
    """Return the folder of one place."""
    if place not in PLACES:
        raise ValueError(f"There is no place '{place}'; there are {' and '.join(PLACES)}.")
    return Path(settings.STORE_DIR if place == FIRST else settings.SECOND_STORE_DIR)


def path_of(place: str, sha256: str, extension: str) -> Path:
    """Return where a master lies in one place."""
    return root(place) / sha256[:2] / sha256[2:4] / f"{sha256}.{extension}"


def derived_folder(sha256: str) -> Path:
    """Return the folder of everything made from a master; it can be deleted and made again."""
    return Path(settings.DERIVED_DIR) / sha256[:2] / sha256[2:4] / sha256


def put(part: Path, *, sha256: str, extension: str) -> None:
    """Take a complete file into both places and prove both by reading them again.

    Running it twice, or for the same bytes at once in two processes, does no harm. `part` stays
    until the caller removes it, so that a crash at any instant can be repeated.
    """
    with _storage_errors(FIRST):
        _adopt(part, sha256, extension)
    with _storage_errors(SECOND):
        _copy(sha256, extension, FIRST, SECOND)
        if not is_good(SECOND, sha256, extension):
            raise NotTheSameError(f"the {SECOND} of {sha256}")


def _adopt(part: Path, sha256: str, extension: str) -> None:
    """Link the received file into the first place; bytes that are there already stay."""
    target = path_of(FIRST, sha256, extension)
    if target.exists():
        if is_good(FIRST, sha256, extension):
            return
        set_aside(FIRST, sha256, extension)
    _make_folder(target.parent)
    os.chmod(part, READ_ONLY)
    _sync_file(part)
    try:
        os.link(part, target)
    except FileExistsError:
        return
    except OSError as error:
        if error.errno not in (errno.EPERM, errno.EOPNOTSUPP, errno.EMLINK, errno.EXDEV):
            raise
        _write_copy(part, target, sha256)
    sync_folder(target.parent)


def _copy(sha256: str, extension: str, source_place: str, target_place: str) -> None:
    """Copy a master to the other place; reading the source is at the same time its proof."""
    source = path_of(source_place, sha256, extension)
    target = path_of(target_place, sha256, extension)
    if target.exists():
        if is_good(target_place, sha256, extension):
            _demand_good(source_place, sha256, extension)
            return
        set_aside(target_place, sha256, extension)
    _make_folder(target.parent)
    _write_copy(source, target, sha256)


def _write_copy(source: Path, target: Path, sha256: str) -> None:
    scratch = target.parent / f".{uuid.uuid4()}.part"
    try:
        with open(scratch, "xb") as into:
            found = hash_stream(_chunks_from_disk(source), into=into)
        if found.sha256 != sha256:
            raise NotTheSameError(f"{source}")
        os.chmod(scratch, READ_ONLY)
        try:
            os.link(scratch, target)
        except FileExistsError:
            return
        except OSError:
            os.rename(scratch, target)
        sync_folder(target.parent)
    finally:
        scratch.unlink(missing_ok=True)


def _chunks_from_disk(path: Path) -> Iterator[bytes]:
    with open(path, "rb", buffering=0) as handle:
        if hasattr(os, "posix_fadvise"):
            os.posix_fadvise(handle.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while chunk := handle.read(CHUNK_BYTES):
            yield chunk


def is_good(place: str, sha256: str, extension: str) -> bool:
    """Read one copy from the disk and tell whether it is still the bytes that were received."""
    try:
        return hash_file(path_of(place, sha256, extension), is_from_disk=True).sha256 == sha256
    except OSError:
        return False


def _demand_good(place: str, sha256: str, extension: str) -> None:
    if not is_good(place, sha256, extension):
        raise NotTheSameError(f"the {place} of {sha256}")


def repair(place: str, sha256: str, extension: str) -> bool:
    """Replace a bad copy by the good one of the other place; the bad one is kept aside.

    Returns whether the place is good afterwards.
    """
    other = SECOND if place == FIRST else FIRST
    if not is_good(other, sha256, extension):
        return False
    with _storage_errors(place):
        if path_of(place, sha256, extension).exists():
            set_aside(place, sha256, extension)
        _copy(sha256, extension, other, place)
    return is_good(place, sha256, extension)


def set_aside(place: str, sha256: str, extension: str) -> Path:
    """Move a copy that does not match out of the way; it is kept for a person."""
    folder = root(place) / DAMAGED
    folder.mkdir(parents=True, exist_ok=True)
    kept = folder / f"{sha256}-{datetime.now():%Y%m%dT%H%M%S}-{uuid.uuid4().hex[:8]}.{extension}"
    os.rename(path_of(place, sha256, extension), kept)
    sync_folder(folder)
    return kept


def readable_path(sha256: str, extension: str) -> Path | None:
    """Return a copy to read pixels from, the first place first; None if both are gone."""
    for place in PLACES:
        path = path_of(place, sha256, extension)
        if path.is_file():
            return path
    return None


def free_bytes() -> dict[str, int]:
    """Return the free space of the disk behind each place."""
    free = {}
    for place in PLACES:
        found = os.statvfs(root(place))
        free[place] = found.f_bavail * found.f_frsize
    return free


def share_one_disk() -> bool:
    """Tell whether both places lie on the same disk, which protects from less than two do."""
    return root(FIRST).stat().st_dev == root(SECOND).stat().st_dev


def sweep_scratch(*, older_than_s: float) -> int:
    """Remove scratch copies that a killed process left; those still being written are younger."""
    limit = time.time() - older_than_s
    removed = 0
    for place in PLACES:
        for scratch in root(place).rglob(".*.part"):
            if scratch.stat().st_mtime < limit:
                scratch.unlink(missing_ok=True)
                removed += 1
    return removed


def _make_folder(folder: Path) -> None:
    """Make a folder whose entry survives a power cut, parents included."""
    if folder.is_dir():
        return
    _make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def _sync_file(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _storage_errors(place: str) -> Iterator[None]:
    """Say in words what is in the way of writing to a place."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            reason = "its disk is full"
        elif error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
            reason = "it may not be written to"
        else:
            reason = f"it does not answer ({error.strerror})"
        raise StoreError(
            f"The {place} at {root(place)} cannot take files now: {reason}. What was received is "
            "safe in quarantine and is stored as soon as this is put right."
        ) from error
