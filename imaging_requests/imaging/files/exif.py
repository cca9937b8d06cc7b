"""Read the capture facts of an Exif block (Exif 2.32, tags of the Exif directory).

The block is a small TIFF of its own: the tables of a TIFF file, the APP1 segment of a JPEG or the
``eXIf`` chunk of a PNG. Damaged or absent tags are left out; a picture is never refused for them.
"""

import io
import re
from datetime import datetime

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.facts import Exif
from imaging_requests.imaging.files.ifd import Table, TableReader, open_tables
from imaging_requests.imaging.files.refusals import HeaderError

MAKE, MODEL, ORIENTATION, EXIF_TABLE = 271, 272, 274, 34665
X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 282, 283, 296
EXPOSURE_TIME, F_NUMBER, ISO = 33434, 33437, 34855
DATE_TIME_ORIGINAL, OFFSET_TIME_ORIGINAL, SUB_SECONDS_ORIGINAL = 36867, 36881, 37521
BODY_SERIAL, LENS_MODEL, LENS_SERIAL = 42033, 42036, 42037
INCH = 2
MM_PER_UNIT = {INCH: 25.4, 3: 10.0}
_OFFSET = re.compile(r"[+-]\d\d:\d\d")


def read_exif(block: bytes) -> Exif | None:
    """Read an Exif block (from "II" or "MM" on); None if it does not parse at all.

    >>> read_exif(b"not Exif") is None
    True
    """
    source = ByteSource(io.BytesIO(block), len(block))
    try:
        reader, offset = open_tables(source)
        first = reader.table(offset, "the Exif table")
    except HeaderError:
        return None
    return _collect(first, _exif_table(reader, first))


def exif_of_table(reader: TableReader, first: Table) -> Exif | None:
    """Collect the capture facts from the first table of a TIFF and its Exif table.

    None if there is neither an Exif table nor a maker's name: then no camera wrote anything.
    """
    detail = _exif_table(reader, first)
    if detail is None and not (_text(first, MAKE) or _text(first, MODEL)):
        return None
    return _collect(first, detail)


def _exif_table(reader: TableReader, first: Table) -> Table | None:
    try:
        offset = first.whole(EXIF_TABLE, 0)
        return reader.table(offset, "the Exif table") if offset else None
    except HeaderError:
        return None


def _collect(first: Table, detail: Table | None) -> Exif:
    captured_text = _text(detail, DATE_TIME_ORIGINAL)
    offset_text = _text(detail, OFFSET_TIME_ORIGINAL)
    return Exif(
        captured_text=captured_text,
        captured_local=with_sub_seconds(
            parse_wall_clock(captured_text), _text(detail, SUB_SECONDS_ORIGINAL)
        ),
        captured_offset=offset_text if _OFFSET.fullmatch(offset_text) else "",
        make=_text(first, MAKE),
        model=_text(first, MODEL),
        body_serial=_text(detail, BODY_SERIAL),
        lens_model=_text(detail, LENS_MODEL),
        lens_serial=_text(detail, LENS_SERIAL),
        exposure_s=_ratio(detail, EXPOSURE_TIME),
        f_number=_ratio(detail, F_NUMBER),
        iso=_whole(detail, ISO),
        orientation=_whole(first, ORIENTATION),
        resolution_px_per_mm=resolution_of_table(first),
    )


def resolution_of_table(table: Table) -> tuple[float, float] | None:
    """Return the stated resolution (x, y) in px/mm; None if absent, zero or without a unit."""
    mm = MM_PER_UNIT.get(_whole(table, RESOLUTION_UNIT) or INCH)
    x, y = _ratio(table, X_RESOLUTION), _ratio(table, Y_RESOLUTION)
    if mm is None or not x or not y:
        return None
    return x / mm, y / mm


def parse_wall_clock(text: str) -> datetime | None:
    """Read "YYYY:MM:DD HH:MM:SS" as a local time without a zone; None if it is no real date.

    >>> parse_wall_clock("2026:03:29 02:30:00")
    datetime.datetime(2026, 3, 29, 2, 30)
    >>> parse_wall_clock("0000:00:00 00:00:00") is None
    True
    """
    try:
        return datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None


def with_sub_seconds(instant: datetime | None, digits: str) -> datetime | None:
    """Add the fraction of a second that a camera wrote beside its clock, as decimal digits.

    Anything but digits is left out. "5" is half a second, "05" a twentieth.

    >>> with_sub_seconds(datetime(2026, 3, 29, 2, 30), "05").isoformat()
    '2026-03-29T02:30:00.050000'
    """
    plain = digits.strip()
    if instant is None or not (plain.isascii() and plain.isdigit()):
        return instant
    return instant.replace(microsecond=int(plain[:6].ljust(6, "0")))


def _text(table: Table | None, tag: int) -> str:
    try:
        return table.text(tag) if table else ""
    except HeaderError:
        return ""


def _whole(table: Table | None, tag: int) -> int | None:
    try:
        values = table.wholes(tag) if table else ()
    except (HeaderError, ValueError, OverflowError):
        return None
    return values[0] if values else None


def _ratio(table: Table | None, tag: int) -> float | None:
    try:
        return table.ratio(tag) if table else None
    except HeaderError:
        return None
