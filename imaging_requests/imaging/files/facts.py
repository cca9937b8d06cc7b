"""What a file says of itself, as plain values that travel through JSON unchanged."""

from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class Profile:
    """An embedded ICC profile.

    ``colour_space`` is the four-letter code of the profile header without blanks ("RGB", "GRAY",
    "CMYK", "Lab"). ``is_sound`` is false if the bytes do not parse as a profile.
    """

    description: str
    colour_space: str
    size_bytes: int
    sha256: str
    is_sound: bool


@dataclass(frozen=True, slots=True)
class Exif:
    """Facts of the capture, as the camera wrote them.

    ``captured_text`` is the wall clock verbatim ("2026:03:04 10:20:30"); ``captured_local`` is the
    same without a zone, with the fraction of a second if the camera wrote one, or None if the text
    is not a date; ``captured_offset`` is the zone ("+01:00") if the camera wrote one.
    ``exposure_s`` in seconds, ``f_number`` without unit.
    """

    captured_text: str = ""
    captured_local: datetime | None = None
    captured_offset: str = ""
    make: str = ""
    model: str = ""
    body_serial: str = ""
    lens_model: str = ""
    lens_serial: str = ""
    exposure_s: float | None = None
    f_number: float | None = None
    iso: int | None = None
    orientation: int | None = None
    resolution_px_per_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Length:
    """Expected against actual length in bytes.

    ``expected_bytes`` is None where the format states none (JPEG). ``shortfall`` is empty for a
    whole file, else a half sentence that says what is missing.
    """

    expected_bytes: int | None
    actual_bytes: int
    shortfall: str = ""

    @property
    def is_complete(self) -> bool:
        """Whether everything that the header announces lies inside the file."""
        return not self.shortfall


@dataclass(frozen=True, slots=True)
class Radiograph:
    """How an X-ray plate in a DICOM file stores its levels.

    ``polarity``: MONOCHROME1 (low levels are light) or MONOCHROME2 (low levels are dark), verbatim.
    ``stored_bits`` of the container's bits carry the level, the highest of them is ``high_bit``.
    ``slope`` and ``intercept`` lead from stored levels to the maker's values; only the sign of the
    slope matters for how the picture looks. ``pixels_at``: byte at which the plain levels begin.
    """

    polarity: str
    stored_bits: int
    high_bit: int
    slope: float
    intercept: float
    syntax: str
    pixels_at: int

    @property
    def is_low_light(self) -> bool:
        """Whether the lowest stored level is to be shown as the lightest."""
        return (self.polarity == "MONOCHROME1") != (self.slope < 0)


@dataclass(frozen=True, slots=True)
class Preview:
    """The picture inside a raw camera file that is shown in its place: a JPEG, in bytes."""

    offset: int
    length: int


@dataclass(frozen=True, slots=True)
class Structure:
    """The header of a picture file.

    ``format``: key of ``formats.FORMATS``. ``bands``: all channels, alpha included.
    ``sample_format``: unsigned, signed, float, complex. ``layout``: strips, tiles or rows.
    ``is_planar``: one plane per channel. ``colour``: grey, rgb, cmyk, lab, ycbcr, palette, other.
    ``is_lossy`` is None if the compression can be either. ``orientation``: 1 to 8, 1 = upright.
    ``alpha``: "" (none), "associated", "unassociated" or "unspecified" (a channel nobody explains).
    ``pages``: pictures of full size; ``previews``: reduced pictures beside them.
    ``resolution_px_per_mm``: as stated (x, y); usually a default and not a measurement.
    ``radiograph``: for DICOM. ``preview``: for raw camera files; size, bands, bits and compression
    are then those of the preview.
    """

    format: str
    width_px: int
    height_px: int
    bands: int
    bits_per_sample: int
    sample_format: str
    layout: str
    is_planar: bool
    byte_order: str
    compression: str
    is_lossy: bool | None
    colour: str
    orientation: int
    alpha: str
    extra_bands: int
    pages: int
    previews: int
    has_layers: bool
    profile: Profile | None
    resolution_px_per_mm: tuple[float, float] | None
    exif: Exif | None
    length: Length
    radiograph: Radiograph | None = None
    preview: Preview | None = None

    @property
    def pixels(self) -> int:
        """Width times height of the first picture."""
        return self.width_px * self.height_px

    @property
    def decoded_bytes(self) -> int:
        """Size of the decoded first picture in memory, in bytes."""
        return self.pixels * self.bands * ((self.bits_per_sample + 7) // 8)

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        data = asdict(self)
        if self.exif is not None and self.exif.captured_local is not None:
            data["exif"]["captured_local"] = self.exif.captured_local.isoformat()
        return data

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> "Structure":
        """Rebuild a structure from ``as_data``, also after a round trip through JSON."""
        values = dict(data)
        if values["profile"] is not None:
            values["profile"] = Profile(**values["profile"])
        if values["exif"] is not None:
            exif = dict(values["exif"])
            if exif["captured_local"] is not None:
                exif["captured_local"] = datetime.fromisoformat(exif["captured_local"])
            exif["resolution_px_per_mm"] = _pair(exif["resolution_px_per_mm"])
            values["exif"] = Exif(**exif)
        values["resolution_px_per_mm"] = _pair(values["resolution_px_per_mm"])
        values["length"] = Length(**values["length"])
        if values.get("radiograph") is not None:
            values["radiograph"] = Radiograph(**values["radiograph"])
        if values.get("preview") is not None:
            values["preview"] = Preview(**values["preview"])
        return cls(**values)


def _pair(values: list[float] | tuple[float, float] | None) -> tuple[float, float] | None:
    return None if values is None else (values[0], values[1])
