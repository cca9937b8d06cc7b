"""Join tiles to one picture: the whole way from files to a file and a report."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pyvips

from imaging_requests.imaging.files.decode import FAIL_ON, ICC_NAME
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.joining.canvas import Canvas, lay_out
from imaging_requests.imaging.joining.judge import judge
from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.levels import Levels, even_levels
from imaging_requests.imaging.joining.paint_plane import XrayGeometry, magnification
from imaging_requests.imaging.joining.register import Registration, register
from imaging_requests.imaging.joining.report import JoinReport
from imaging_requests.imaging.joining.resample import BrokenTileError, LaidReader
from imaging_requests.imaging.joining.row_sources import RowSource, decoded_rows
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.structure_map import Box
from imaging_requests.imaging.joining.tiles import Tile, damaged, open_tiles
from imaging_requests.imaging.joining.words import (
    Matrix,
    Place,
    Side,
    Trouble,
    Turn,
    Unjoined,
)
from imaging_requests.imaging.joining.writing import Output, Shape, bands_of, save_new

FLAT_TILE_PX = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinRequest:
    """What to join. ``grid``: columns, rows. ``given``: tile index by place, as planned.

    ``fixed``: places and turns that a person decided. ``px_per_mm``: density on the object, for
    residuals in mm and the file's resolution. ``xray``: distances, puts the paint plane right.
    ``is_xray``: what lies off the paint plane cannot fit and does not count against the join.
    ``is_synced``: the files have reached the disk when the answer comes; without, their writer has
    still to see to that.
    """

    grid: tuple[int, int] | None = None
    given: Mapping[Place, int] | None = None
    fixed: Mapping[Place, tuple[int, Turn]] | None = None
    px_per_mm: float | None = None
    xray: XrayGeometry | None = None
    is_xray: bool = False
    inverted: Path | None = None
    is_synced: bool = True


def join_tiles(
    paths: Sequence[Path],
    target: Path,
    request: JoinRequest,
    *,
    settings: JoinSettings,
    limits: Limits,
) -> JoinReport | Unjoined:
    """Join tiles and write the picture; masters are only read.

    Returns the report, or a value with the reason if no picture can be made. A picture whose order
    or fit is not beyond doubt is written with the verdict "uncertain" and says why.
    """
    for wanted in (target, request.inverted):
        if wanted is not None and wanted.exists():
            return Unjoined(
                Trouble.EXISTS,
                f"{wanted.name} exists already and is never written over. Choose another name.",
            )
    if len(paths) < 2:
        return Unjoined(
            Trouble.TOO_FEW, "Joining needs two tiles or more. Name all tiles of the picture."
        )
    planned = _planned(len(paths), request)
    if isinstance(planned, Unjoined):
        return planned
    try:
        with (
            tempfile.TemporaryDirectory(dir=target.parent, prefix=".join-") as scratch,
            Lanes(limits.threads) as lanes,
        ):
            return _joined(paths, target, request, planned, settings, limits, Path(scratch), lanes)
    except OSError as error:
        return Unjoined(
            Trouble.SAVE,
            f"{target.name} could not be written; the tiles are untouched. Make sure that the "
            "folder exists and may be changed, then join again.",
            detail=str(error)[:2000],
        )


def _joined(
    paths: Sequence[Path],
    target: Path,
    request: JoinRequest,
    planned: Mapping[Place, int] | None,
    settings: JoinSettings,
    limits: Limits,
    scratch: Path,
    lanes: Lanes,
) -> JoinReport | Unjoined:
    tiles = open_tiles(paths, limits=limits, scratch=scratch)
    if isinstance(tiles, Unjoined):
        return tiles
    found = register(
        tiles,
        settings=settings,
        grid=request.grid,
        planned=planned,
        fixed=request.fixed,
        lanes=lanes,
    )
    if isinstance(found, Unjoined):
        return found
    scale = 1.0
    if request.xray is not None:
        scale = 1 / magnification(sdd_mm=request.xray.sdd_mm, odd_mm=request.xray.odd_mm)
    levels = even_levels(
        found.reduced,
        {index: _reduced_box(found.boxes[index], found.factor) for index in found.sizes},
        {index: _reduced_matrix(m, found.factor) for index, m in found.matrices.items()},
        found.order.meetings,
    )
    overlaps = overlap_widths(found)
    canvas = lay_out(
        found.matrices,
        found.sizes,
        found.boxes,
        scale=scale,
        feather_px=settings.feather_px,
        least_overlap_px=scale * min(overlaps.values(), default=settings.feather_px),
    )
    report = judge(tiles, found, levels, canvas, overlaps, request, planned, scale, settings)
    failure = _write(tiles, found, levels, canvas, target, request, report, scratch, lanes)
    if failure is not None:
        return failure
    inverted = "" if request.inverted is None else request.inverted.name
    return replace(report, output=target.name, inverted=inverted)


def _planned(count: int, request: JoinRequest) -> Mapping[Place, int] | Unjoined | None:
    if request.grid is None:
        return request.given
    columns, rows = request.grid
    if count > columns * rows:
        return Unjoined(
            Trouble.GRID,
            f"{count} tiles do not fit a grid of {columns} × {rows}. Correct the grid or leave the "
            "spare tiles away.",
        )
    if request.given is not None or count < columns * rows:
        return request.given
    return {Place(n % columns, n // columns): n for n in range(count)}


def _reduced_box(box: Box, factor: int) -> Box:
    return Box(
        -(-box.left // factor),
        -(-box.top // factor),
        (box.right + 1) // factor - 1,
        (box.bottom + 1) // factor - 1,
    )


def _reduced_matrix(matrix: Matrix, factor: int) -> Matrix:
    """Return the same between reduced px: x = factor·u + (factor − 1) / 2."""
    half = (factor - 1) / 2
    grow = np.array([[factor, 0, half], [0, factor, half], [0, 0, 1.0]])
    reduced: Matrix = np.linalg.inv(grow) @ matrix @ grow
    return reduced


def overlap_widths(found: Registration) -> dict[tuple[int, int], float]:
    """Return the width of every overlap across its seam, in px of the common plane."""
    widths = {}
    for meet in found.meets:
        a, b = meet.meeting.first, meet.meeting.second
        step = np.linalg.inv(found.matrices[a]) @ found.matrices[b]
        box, other = found.boxes[a], found.boxes[b]
        if meet.meeting.side is Side.RIGHT:
            widths[a, b] = (
                box.right + 1 - (step @ (other.left, (other.top + other.bottom) / 2, 1))[0]
            )
        else:
            widths[a, b] = (
                box.bottom + 1 - (step @ ((other.left + other.right) / 2, other.top, 1))[1]
            )
    return {pair: float(width) for pair, width in widths.items() if width > 0}


def _write(
    tiles: Sequence[Tile],
    found: Registration,
    levels: Levels,
    canvas: Canvas,
    target: Path,
    request: JoinRequest,
    report: JoinReport,
    scratch: Path,
    lanes: Lanes,
) -> Unjoined | None:
    first = tiles[canvas.laid[0].index]
    shape = Shape(
        width_px=canvas.width_px,
        height_px=canvas.height_px,
        channels=first.bands,
        bits=first.depth_bits,
    )
    note = " ".join((*report.reasons, *report.notes)) or "Joined."
    outputs = [Output(target=target, note=note)]
    if request.inverted is not None:
        words = f"Inverted: max − x. {note}"
        outputs.append(Output(target=request.inverted, note=words, is_inverted=True))
    readers = {
        number: LaidReader(
            laid,
            partial(_upright, tiles[laid.index], found.turns[laid.index], scratch),
            gain=levels.gains[laid.index],
            offset=levels.offsets[laid.index] * first.top_level,
        )
        for number, laid in enumerate(canvas.laid)
    }
    try:
        return save_new(
            bands_of(canvas, readers, shape=shape, lanes=lanes),
            outputs,
            shape=shape,
            profile=_profile(first),
            px_per_mm=request.px_per_mm,
            is_synced=request.is_synced,
        )
    except BrokenTileError as broken:
        return damaged(tiles[broken.index], broken.error)
    except pyvips.Error as error:
        return damaged(first, error)


def _profile(tile: Tile) -> bytes | None:
    image = tile.open()
    return bytes(image.get(ICC_NAME)) if image.get_typeof(ICC_NAME) else None


def _upright(tile: Tile, turn: Turn, scratch: Path) -> RowSource:
    """Return the tile as it should lie; one that is turned goes through a scratch file."""
    if turn.is_upright:
        return tile.rows()
    image = tile.open()
    flat = scratch / f"tile-{tile.number}.tif"
    image.tiffsave(
        str(flat), tile=True, tile_width=FLAT_TILE_PX, tile_height=FLAT_TILE_PX, bigtiff=True
    )
    lying = pyvips.Image.tiffload(str(flat), fail_on=FAIL_ON)
    if turn.is_mirrored:
        lying = lying.fliphor()
    turns = (lambda i: i, lambda i: i.rot90(), lambda i: i.rot180(), lambda i: i.rot270())
    return decoded_rows(turns[turn.quarters](lying))
