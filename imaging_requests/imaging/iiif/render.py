"""Give the bytes of an answer: a tile as it lies in the pyramid, or a region rendered from it.

Rendering starts from the smallest level that still has as many pixels as the answer, so that the
work grows with the answer and not with the picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pyvips

from imaging_requests.imaging.files.decode import FAIL_ON, ICC_NAME
from imaging_requests.imaging.iiif.asked import FULL_TURN_DEG, Asked
from imaging_requests.imaging.iiif.pyramid import Level, Pyramid, read_cut_tile, read_tile

QUARTER_TURNS = {90.0: "d90", 180.0: "d180", 270.0: "d270"}
BITONAL_LEVEL = 128
GROUND = 255


@dataclass(frozen=True, slots=True)
class GridTile:
    """A place on the grid of one level."""

    level: int
    column: int
    row: int


def default_quality(pyramid: Pyramid) -> str:
    """Return what ``default`` means for this picture."""
    return "gray" if pyramid.is_grey else "color"


def grid_tile(pyramid: Pyramid, asked: Asked) -> GridTile | None:
    """Return the tile that is exactly what was asked for, or None if pixels must be computed.

    It must be a whole tile of a level, upright, in the picture's own quality, as JPEG.
    """
    if asked.format != "jpg" or not asked.is_upright:
        return None
    if asked.quality not in ("default", default_quality(pyramid)):
        return None
    first = pyramid.levels[0]
    wide, high = first.tile_width_px, first.tile_height_px
    if (asked.out_width_px, asked.out_height_px) != (wide, high):
        return None
    factor, rest = divmod(asked.width_px, wide)
    if rest or asked.height_px != high * factor or factor & (factor - 1):
        return None
    number = factor.bit_length() - 1
    if number >= len(pyramid.levels):
        return None
    column, x_rest = divmod(asked.x_px, wide * factor)
    row, y_rest = divmod(asked.y_px, high * factor)
    if x_rest or y_rest or not pyramid.levels[number].is_whole(column, row):
        return None
    return GridTile(number, column, row)


def cut_tile(pyramid: Pyramid, asked: Asked) -> tuple[int, int, int] | None:
    """Return level, column and row of a kept tile that the edge cuts, if that is what was asked.

    Its region reaches the right or the lower edge, its size is the region's over the level's
    factor, rounded up, as the description of the picture offers it.
    """
    if not pyramid.cut or asked.format != "jpg" or not asked.is_upright:
        return None
    if asked.quality not in ("default", default_quality(pyramid)):
        return None
    first = pyramid.levels[0]
    for number in range(len(pyramid.levels)):
        factor = 2**number
        size = (-(-asked.width_px // factor), -(-asked.height_px // factor))
        if size != (asked.out_width_px, asked.out_height_px):
            continue
        column, x_rest = divmod(asked.x_px, first.tile_width_px * factor)
        row, y_rest = divmod(asked.y_px, first.tile_height_px * factor)
        reach_x = min(first.tile_width_px * factor, pyramid.width_px - asked.x_px)
        reach_y = min(first.tile_height_px * factor, pyramid.height_px - asked.y_px)
        if (x_rest, y_rest) != (0, 0) or (reach_x, reach_y) != (asked.width_px, asked.height_px):
            continue
        if (number, column, row) in pyramid.cut:
            return number, column, row
    return None


def answer(path: Path, pyramid: Pyramid, asked: Asked, *, quality: int) -> bytes:
    """Return the encoded picture that was asked for.

    ``quality``: of JPEG, 0 to 100. Raises ``OSError``, ``PyramidError`` or ``pyvips.Error`` if the
    pyramid cannot be read; it can be made again from its master.
    """
    tile = grid_tile(pyramid, asked)
    if tile is not None:
        return read_tile(path, pyramid.levels[tile.level], tile.column, tile.row)
    cut = cut_tile(pyramid, asked)
    if cut is not None:
        return read_cut_tile(path, pyramid, cut)
    return encode(render(path, pyramid, asked), asked, quality=quality)


def level_for(pyramid: Pyramid, asked: Asked) -> int:
    """Return the number of the smallest level that need not be enlarged for the answer."""
    chosen = 0
    for number, level in enumerate(pyramid.levels):
        wide = asked.width_px * level.width_px / pyramid.width_px
        high = asked.height_px * level.height_px / pyramid.height_px
        if wide + 1e-6 < asked.out_width_px or high + 1e-6 < asked.out_height_px:
            break
        chosen = number
    return chosen


def render(path: Path, pyramid: Pyramid, asked: Asked) -> pyvips.Image:
    """Cut out, resize, mirror, turn and reduce to the quality asked for; still unencoded."""
    number = level_for(pyramid, asked)
    level = pyramid.levels[number]
    image = pyvips.Image.tiffload(str(path), page=number, fail_on=FAIL_ON)
    image = cut_and_fit(image, level, pyramid, asked)
    if asked.is_mirrored:
        image = image.fliphor()
    image = _in_quality(image, asked.quality)
    return _turned(image, asked)


def cut_and_fit(image: pyvips.Image, level: Level, pyramid: Pyramid, asked: Asked) -> pyvips.Image:
    """Take the region out of a level and bring it to its size.

    The region's corners may fall between two pixels of the level. So a little more is taken, and
    the surplus is cut off after the resizing: the answer is right to half a pixel of its own.
    """
    x_step = pyramid.width_px / level.width_px
    y_step = pyramid.height_px / level.height_px
    left, right = asked.x_px / x_step, (asked.x_px + asked.width_px) / x_step
    top, bottom = asked.y_px / y_step, (asked.y_px + asked.height_px) / y_step
    x_scale = asked.out_width_px / (right - left)
    y_scale = asked.out_height_px / (bottom - top)
    x_first, y_first = math.floor(left + 1e-6), math.floor(top + 1e-6)
    x_end = min(level.width_px, math.ceil(right - 1e-6))
    y_end = min(level.height_px, math.ceil(bottom - 1e-6))
    image = image.crop(x_first, y_first, max(1, x_end - x_first), max(1, y_end - y_first))
    if (image.width, image.height) == (asked.out_width_px, asked.out_height_px):
        return image
    image = image.resize(x_scale, vscale=y_scale)
    x_cut = min(round((left - x_first) * x_scale), max(0, image.width - asked.out_width_px))
    y_cut = min(round((top - y_first) * y_scale), max(0, image.height - asked.out_height_px))
    wide = min(asked.out_width_px, image.width - x_cut)
    high = min(asked.out_height_px, image.height - y_cut)
    image = image.crop(x_cut, y_cut, wide, high)
    if (wide, high) != (asked.out_width_px, asked.out_height_px):
        image = image.embed(0, 0, asked.out_width_px, asked.out_height_px, extend="copy")
    return image


def _in_quality(image: pyvips.Image, quality: str) -> pyvips.Image:
    if quality in ("gray", "bitonal") and image.bands > 1:
        image = image.colourspace("b-w")
        if image.get_typeof(ICC_NAME):
            image = image.copy()
            image.remove(ICC_NAME)
    return image > BITONAL_LEVEL if quality == "bitonal" else image


def _turned(image: pyvips.Image, asked: Asked) -> pyvips.Image:
    degrees = asked.rotation_deg % FULL_TURN_DEG
    if degrees == 0:
        return image
    if degrees in QUARTER_TURNS:
        return image.copy_memory().rot(QUARTER_TURNS[degrees])
    image = image.copy_memory()
    if asked.format == "png":
        return image.bandjoin(GROUND).rotate(degrees, background=[0] * (image.bands + 1))
    return image.rotate(degrees, background=[GROUND] * image.bands)


def encode(image: pyvips.Image, asked: Asked, *, quality: int) -> bytes:
    """Return the picture as a file of the format asked for, with its colour profile if it has one.

    ``quality``: of JPEG, 0 to 100.
    """
    data: bytes = (
        image.pngsave_buffer(compression=6, keep="icc")
        if asked.format == "png"
        else image.jpegsave_buffer(Q=quality, keep="icc")
    )
    return data
