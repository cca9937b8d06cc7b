"""The store of masters: two copies, addressed by content, read-only, proven by reading back.

A master lies at `<aa>/<bb>/<sha256>.<ext>` in both places. It comes there by a step that never
replaces anything, so a master cannot be overwritten, and is not counted before both copies were
read again and matched. The first place is a folder, since pixels are read from it; the second is a
folder on another disk or a bucket.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.conf import settings

from imaging_requests.imaging.files.fixity import hash_stream
from imaging_requests.intake.places import (
    Folder,
    Key,
    NotTheSameError,
    Place,
    StoreError,
    read_from_disk,
)

__all__ = ["NotTheSameError", "StoreError"]

logger = logging.getLogger(__name__)

FIRST = "store"
SECOND = "second copy"
PLACES = (FIRST, SECOND)


def place(name: str) -> Place:
    """Return one of the two places as the settings describe it."""
    if name == FIRST:
        return _first()
    if name != SECOND:
        raise ValueError(f"There is no place '{name}'; there are {' and '.join(PLACES)}.")
    if settings.SECOND_STORE_BUCKET:
        return _bucket(tuple(sorted(settings.SECOND_STORE_BUCKET.items())))
    return Folder(SECOND, Path(settings.SECOND_STORE_DIR))


def _first() -> Folder:
    return Folder(FIRST, Path(settings.STORE_DIR))


@lru_cache(maxsize=4)
def _bucket(options: tuple[tuple[str, Any], ...]) -> Place:
    """Keep one connection for each description of a bucket; its client library loads slowly."""
    from imaging_requests.intake.bucket import Bucket

    return Bucket(SECOND, **dict(options))


def other(name: str) -> str:
    """Return the other of the two places."""
    return SECOND if name == FIRST else FIRST


def derived_folder(sha256: str) -> Path:
    """Return the folder of everything made from a master; it can be deleted and made again."""
    return Path(settings.DERIVED_DIR) / sha256[:2] / sha256[2:4] / sha256


def put(part: Path, *, sha256: str, extension: str) -> None:
    """Take a complete file into both places and prove both by reading them again.

    The received file is read once: that proves it, gives the second copy its bytes, and only then
    is it linked into the first place. The second copy is then read for its own proof. Running it
    twice, or for the same bytes at once in two processes, does no harm. `part` stays until the
    caller removes it, so that a crash at any instant can be repeated.
    """
    key = Key(sha256, extension)
    first, second = _first(), place(SECOND)
    if _stands(first, key):
        if not _stands(second, key):
            _give(second, key, first.read(key))
            _demand(second, key)
        return
    if _stands(second, key):
        if hash_stream(read_from_disk(part)).sha256 != sha256:
            raise NotTheSameError(f"the received file of {sha256}")
        _adopt(first, key, part)
        return
    _give(second, key, read_from_disk(part))
    _adopt(first, key, part)
    _demand(second, key)


def _stands(where: Place, key: Key) -> bool:
    """Whether a good copy is there already."""
    return where.holds(key) and _matches(where, key)


def _give(where: Place, key: Key, chunks: Iterable[bytes]) -> None:
    """Write where nothing lies, and replace what is bad now; somebody may have mended it."""
    if _is_bad(where, key):
        where.replace(key, chunks)
    else:
        where.write(key, chunks)


def _is_bad(where: Place, key: Key) -> bool:
    return where.holds(key) and not _matches(where, key)


def _adopt(first: Folder, key: Key, part: Path) -> None:
    """Link a proven part into the first place; where a bad copy lies, or no links are, copy it."""
    if _is_bad(first, key) or not first.adopt(key, part):
        _give(first, key, read_from_disk(part))
        _demand(first, key)


def _matches(where: Place, key: Key) -> bool:
    try:
        return hash_stream(where.read(key)).sha256 == key.sha256
    except OSError:
        return False


def _demand(where: Place, key: Key) -> None:
    if not _matches(where, key):
        raise NotTheSameError(f"the {where.name} of {key.sha256}")


def is_good(name: str, sha256: str, extension: str) -> bool:
    """Read one copy from its place and tell whether it is still the bytes that were received.

    Raises `StoreError` if the place does not answer, which says nothing about the copy.
    """
    return _matches(place(name), Key(sha256, extension))


def repair(name: str, sha256: str, extension: str) -> bool:
    """Replace a bad copy by the good one of the other place; the bad one is kept aside.

    Returns whether the place is good afterwards. Nothing is taken away before its successor is
    written and proven beside it, so that neither a second sweep at the same time nor a kill at any
    instant leaves a place without the copy that it had.
    """
    key = Key(sha256, extension)
    bad, good = place(name), place(other(name))
    if not _matches(good, key):
        return False
    _give(bad, key, good.read(key))
    return _matches(bad, key)


def readable_path(sha256: str, extension: str) -> Path | None:
    """Return a copy to read pixels from, the first place first; None if there is none at hand.

    A copy in a bucket cannot be read in place; it is brought into the first place again.
    """
    key = Key(sha256, extension)
    first, second = _first(), place(SECOND)
    if first.path_of(key).is_file():
        return first.path_of(key)
    if isinstance(second, Folder):
        return second.path_of(key) if second.path_of(key).is_file() else None
    return first.path_of(key) if repair(FIRST, sha256, extension) else None


def free_bytes() -> dict[str, int]:
    """Return the free space behind each place that tells it."""
    told = {name: place(name).free_bytes() for name in PLACES}
    return {name: free for name, free in told.items() if free is not None}


def is_there(name: str) -> bool:
    """Tell whether the folder of a place is there; a bucket is only known by asking it."""
    where = place(name)
    return not isinstance(where, Folder) or where.root.is_dir()


def share_one_disk() -> bool:
    """Tell whether both places lie on the same disk, which protects from less than two do."""
    second = place(SECOND)
    if not isinstance(second, Folder):
        return False
    try:
        return os.stat(_first().root).st_dev == os.stat(second.root).st_dev
    except OSError:
        return False


def sweep_scratch(*, older_than_s: float) -> int:
    """Remove what killed processes left half written; what is still being written is younger."""
    removed = 0
    for name in PLACES:
        try:
            removed += place(name).sweep_scratch(older_than_s=older_than_s)
        except StoreError as error:
            logger.warning("%s", error)
    return removed
