"""Limits of the process that decodes files, and the test of a header against them."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import take_number, take_version, take_whole
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.refusals import Reason, Unreadable, cut_short

OUT_OF_MEMORY = ("out of memory", "allocate", "allocation", "malloc", "memoryerror")
DECODED_BITS = (1, 2, 4, 8, 16)
UNPACKED_BITS = 12


@dataclass(frozen=True, slots=True)
class Limits:
    """What one file may cost. Sizes in bytes, times in seconds.

    ``wall_base_s`` plus ``wall_per_megapixel_s`` times the announced megapixels bounds the time of
    one request; the processor time is bounded by ``threads`` times that. ``patience``: a process
    that is at work and was kept from it by others may take so many times as long. ``sample_…``:
    when the levels of a large picture are counted in some rows only, see ``sample``.
    """

    version: int
    max_pixels: int
    max_bands: int
    max_expansion: float
    free_expansion_bytes: int
    memory_bytes: int
    wall_base_s: float
    wall_per_megapixel_s: float
    patience: float
    threads: int
    max_answer_bytes: int
    recycle_after: int
    sample_above_pixels: int
    sample_every_rows: int
    sample_clear_distinct: int
    sample_clear_grid_share: float

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> "Limits":
        """Read the limits from versioned data; raises ``DataError`` if a value is missing."""
        return cls(
            version=take_version(data),
            max_pixels=take_whole(data, "pixels.max"),
            max_bands=take_whole(data, "pixels.max_bands"),
            max_expansion=take_number(data, "expansion.max"),
            free_expansion_bytes=take_whole(data, "expansion.free_bytes"),
            memory_bytes=take_whole(data, "memory.max_bytes"),
            wall_base_s=take_number(data, "time.base_s"),
            wall_per_megapixel_s=take_number(data, "time.per_megapixel_s"),
            patience=take_number(data, "time.patience"),
            threads=take_whole(data, "threads"),
            max_answer_bytes=take_whole(data, "answer.max_bytes"),
            recycle_after=take_whole(data, "recycle.after_files"),
            sample_above_pixels=take_whole(data, "sample.above_pixels"),
            sample_every_rows=take_whole(data, "sample.every_rows"),
            sample_clear_distinct=take_whole(data, "sample.clear_distinct"),
            sample_clear_grid_share=take_number(data, "sample.clear_grid_share"),
        )

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        return asdict(self)

    def wall_s(self, megapixels: float) -> float:
        """Return the time allowed for a request; never more than for ``max_pixels``."""
        bounded = min(max(megapixels, 0.0), self.max_pixels / 1e6)
        return self.wall_base_s + self.wall_per_megapixel_s * bounded


def is_out_of_memory(words: str) -> bool:
    """Whether a library's complaint is about memory rather than about the file.

    >>> is_out_of_memory("vips_tracked: out of memory -- size == 10299MB")
    True
    """
    lowered = words.lower()
    return any(sign in lowered for sign in OUT_OF_MEMORY)


def refuse_extra_channels(structure: Structure) -> Unreadable | None:
    """Say why a picture with channels of unknown meaning is not measured, joined or laid over.

    One channel beside red, green and blue may be left out: it is transparency. Of two channels, or
    of five, nothing says which one shows the object.
    """
    extra = structure.extra_bands
    if extra == 0 or (extra == 1 and structure.bands > 2):
        return None
    return Unreadable(
        Reason.UNSUPPORTED,
        f"The picture has {structure.bands} channels, and nothing says which of them show the "
        "object. Export it as grey or RGB, without further channels, and send it again.",
    )


def refuse_by_header(structure: Structure, limits: Limits) -> Unreadable | None:
    """Say from the header alone why a picture must not be decoded; None if it may be.

    A file that is cut short is not left to the decoder: it would show missing tiles as black.
    """
    megapixels = structure.pixels / 1e6
    if structure.pixels > limits.max_pixels:
        return Unreadable(
            Reason.TOO_MANY_PIXELS,
            f"The header announces {structure.width_px:,} × {structure.height_px:,} pixels "
            f"({megapixels:,.0f} million); the limit is {limits.max_pixels / 1e6:,.0f} million. "
            "If the picture is real, deliver it in parts; if not, the file is damaged.",
        )
    if not structure.length.is_complete:
        return cut_short(structure.length.shortfall)
    expansion = structure.decoded_bytes / max(structure.length.actual_bytes, 1)
    if structure.decoded_bytes > limits.free_expansion_bytes and expansion > limits.max_expansion:
        return Unreadable(
            Reason.EXPANDS_TOO_FAR,
            f"The file is {structure.length.actual_bytes:,} bytes long and would unfold to "
            f"{structure.decoded_bytes:,} bytes, {expansion:,.0f} times as much; a photograph does "
            f"not shrink that far (limit {limits.max_expansion:,.0f} times). It was not opened. "
            "If the picture is real, save it without compression and send it again.",
        )
    is_plain = (
        structure.sample_format == "unsigned"
        or structure.colour == "lab"
        or structure.radiograph is not None
    )
    if not is_plain or not _has_decoded_bits(structure):
        return Unreadable(
            Reason.UNSUPPORTED,
            f"The picture has {structure.bits_per_sample}-bit {structure.sample_format} samples; "
            "pictures with 8-bit and 16-bit whole numbers from 0 up can be read. "
            "Export it with 16 bits per channel and send it again.",
        )
    if structure.bands > limits.max_bands:
        return Unreadable(
            Reason.UNSUPPORTED,
            f"The picture has {structure.bands:,} channels; up to {limits.max_bands} can be read. "
            "Export it as RGB or grey and send it again.",
        )
    return None


def _has_decoded_bits(structure: Structure) -> bool:
    """Whether levels of so many bits are read in the way in which they lie in the file."""
    if structure.bits_per_sample in DECODED_BITS or structure.format == "jp2":
        return True
    return (
        structure.bits_per_sample == UNPACKED_BITS
        and structure.format in ("tiff", "bigtiff")
        and structure.layout == "strips"
        and not structure.is_planar
        and structure.compression in ("none", "deflate")
        and structure.colour in ("grey", "rgb")
    )
