"""Find the preview inside a raw camera file that is built like a TIFF (TIFF 6.0, TIFF/EP, DNG).

Such a file holds the sensor's data in some table, and beside it one or more developed pictures as
JPEG. The raw data are never interpreted here; the file is kept as it is, and its largest JPEG is
what can be shown of it.
"""

from collections.abc import Iterator
from dataclasses import replace

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.exif import exif_of_table
from imaging_requests.imaging.files.facts import Length, Preview, Structure
from imaging_requests.imaging.files.ifd import Table, TableReader, open_tables
from imaging_requests.imaging.files.jpeg_structure import LOSSLESS, read_jpeg
from imaging_requests.imaging.files.refusals import HeaderError, Reason

COMPRESSION, STRIP_OFFSETS, STRIP_BYTES, ORIENTATION = 259, 273, 279, 274
SUB_TABLES, JPEG_AT, JPEG_BYTES = 330, 513, 514
JPEG_CODES = (6, 7)
MOST_TABLES = 64
DEEPEST = 2
SHOWN_BITS = 8


def read_raw(source: ByteSource) -> Structure:
    """Describe a raw file by the largest JPEG inside it.

    Raises ``HeaderError`` if it is damaged, cut short, or holds no JPEG that can be shown.
    """
    reader, offset = open_tables(source)
    tables = list(_tables(reader, offset))
    end = max(_end(table) for table in tables)
    candidates = [found for table in tables for found in _jpegs(source, table)]
    if not candidates:
        raise camera_raw()
    preview, shown = max(candidates, key=lambda found: found[1].pixels)
    shortfall = ""
    if end > source.size_bytes:
        shortfall = (
            f"its data should reach to byte {end:,}, "
            f"the file ends after {source.size_bytes:,} bytes"
        )
    first = tables[0]
    turned = first.whole(ORIENTATION, 1)
    return replace(
        shown,
        format="raw",
        byte_order="little" if reader.order == "<" else "big",
        orientation=turned if 1 <= turned <= 8 else 1,
        pages=1,
        previews=len(candidates),
        resolution_px_per_mm=None,
        exif=exif_of_table(reader, first) or shown.exif,
        length=Length(end, source.size_bytes, shortfall),
        preview=preview,
    )


def camera_raw() -> HeaderError:
    """Return the refusal for raw camera files in which nothing can be shown."""
    return HeaderError(
        Reason.CAMERA_RAW,
        "This is a raw file from a camera, and no picture inside it can be shown here. Develop it "
        "to a 16-bit TIFF with the studio's recipe and send that; keep the raw file where it is.",
    )


def _tables(reader: TableReader, offset: int, depth: int = 0) -> Iterator[Table]:
    """Yield the tables of the chain and those below them; a damaged one below is passed over."""
    for number, table in enumerate(reader.chain(offset, "the table that describes the picture")):
        if number >= MOST_TABLES:
            return
        yield table
        if depth >= DEEPEST:
            continue
        for below in table.wholes(SUB_TABLES)[:MOST_TABLES]:
            try:
                yield from _tables(reader, below, depth + 1)
            except HeaderError:
                continue


def _end(table: Table) -> int:
    """Return where the last strip that a table names ends."""
    pairs = zip(table.wholes(STRIP_OFFSETS), table.wholes(STRIP_BYTES), strict=False)
    return max((at + length for at, length in pairs), default=table.end_at)


def _jpegs(source: ByteSource, table: Table) -> Iterator[tuple[Preview, Structure]]:
    """Yield the JPEGs that a table names and that can be shown."""
    places = [(table.whole(JPEG_AT, 0), table.whole(JPEG_BYTES, 0))]
    offsets, lengths = table.wholes(STRIP_OFFSETS), table.wholes(STRIP_BYTES)
    if table.whole(COMPRESSION, 1) in JPEG_CODES and len(offsets) == len(lengths) == 1:
        places.append((offsets[0], lengths[0]))
    for at, length in places:
        if at <= 0 or length <= 0 or at + length > source.size_bytes:
            continue
        part = _Part(source, at, length)
        if part.peek(0, 3) != b"\xff\xd8\xff":
            continue
        try:
            shown = read_jpeg(part)
        except (HeaderError, ValueError):
            continue
        is_shown = shown.bits_per_sample == SHOWN_BITS and shown.compression != LOSSLESS
        if is_shown and shown.bands in (1, 3) and shown.length.is_complete:
            yield Preview(at, length), shown


class _Part(ByteSource):
    """A stretch of a file, read as if it were a file of its own."""

    def __init__(self, source: ByteSource, at: int, length: int) -> None:
        self._source, self._at = source, at
        self.size_bytes = length

    def peek(self, offset: int, count: int) -> bytes:
        """Return up to ``count`` bytes of the stretch."""
        left = max(0, self.size_bytes - offset)
        return self._source.peek(self._at + offset, min(count, left))

    def read(self, offset: int, count: int, what: str) -> bytes:
        """Return ``count`` bytes of the stretch, or raise ``HeaderError`` if it ends before."""
        data = self.peek(offset, count)
        if len(data) != count:
            raise HeaderError(Reason.TRUNCATED, f"{what} is not complete.")
        return data
