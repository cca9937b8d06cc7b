"""Decode a picture as a stream and bring it to 8-bit sRGB, or stretch its tone, for the screen."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.formats import FORMATS
from imaging_requests.imaging.files.limits import is_out_of_memory
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.tile_view import open_tiles
from imaging_requests.imaging.files.unfold import reader_for

ICC_NAME = "icc-profile-data"
FAIL_ON = "error"
"""Level of trouble that stops the decoder: damaged strips, rows and scans; see ``tile_view``."""
COLOUR_BANDS = {
    "b-w": 1, "grey16": 1, "srgb": 3, "rgb16": 3, "rgb": 3, "cmyk": 4, "lab": 3, "labs": 3,
}  # fmt: skip
PLANE_MEANING = {"grey": ("b-w", "grey16"), "rgb": ("srgb", "rgb16"), "cmyk": ("cmyk", "cmyk")}
"""What bands without a stated meaning are taken for: 8-bit, 16-bit."""
PROFILE_SPACE = {1: "GRAY", 3: "RGB", 4: "CMYK"}
LEVELS = {"uchar": 256, "ushort": 65_536}
DISPLAY_TOP = 255
NOT_DECODED_HERE = (
    "not configured", "not support", "unsupported", "not implemented", "tile size", "labq",
)  # fmt: skip
PROBE_LEVELS = np.array(
    [[[204, 51, 26, 10], [26, 179, 77, 30], [51, 51, 204, 60], [128, 90, 60, 0]]], np.uint8
)
PROBES = {1: ("b-w", ("srgb", "p3")), 3: ("srgb", ("srgb", "p3")), 4: ("cmyk", ("cmyk", "srgb"))}
"""Interpretation and two fallbacks for the test of a profile, by number of bands."""
FLAT_TILE_PX = 128
TURNED: dict[int, Callable[[pyvips.Image], pyvips.Image]] = {
    2: lambda image: image.fliphor(),
    3: lambda image: image.rot180(),
    4: lambda image: image.flipver(),
    5: lambda image: image.rot90().fliphor(),
    6: lambda image: image.rot90(),
    7: lambda image: image.rot90().flipver(),
    8: lambda image: image.rot270(),
}


@dataclass(frozen=True, slots=True)
class Shown:
    """An 8-bit picture for the screen and how its colour came about.

    ``colour_source``: "embedded" (the profile in the file was used) or "assumed" (none that could
    be used; levels were taken as sRGB). ``window``: the stretched levels, or None.
    """

    image: pyvips.Image
    colour_source: str
    window: tuple[int, int] | None


def open_pixels(path: Path, structure: Structure, scratch: Path | None = None) -> pyvips.Image:
    """Open the first picture for one pass from top to bottom; any damage is an error.

    ``scratch``: an empty folder for 12-bit levels, which have to be unpacked first. Raises
    ``pyvips.Error`` if the decoder cannot read the file.
    """
    unfold = reader_for(structure)
    if unfold is not None:
        return unfold(path, structure, scratch)
    if structure.layout == "tiles":
        image = open_tiles(path)
    else:
        known = FORMATS[structure.format]
        decoder: Callable[..., pyvips.Image] = getattr(pyvips.Image, known.decoder)
        image = decoder(str(path), access="sequential", fail_on=FAIL_ON, **known.decoder_options)
    is_joined = structure.layout == "tiles" and structure.is_planar
    if not is_joined and image.interpretation != "multiband":
        return image
    colour = structure.colour if is_joined else "rgb" if image.bands >= 3 else "grey"
    if colour not in PLANE_MEANING:
        raise pyvips.Error(f"tiled planes of colour {colour} are not supported")
    return image.copy(interpretation=PLANE_MEANING[colour][image.format == "ushort"])


def count_levels(image: pyvips.Image) -> NDArray[np.int64]:
    """Decode everything once and count the levels; shape (65,536 or 256, bands)."""
    found = image.hist_find().numpy()
    counts = found.reshape(-1, image.bands).astype(np.int64)
    return np.pad(counts, ((0, LEVELS[image.format] - counts.shape[0]), (0, 0)))


def show(image: pyvips.Image, structure: Structure, window: tuple[int, int] | None) -> Shown:
    """Return the picture as 8-bit sRGB with 3 bands, or 8-bit grey with 1 band.

    Transparency is left out. A grey picture is a table from level to level, so window and profile
    together cost one look-up per pixel. With a ``window`` the levels between its two ends are
    spread over the whole range before the profile applies.
    """
    bands = colour_bands(image)
    colour = image.extract_band(0, n=bands) if image.bands > bands else image
    profile = structure.profile
    is_fitting = (
        profile is not None
        and profile.is_sound
        and profile.colour_space == PROFILE_SPACE.get(bands)
        and colour.interpretation not in ("lab", "labs")
        and colour.get_typeof(ICC_NAME) != 0
        and _profile_works(bytes(colour.get(ICC_NAME)), bands)
    )
    if bands == 1:
        return _show_grey(colour, is_fitting, window)
    if is_fitting:
        return Shown(_to_srgb(colour), "embedded", None)
    plain = _without(colour, ICC_NAME)
    if colour.interpretation == "cmyk":
        return Shown(_to_srgb(plain, fallback="cmyk"), "assumed", None)
    return Shown(_tagged_srgb(plain.colourspace("srgb").cast("uchar")), "assumed", None)


def colour_bands(image: pyvips.Image) -> int:
    """Return how many bands carry colour; the others are transparency or spare."""
    count: int = min(COLOUR_BANDS.get(image.interpretation, 1), image.bands)
    return count


def turn_upright(image: pyvips.Image, orientation: int, scratch: Path) -> pyvips.Image:
    """Turn or mirror as the orientation flag says; the turned copy goes through a scratch file.

    The file is tiled, since a turn reads it column by column: only a row of tiles is in memory.
    The flag itself is taken off, or a reader of the copy would turn it a second time.
    """
    if orientation in TURNED:
        flat = scratch / "flat.tif"
        image.tiffsave(
            str(flat), tile=True, tile_width=FLAT_TILE_PX, tile_height=FLAT_TILE_PX, bigtiff=True
        )
        image = TURNED[orientation](pyvips.Image.tiffload(str(flat), fail_on=FAIL_ON))
    return _without(image, "orientation")


def explain(error: pyvips.Error) -> Unreadable:
    """Turn the decoder's words into a refusal; the words themselves are kept as detail.

    Raises ``MemoryError`` if it was memory that was missing, which is not the file's fault alone.
    """
    detail = " · ".join(line.strip() for line in str(error).splitlines() if line.strip())[:2_000]
    if is_out_of_memory(detail):
        raise MemoryError(detail) from error
    lowered = detail.lower()
    if any(words in lowered for words in NOT_DECODED_HERE):
        return Unreadable(
            Reason.UNSUPPORTED,
            "The picture is stored in a way that cannot be decoded here. Save it uncompressed or "
            "with LZW or deflate compression and send it again.",
            detail,
        )
    return Unreadable(
        Reason.DAMAGED,
        "The header is readable, but part of the picture cannot be decoded. The file was probably "
        "damaged while copying. Copy it again from the card before the card is formatted; if it "
        "stays so, shoot or export it again.",
        detail,
    )


def _show_grey(colour: pyvips.Image, is_fitting: bool, window: tuple[int, int] | None) -> Shown:
    top = LEVELS[colour.format] - 1
    ramp = np.arange(top + 1, dtype=np.float64)
    if window is not None and window[1] > window[0]:
        low, high = window
        ramp = np.clip((ramp - low) * (top / (high - low)), 0, top)
    else:
        window = None
    if is_fitting:
        levels = ramp.round().astype(np.uint16 if top > DISPLAY_TOP else np.uint8)
        steps = pyvips.Image.new_from_array(levels.reshape(1, -1), interpretation="multiband")
        steps = steps.copy(interpretation="grey16" if top > DISPLAY_TOP else "b-w")
        steps.set_type(pyvips.GValue.blob_type, ICC_NAME, colour.get(ICC_NAME))
        table = _to_srgb(steps).extract_band(1)
    else:
        shown = (ramp * (DISPLAY_TOP / top)).round().astype(np.uint8)
        table = pyvips.Image.new_from_array(shown.reshape(1, -1))
    image = _without(colour.maplut(table).copy(interpretation="b-w"), ICC_NAME)
    return Shown(image, "embedded" if is_fitting else "assumed", window)


def _to_srgb(image: pyvips.Image, fallback: str = "srgb") -> pyvips.Image:
    """Convert with the embedded profile, relative colorimetric with black point compensation."""
    return image.icc_transform(
        "srgb",
        embedded=True,
        input_profile=fallback,
        intent="relative",
        black_point_compensation=True,
        depth=8,
    )


@lru_cache(maxsize=32)
def _profile_works(profile: bytes, bands: int) -> bool:
    """Whether the colour engine really uses a profile for pictures with so many bands.

    The engine silently takes the fallback if it cannot use a profile. So a few colours are
    converted with two fallbacks that differ, and a difference, or the refusal of a fallback that
    does not fit, gives it away. For grey all fallbacks agree: levels that come back unchanged mean
    that the profile was not used, or that it says what is assumed without one.
    """
    interpretation, fallbacks = PROBES[bands]
    colours = pyvips.Image.new_from_array(PROBE_LEVELS[..., :bands]).copy(
        interpretation=interpretation
    )
    colours.set_type(pyvips.GValue.blob_type, ICC_NAME, profile)
    try:
        one, other = (_to_srgb(colours, fallback).numpy() for fallback in fallbacks)
    except pyvips.Error:
        return False
    if bands == 1:
        return bool((one != PROBE_LEVELS[..., :1]).any())
    return bool((one == other).all())


def _without(image: pyvips.Image, name: str) -> pyvips.Image:
    plain = image.copy()
    if plain.get_typeof(name):
        plain.remove(name)
    return plain


def _tagged_srgb(image: pyvips.Image) -> pyvips.Image:
    tagged = image.copy()
    tagged.set_type(
        pyvips.GValue.blob_type, ICC_NAME, pyvips.Operation.call("profile_load", "srgb")
    )
    return tagged
