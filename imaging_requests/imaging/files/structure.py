"""Read the header of any accepted picture file, or say why it is none."""

from pathlib import Path

from imaging_requests.imaging.files.byte_source import open_source
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.formats import ACCEPTED_NAMES, FORMATS
from imaging_requests.imaging.files.raw_structure import camera_raw, read_raw
from imaging_requests.imaging.files.refusals import HeaderError, Reason, Unreadable, damaged
from imaging_requests.imaging.files.sniff import (
    CAMERA_RAW,
    HEAD_BYTES,
    OWN_ENDINGS,
    TEXT,
    UNKNOWN,
    recognise,
)

TIFF_HEADS = (b"II*\0", b"MM\0*")


def read_structure(path: Path) -> Structure | Unreadable:
    """Read what the file says of itself; no pixel is decoded and nothing is written.

    Memory and time are bounded by the header, whatever the file claims. A file that is cut short
    but still has its header gives a ``Structure`` whose ``length`` is not complete.

    >>> read_structure(Path("/nowhere/AR-0011.tif")).reason.value
    'not_a_file'
    """
    try:
        with open_source(path) as source:
            if source.size_bytes == 0:
                raise _empty(path.name)
            head = source.peek(0, HEAD_BYTES)
            kind = recognise(head)
            known = FORMATS.get(kind.key)
            read = known.read if known is not None else None
            if kind.key == CAMERA_RAW.key and head.startswith(TIFF_HEADS):
                read = read_raw
            if read is None:
                raise _not_accepted(path, kind.key, kind.name)
            try:
                return read(source)
            except (ValueError, OverflowError, MemoryError) as error:
                raise damaged("its header holds values that no picture has") from error
    except HeaderError as error:
        return error.refusal


def _empty(name: str) -> HeaderError:
    return HeaderError(
        Reason.EMPTY,
        f"{name} is empty: it has a name but no content. "
        "Copy it again from the card before the card is formatted.",
    )


def _not_accepted(path: Path, key: str, kind_name: str) -> HeaderError:
    if key == CAMERA_RAW.key:
        return camera_raw()
    ending = path.suffix.lower()
    is_its_own = not ending or ending in OWN_ENDINGS.get(key, ())
    called = "" if is_its_own else f" although its name ends in {ending}"
    if key == TEXT.key:
        return HeaderError(
            Reason.TEXT,
            f"{path.name} is a text file{called}. "
            "Probably the wrong file was chosen; look for the picture and send that.",
        )
    if key == UNKNOWN.key:
        return HeaderError(
            Reason.UNKNOWN_FORMAT,
            f"{path.name} does not begin like any picture{called}. It is damaged or of another "
            f"kind; pictures are read as {ACCEPTED_NAMES}. Copy it again, or export it again.",
        )
    return HeaderError(
        Reason.OTHER_FORMAT,
        f"{path.name} is {kind_name}{called}. "
        f"Pictures are read as {ACCEPTED_NAMES}; export it as one of these and send it again.",
    )
