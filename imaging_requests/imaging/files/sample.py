"""Count the levels of a large plain picture in some of its rows, read where they lie in the file.

Counting every level costs a second pass over the whole picture. Rows at even distances show as well
whether a picture has more than 8 bits; only if they leave a doubt is everything counted.
"""

import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.files.byte_source import open_source
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.ifd import open_tables
from imaging_requests.imaging.files.levels import ChannelLevels, measure_levels
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.tiff_structure import ROWS_PER_STRIP, STRIP_OFFSETS

LEVELS = 65_536
RGB = 3
ROWS_AT_ONCE = 32


def sample_levels(
    path: Path, structure: Structure, limits: Limits
) -> tuple[ChannelLevels, ...] | None:
    """Return the levels of every channel as evenly spaced rows show them, or None.

    None means that everything has to be counted: the picture is small, not plain 16-bit RGB in
    strips without compression, or the rows leave a doubt about its depth.
    """
    if structure.pixels <= limits.sample_above_pixels or not _is_plain(structure):
        return None
    counts = _count_rows(path, structure, limits.sample_every_rows)
    if counts is None:
        return None
    levels = measure_levels(counts)
    is_clear = all(
        channel.distinct >= limits.sample_clear_distinct
        and channel.grid_share <= limits.sample_clear_grid_share
        for channel in levels
    )
    return levels if is_clear else None


def _is_plain(structure: Structure) -> bool:
    return (
        structure.format in ("tiff", "bigtiff")
        and structure.layout == "strips"
        and structure.compression == "none"
        and structure.colour == "rgb"
        and structure.bands == RGB
        and structure.bits_per_sample == 16
        and structure.sample_format == "unsigned"
        and not structure.is_planar
    )


def _count_rows(path: Path, structure: Structure, every: int) -> NDArray[np.int64] | None:
    """Count the levels of every ``every``-th row; shape (65,536, 3). None if rows are missing."""
    width, height = structure.width_px, structure.height_px
    row_bytes = width * RGB * 2
    with open_source(path) as source:
        reader, offset = open_tables(source)
        table = reader.table(offset, "the table that describes the picture")
        per_strip = min(table.whole(ROWS_PER_STRIP, height), height)
        offsets = table.wholes(STRIP_OFFSETS)
    kind = np.dtype("<u2" if structure.byte_order == "little" else ">u2")
    counts = np.zeros((RGB, LEVELS), np.int64)
    rows = range(0, height, every)
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        for first in range(0, len(rows), ROWS_AT_ONCE):
            parts = [
                os.pread(
                    descriptor, row_bytes, offsets[row // per_strip] + row % per_strip * row_bytes
                )
                for row in rows[first : first + ROWS_AT_ONCE]
            ]
            data = b"".join(parts)
            if len(data) != len(parts) * row_bytes:
                return None
            pixels = np.frombuffer(data, kind).reshape(-1, RGB)
            for band in range(RGB):
                counts[band] += np.bincount(pixels[:, band], minlength=LEVELS)
    finally:
        os.close(descriptor)
    return counts.T
