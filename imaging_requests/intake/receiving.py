"""The job `receive`: from a complete file in quarantine to two proven copies, or a refusal.

Everything is read from the disk again here: the header first, then every byte, compared with the
digests that were taken while they came in; then both copies stand and are read back.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.fixity import CHUNK_BYTES, hash_file
from imaging_requests.imaging.files.limits import refuse_by_header
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.intake import quarantine, store
from imaging_requests.intake.actions.receiving import (
    Master,
    answer_already_here,
    keep_frame,
    refuse_arrival,
)
from imaging_requests.intake.jobs import TryLaterError, Work
from imaging_requests.intake.limits import reading_limits
from imaging_requests.intake.models import Arrival, ArrivalState, Frame
from imaging_requests.people.names import shown_name

PICTURE_ENDINGS = frozenset(
    {".tif", ".tiff", ".jpg", ".jpeg", ".png", ".jp2", ".j2k", ".dcm", ".dng"}
)
MOST_COMPARED = 20
EXTENSIONS = {
    "tiff": "tif",
    "bigtiff": "tif",
    "jpeg": "jpg",
    "png": "png",
    "jp2": "jp2",
    "dicom": "dcm",
    "raw": "raw",
}


@dataclass(frozen=True, slots=True)
class ReadBack:
    """What one reading of a part found: its digest, its length, and a stretch that differs."""

    sha256: str
    size_bytes: int
    bad_stretch: tuple[int, int] | None = None


def receive(work: Work) -> None:
    """Answer one arrival; what is done already is not done again."""
    arrival = Arrival.objects.filter(pk=work.subject_id).select_related("drop__session").first()
    if arrival is None or arrival.state != ArrivalState.RECEIVED:
        return
    part = quarantine.part_path(arrival.token)
    refusal, master = _examine(arrival, part)
    if refusal is not None or master is None:
        refusal = refusal or _gone(arrival)
        refuse_arrival(work, arrival, refusal, same_as=_refused_before(arrival, part))
        return
    known = Frame.objects.filter(sha256=master.sha256).first()
    try:
        store.put(part, sha256=master.sha256, extension=master.extension)
    except store.StoreError as error:
        raise TryLaterError(str(error)) from error
    except store.NotTheSameError as error:
        found = read_back(part, arrival.stretches)
        if found.bad_stretch is not None:
            refuse_arrival(work, arrival, _differs(arrival, found))
            return
        raise TryLaterError(
            f"What was written of {arrival.name} does not read back the same ({error}). The disk "
            "may be failing; the bad copy is kept aside. Keep the card."
        ) from error
    if known is None:
        keep_frame(work, arrival, master)
    else:
        answer_already_here(work, arrival, known)


def _examine(arrival: Arrival, part: Path) -> tuple[Unreadable | None, Master | None]:
    """Find a part's digest and read its header; return why it is refused, or what it is.

    A file that came in one go has its digest already, and the store proves it against the disk
    while it copies. Else, and before a header is blamed, the part is read here.
    """
    if arrival.size_bytes == 0:
        return _empty(arrival), None
    if not part.parent.is_dir():
        raise TryLaterError(
            f"The folder of arriving files is not there, so {arrival.name} cannot be read. Have "
            "the disk looked at, and keep the card."
        )
    if not part.exists():
        return _gone(arrival), None
    sha256 = _digest_in_one_go(arrival, part)
    structure = read_structure(part)
    if not sha256 or isinstance(structure, Unreadable):
        found = read_back(part, arrival.stretches)
        if found.size_bytes != arrival.size_bytes or found.bad_stretch is not None:
            return _differs(arrival, found), None
        sha256 = found.sha256
    if isinstance(structure, Unreadable):
        return _named(structure, part, arrival), None
    refusal = _cut_short(structure) or refuse_by_header(structure, reading_limits())
    if refusal is not None:
        return refusal, None
    return None, Master(
        sha256=sha256,
        size_bytes=arrival.size_bytes,
        extension=EXTENSIONS[structure.format],
        structure=structure,
    )


def _refused_before(arrival: Arrival, part: Path) -> Arrival | None:
    """Return an earlier refused file with exactly these bytes, if they are still kept."""
    namesakes = Arrival.objects.filter(
        state=ArrivalState.REFUSED, refused_kept=True, size_bytes=arrival.size_bytes
    ).exclude(pk=arrival.pk)
    digest = ""
    for earlier in namesakes.select_related("drop").order_by("pk")[:MOST_COMPARED]:
        places = quarantine.refused_path(earlier.token), quarantine.part_path(earlier.token)
        kept = next((path for path in places if path.is_file()), None)
        if kept is None:
            continue
        digest = digest or hash_file(part).sha256
        if hash_file(kept).sha256 == digest:
            return earlier
    return None


def _digest_in_one_go(arrival: Arrival, part: Path) -> str:
    """Return the digest taken while the whole file came in, or nothing if it came in pieces."""
    if len(arrival.stretches) != 1 or part.stat().st_size != arrival.size_bytes:
        return ""
    start, end, sha256 = arrival.stretches[0]
    return str(sha256) if (start, end) == (0, arrival.size_bytes) else ""


def read_back(part: Path, stretches: list[list[Any]]) -> ReadBack:
    """Read a file once and compute its digest and those of its stretches.

    `stretches` holds (start, end, SHA-256) in rising order, as taken while the bytes came in.
    """
    whole = hashlib.sha256()
    at = 0
    with open(part, "rb", buffering=0) as handle:
        for start, end, expected in [*stretches, (None, None, None)]:
            at = _read_to(handle, whole, at, start)
            if start is None:
                break
            stretch = hashlib.sha256()
            at = _read_to(handle, whole, at, end, stretch)
            if stretch.hexdigest() != expected:
                return ReadBack(whole.hexdigest(), at, (start, end))
    return ReadBack(whole.hexdigest(), at)


def _read_to(handle: Any, whole: Any, at: int, end: int | None, stretch: Any = None) -> int:
    while end is None or at < end:
        chunk = handle.read(CHUNK_BYTES if end is None else min(CHUNK_BYTES, end - at))
        if not chunk:
            break
        whole.update(chunk)
        if stretch is not None:
            stretch.update(chunk)
        at += len(chunk)
    return at


def _empty(arrival: Arrival) -> Unreadable:
    return Unreadable(
        Reason.EMPTY,
        f"{arrival.name} is empty: it has a name but no content. "
        "Copy it again from the card before the card is formatted.",
    )


def _gone(arrival: Arrival) -> Unreadable:
    return Unreadable(
        Reason.NOT_A_FILE,
        f"The bytes of {arrival.name} have gone from quarantine before they were proven. "
        "Send the file again, and keep the card until it is.",
    )


def _differs(arrival: Arrival, found: ReadBack) -> Unreadable:
    where = (
        f"between byte {found.bad_stretch[0]:,} and {found.bad_stretch[1]:,}"
        if found.bad_stretch
        else f"in length ({found.size_bytes:,} instead of {arrival.size_bytes:,} bytes)"
    )
    return Unreadable(
        Reason.DAMAGED,
        f"What lies on the disk of {arrival.name} differs from what was sent, {where}. "
        "Send the file again; if this repeats, have the disk looked at.",
    )


def _cut_short(structure: Structure) -> Unreadable | None:
    if structure.length.is_complete:
        return None
    return Unreadable(
        Reason.TRUNCATED,
        f"The file is cut short: {structure.length.shortfall}. "
        "Copy it again from the card before the card is formatted.",
    )


def _named(refusal: Unreadable, part: Path, arrival: Arrival) -> Unreadable:
    """Put the file's own name where the reader only knew the name in quarantine."""
    ending = Path(arrival.name).suffix.lower()
    said = f" although its name ends in {part.suffix}"
    own = f" although its name ends in {ending}" if ending in PICTURE_ENDINGS else ""
    sentence = refusal.sentence.replace(said, own).replace(part.name, shown_name(arrival.name))
    return Unreadable(refusal.reason, sentence, refusal.detail)
