"""Read the header of a TIFF or BigTIFF (TIFF 6.0 and the registered extensions)."""

import struct
from collections.abc import Sequence
from dataclasses import dataclass

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.exif import exif_of_table, resolution_of_table
from imaging_requests.imaging.files.facts import Length, Profile, Structure
from imaging_requests.imaging.files.icc import MAX_PROFILE_BYTES, read_profile
from imaging_requests.imaging.files.ifd import Table, TableReader, open_tables
from imaging_requests.imaging.files.raw_structure import read_raw
from imaging_requests.imaging.files.refusals import damaged

SUBFILE_KIND, WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC = 254, 256, 257, 258, 259, 262
STRIP_OFFSETS, ORIENTATION, SAMPLES, ROWS_PER_STRIP, STRIP_BYTES = 273, 274, 277, 278, 279
PLANAR = 284
TILE_WIDTH, TILE_HEIGHT, TILE_OFFSETS, TILE_BYTES = 322, 323, 324, 325
SUB_TABLES, EXTRA_SAMPLES, SAMPLE_FORMAT, ICC = 330, 338, 339, 34675
LAYER_DATA, RAW_VERSION = 37724, 50706

COMPRESSIONS: dict[int, tuple[str, bool | None]] = {
    1: ("none", False), 2: ("CCITT RLE", False), 3: ("CCITT 3", False), 4: ("CCITT 4", False),
    5: ("LZW", False), 6: ("old JPEG", True), 7: ("JPEG", True), 8: ("deflate", False),
    32773: ("PackBits", False), 32946: ("deflate", False), 34712: ("JPEG 2000", None),
    34887: ("LERC", None), 34925: ("LZMA", False), 50000: ("Zstandard", False),
    50001: ("WebP", None), 50002: ("JPEG XL", None),
}  # fmt: skip
COLOURS = {0: "grey", 1: "grey", 2: "rgb", 3: "palette", 5: "cmyk", 6: "ycbcr", 8: "lab", 9: "lab"}
COLOUR_BANDS = {"grey": 1, "rgb": 3, "palette": 1, "cmyk": 4, "ycbcr": 3, "lab": 3}
SENSOR_COLOURS = (32803, 34892)
SAMPLE_FORMATS = {1: "unsigned", 2: "signed", 3: "float", 4: "unsigned", 5: "complex", 6: "complex"}
ALPHAS = {0: "unspecified", 1: "associated", 2: "unassociated"}
REDUCED = 1
LAYER_KEYS = {b"Layr", b"Lr16", b"Lr32", b"ryaL", b"61rL", b"23rL"}
MAX_LAYER_BLOCKS = 1_000
MAX_SUB_TABLES = 64


def read_tiff(source: ByteSource) -> Structure:
    """Describe the first picture of a TIFF and count what lies beside it.

    A raw camera file is described by its preview. Raises ``HeaderError`` if the tables are missing
    or damaged.
    """
    reader, offset = open_tables(source)
    tables = list(reader.chain(offset, "the table that describes the picture"))
    first = tables[0]
    if _is_camera_raw(first):
        return read_raw(source)
    picture = _picture(first)
    reduced = [table for table in tables[1:] if table.whole(SUBFILE_KIND, 0) & REDUCED]
    colour = COLOURS.get(picture.photometric, "other")
    extra = max(picture.samples - COLOUR_BANDS.get(colour, picture.samples), 0)
    compression, is_lossy = COMPRESSIONS.get(
        picture.compression, (f"number {picture.compression}", None)
    )
    return Structure(
        format="bigtiff" if reader.is_big else "tiff",
        width_px=picture.width,
        height_px=picture.height,
        bands=picture.samples,
        bits_per_sample=picture.bits,
        sample_format=SAMPLE_FORMATS.get(first.whole(SAMPLE_FORMAT, 1), "unsigned"),
        layout="tiles" if picture.is_tiled else "strips",
        is_planar=picture.is_planar,
        byte_order="little" if reader.order == "<" else "big",
        compression=compression,
        is_lossy=is_lossy,
        colour=colour,
        orientation=_orientation(first),
        alpha=ALPHAS.get(first.whole(EXTRA_SAMPLES, 0), "unspecified") if extra else "",
        extra_bands=extra,
        pages=len(tables) - len(reduced),
        previews=len(reduced) + len(first.wholes(SUB_TABLES)),
        has_layers=_has_layers(reader, first),
        profile=_profile(first),
        resolution_px_per_mm=resolution_of_table(first),
        exif=exif_of_table(reader, first),
        length=_length(source, reader, tables),
    )


@dataclass(frozen=True, slots=True)
class _Picture:
    """The tags of one table that say how its pixels lie in the file."""

    width: int
    height: int
    samples: int
    bits: int
    photometric: int
    compression: int
    is_planar: bool
    is_tiled: bool
    chunk_width: int
    chunk_height: int

    @property
    def chunks(self) -> int:
        """Number of strips or tiles."""
        across = -(-self.width // self.chunk_width)
        down = -(-self.height // self.chunk_height)
        return across * down * (self.samples if self.is_planar else 1)

    def plain_bytes(self, number: int) -> int:
        """Return the length of a strip or tile without compression; 0 if it depends on content."""
        if self.compression != 1 or self.photometric == 6:
            return 0
        samples = 1 if self.is_planar else self.samples
        rows = self.chunk_height
        if not self.is_tiled:
            down = -(-self.height // self.chunk_height)
            if number % down == down - 1:
                rows = self.height - (down - 1) * self.chunk_height
        return rows * -(-self.chunk_width * samples * self.bits // 8)


def _picture(table: Table) -> _Picture:
    width, height = table.whole(WIDTH, 0), table.whole(HEIGHT, 0)
    if width < 1 or height < 1:
        raise damaged("its header gives the picture no width or no height")
    samples = table.whole(SAMPLES, 1)
    bits = max(table.wholes(BITS) or (1,))
    if samples < 1 or bits < 1:
        raise damaged("its header gives the picture no channels or no bits")
    is_tiled = TILE_OFFSETS in table.entries or TILE_WIDTH in table.entries
    if is_tiled:
        chunk_width, chunk_height = table.whole(TILE_WIDTH, 0), table.whole(TILE_HEIGHT, 0)
    else:
        chunk_width, chunk_height = width, min(table.whole(ROWS_PER_STRIP, height), height)
    if chunk_width < 1 or chunk_height < 1:
        raise damaged("its header gives the strips or tiles no size")
    return _Picture(
        width=width,
        height=height,
        samples=samples,
        bits=bits,
        photometric=table.whole(PHOTOMETRIC, -1),
        compression=table.whole(COMPRESSION, 1),
        is_planar=table.whole(PLANAR, 1) == 2 and samples > 1,
        is_tiled=is_tiled,
        chunk_width=chunk_width,
        chunk_height=chunk_height,
    )


def _is_camera_raw(first: Table) -> bool:
    is_preview = bool(first.whole(SUBFILE_KIND, 0) & REDUCED) and SUB_TABLES in first.entries
    return (
        RAW_VERSION in first.entries
        or first.whole(PHOTOMETRIC, -1) in SENSOR_COLOURS
        or (is_preview and bool(first.text(271)))
    )


def _orientation(first: Table) -> int:
    value = first.whole(ORIENTATION, 1)
    return value if 1 <= value <= 8 else 1


def _profile(first: Table) -> Profile | None:
    data = first.raw(ICC, MAX_PROFILE_BYTES)
    return read_profile(data) if data else None


def _has_layers(reader: TableReader, first: Table) -> bool:
    """Whether the image editor's data block (tag 37724) holds a layer section that is not empty."""
    entry = first.entries.get(LAYER_DATA)
    if entry is None:
        return False
    at = entry.value_at
    title = reader.source.peek(at, 64)
    at += title.find(b"\0") + 1
    end = entry.value_at + entry.value_bytes
    for _ in range(MAX_LAYER_BLOCKS):
        head = reader.source.peek(at, 12)
        if len(head) < 12 or at >= end or head[:4] not in (b"8BIM", b"MIB8"):
            return False
        (size,) = struct.unpack(("<" if head[:4] == b"MIB8" else ">") + "I", head[8:])
        if head[4:8] in LAYER_KEYS and size:
            return True
        at += 12 + size + (-size % 4)
    return False


def _length(source: ByteSource, reader: TableReader, tables: Sequence[Table]) -> Length:
    expected, shortfall = 0, ""
    for number, table in enumerate(tables, start=1):
        parts = [(table, f"picture {number}")]
        for offset in table.wholes(SUB_TABLES)[:MAX_SUB_TABLES]:
            name = f"a reduced picture of picture {number}"
            below = reader.table(offset, f"the table of {name}")
            if WIDTH in below.entries:
                parts.append((below, name))
        for part, name in parts:
            end, missing = _extent(part, name)
            expected = max(expected, end, part.end_at)
            shortfall = shortfall or missing
    if expected > source.size_bytes:
        shortfall = (
            f"the picture data should reach to byte {expected:,}, "
            f"the file ends after {source.size_bytes:,} bytes"
        )
    return Length(expected, source.size_bytes, shortfall)


def _extent(table: Table, owner: str) -> tuple[int, str]:
    """Return where the last strip or tile of a picture ends, and what is missing from the lists."""
    picture = _picture(table)
    offsets = table.wholes(TILE_OFFSETS if picture.is_tiled else STRIP_OFFSETS)
    counts = table.wholes(TILE_BYTES if picture.is_tiled else STRIP_BYTES)
    chunk = "tiles" if picture.is_tiled else "strips"
    if not counts and picture.compression == 1:
        counts = tuple(picture.plain_bytes(index) for index in range(len(offsets)))
    listed = min(len(offsets), len(counts))
    if listed < picture.chunks:
        return 0, f"{owner} needs {picture.chunks:,} {chunk}, its lists name {listed:,}"
    empty = sum(1 for count in counts[: picture.chunks] if count == 0)
    if empty:
        return 0, f"{empty:,} of {picture.chunks:,} {chunk} of {owner} are empty"
    end = max(
        offset + max(count, picture.plain_bytes(index))
        for index, (offset, count) in enumerate(zip(offsets, counts, strict=False))
        if index < picture.chunks
    )
    return end, ""
