"""The store of masters: two copies, addressed by content, read-only, proven by reading back.

A master lies at `<aa>/<bb>/<sha256>.<ext>` in both places. It comes there by a step that never
replaces anything, so a master cannot be overwritten, and is not counted before both copies were
read again and matched. The first place is a folder, since pixels are read from it; the second is a
folder on another disk or a bucket.

A folder carries a mark. Where the mark is missing although copies were put there, the disk is not
mounted: nothing is written to the empty folder in its stead, and no copy is called lost. Where the
mark is another place's, or both places are one folder, nothing is written either.
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
from imaging_requests.intake.models import Copy, MadeCopy
from imaging_requests.intake.places import (
    MARK,
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
#: So many of the latest copies are looked for before an unmarked folder is refused.
LOOKED_FOR = 20


def place(name: str) -> Place:
    """Return one of the two places, ready to read and write.

    Raises `StoreError` if it is a folder whose disk is not mounted.
    """
    where = _described(name)
    return _mounted(where) if isinstance(where, Folder) else where


def _described(name: str) -> Place:
    """Return one of the two places as the settings describe it, there or not."""
    if name == FIRST:
        return Folder(FIRST, Path(settings.STORE_DIR))
    if name != SECOND:
        raise ValueError(f"There is no place '{name}'; there are {' and '.join(PLACES)}.")
    if settings.SECOND_STORE_BUCKET:
        return _bucket(tuple(sorted(settings.SECOND_STORE_BUCKET.items())))
    return Folder(SECOND, Path(settings.SECOND_STORE_DIR))


def _first() -> Folder:
    return _mounted(Folder(FIRST, Path(settings.STORE_DIR)))


def _mounted(folder: Folder) -> Folder:
    """Return a folder that carries its mark; one that was never used is marked now.

    So is one without a mark that holds any of the latest copies, as a restored disk may.
    """
    if trouble := trouble_of_folder(folder):
        raise StoreError(
            f"{trouble} Nothing is written there before, and what was received stays safe in "
            "quarantine.",
            trouble=trouble,
        )
    if not folder.is_marked:
        if not _is_known(folder):
            raise _not_mounted(folder)
        folder.mark()
    return folder


def trouble_of_folder(folder: Folder) -> str:
    """Say why a folder cannot be the place that it is set to be; nothing if it can.

    Two copies in one folder are one file, and two disks that were mounted in each other's place
    would each be filled with what it does not lack.
    """
    if are_one_folder():
        return (
            "The store and the second copy are one and the same folder, "
            f"{settings.STORE_DIR}, so a file would lie there once and be lost with it. Set "
            "IMAGING_SECOND_STORE to a folder on another disk."
        )
    if strange := folder.strange_mark:
        return (
            f"The folder {folder.root} is set to be the {folder.name}, but its {MARK} says: "
            f"“{strange}.” Look whether two disks were mounted in each other's place or "
            "IMAGING_STORE and IMAGING_SECOND_STORE are exchanged. If this is the right folder "
            f"all the same, remove its {MARK}: it is marked anew by what it holds."
        )
    return ""


def are_one_folder() -> bool:
    """Tell whether both places are one folder, by whatever path or link each is reached."""
    second = _described(SECOND)
    if not isinstance(second, Folder):
        return False
    first = Path(settings.STORE_DIR)
    try:
        return os.path.samefile(first, second.root)
    except OSError:
        return os.path.realpath(first) == os.path.realpath(second.root)


def troubles_of_settings() -> list[str]:
    """Say what is wrong with the places as they are set; asks no bucket and writes nothing."""
    folders = [each for each in map(_described, PLACES) if isinstance(each, Folder)]
    found = [trouble_of_folder(folder) for folder in folders]
    return list(dict.fromkeys(trouble for trouble in found if trouble))


def _is_known(folder: Folder) -> bool:
    """Whether an unmarked folder can be the one that is meant: nothing, or not all, is missing."""
    copies = Copy.objects.filter(place=folder.name, is_good=True).order_by("-pk")
    made = MadeCopy.objects.filter(place=folder.name, is_good=True).order_by("-pk")
    paths = [
        *(
            Key(sha256, extension).path
            for sha256, extension in copies.values_list("frame__sha256", "frame__extension")[
                :LOOKED_FOR
            ]
        ),
        *made.values_list("path", flat=True)[:LOOKED_FOR],
    ]
    return not paths or any((folder.root / path).is_file() for path in paths)


def _not_mounted(folder: Folder) -> StoreError:
    trouble = (
        f"The disk of the {folder.name} is not mounted at {folder.root}: copies were put there, "
        "and neither the mark of the folder nor any of the latest copies is to be found."
    )
    return StoreError(
        f"{trouble} Mount it. Nothing is written there before, no copy is called lost, and what "
        "was received stays safe in quarantine. If that disk is gone for good, give an empty one "
        f'and run verify_store --new-disk "{folder.name}".',
        trouble=trouble,
    )


def begin_anew(name: str) -> None:
    """Mark an empty folder as the new disk of a place; reading the store again fills it."""
    where = _described(name)
    if isinstance(where, Folder):
        if trouble := trouble_of_folder(where):
            raise StoreError(trouble, trouble=trouble)
        where.mark()


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
    first, second = Folder(FIRST, Path(settings.STORE_DIR)), _described(SECOND)
    if first.path_of(key).is_file():
        return first.path_of(key)
    if isinstance(second, Folder):
        return second.path_of(key) if second.path_of(key).is_file() else None
    return first.path_of(key) if repair(FIRST, sha256, extension) else None


def troubles() -> dict[str, str]:
    """Say of each place that cannot be used now what is wrong with it; asks no bucket."""
    found = {}
    for name in PLACES:
        where = _described(name)
        if not isinstance(where, Folder):
            continue
        if trouble := trouble_of_folder(where):
            found[name] = trouble
        elif not where.is_marked and not _is_known(where):
            found[name] = _not_mounted(where).trouble
    return found


def free_bytes() -> dict[str, int]:
    """Return the free space behind each place that tells it; where a disk is missing none is."""
    told = {name: _described(name).free_bytes() for name in PLACES if is_there(name)}
    return {name: free for name, free in told.items() if free is not None}


def is_there(name: str) -> bool:
    """Tell whether the disk of a place is there; a bucket is only known by asking it."""
    where = _described(name)
    if not isinstance(where, Folder):
        return True
    return not trouble_of_folder(where) and (where.is_marked or _is_known(where))


def share_one_disk() -> bool:
    """Tell whether both places lie on the same disk, which protects from less than two do."""
    second = _described(SECOND)
    if not isinstance(second, Folder) or not is_there(SECOND):
        return False
    try:
        return os.stat(settings.STORE_DIR).st_dev == os.stat(second.root).st_dev
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
