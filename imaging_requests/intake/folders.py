"""What lies in a folder that is to be taken in: every file, and everything that cannot be taken.

Nothing is passed over in silence: a hidden file is a file like any other, and what cannot be read,
or leads elsewhere, is told with its reason. Only the notes that computers leave on cards, as the
data file lists them, are marked as not needed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from pathlib import Path

from imaging_requests.imaging.files.data_values import take_list
from imaging_requests.intake.limits import read_data
from imaging_requests.intake.places import reason_of

LINKED = "is a link to a folder, and links are not followed. Take that folder in by itself."
DEAD = "is a link that leads nowhere, so there is nothing to read. Look for the file it stood for."
NO_FILE = "is neither a file nor a folder, so it holds no picture."
NOTE = (
    "Left where it is: a note that a computer's system keeps for itself. It is no picture, and the "
    "card does not wait for it."
)


@dataclass(frozen=True, slots=True)
class Found:
    """One thing in a folder: a file to take, or what is not taken and `because` of what."""

    path: Path
    because: str = ""
    is_needed: bool = True


def walk(folder: Path) -> list[Found]:
    """Return everything in a folder and below it, in the order of the paths."""
    return sorted(_below(folder), key=lambda found: found.path)


def _below(folder: Path) -> Iterator[Found]:
    try:
        with os.scandir(folder) as listed:
            entries = list(listed)
    except OSError as error:
        why = f"cannot be opened ({error.strerror}), so nothing in it was taken."
        yield Found(folder, f"The folder {why}")
        return
    for entry in entries:
        path = folder / entry.name
        if is_system_note(path):
            yield Found(path, NOTE, is_needed=False)
        elif entry.is_dir(follow_symlinks=False):
            yield from _below(path)
        else:
            yield _judged(path)


def _judged(path: Path) -> Found:
    try:
        if path.is_dir():
            return Found(path, f"This {LINKED}")
        if path.is_file():
            return Found(path)
        return Found(path, f"This {DEAD if path.is_symlink() else NO_FILE}")
    except OSError as error:
        return Found(path, f"This file cannot be looked at: {reason_of(error)}.")


@lru_cache(maxsize=1)
def _notes() -> tuple[tuple[str, ...], tuple[str, ...], bytes]:
    data = read_data("intake/system-notes-1.json")
    return (
        take_list(data, "notes.names", str),
        take_list(data, "notes.companions", str),
        bytes.fromhex(take_list(data, "notes.companion_start", str)[0]),
    )


def is_system_note(path: Path) -> bool:
    """Tell whether this is one of the notes that computers leave on cards.

    A companion of a file bears the file's own ending, so its first bytes must say what it is.
    """
    names, companions, start = _notes()
    if path.name in names:
        return True
    if not any(fnmatchcase(path.name, each) for each in companions):
        return False
    try:
        with open(path, "rb") as file:
            return file.read(len(start)) == start
    except OSError:
        return False
