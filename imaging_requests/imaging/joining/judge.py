"""The verdict on a join: every doubt is a sentence, and one doubt is enough for "uncertain"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from imaging_requests.imaging.joining.canvas import Canvas
from imaging_requests.imaging.joining.counted import Counted, count_patches
from imaging_requests.imaging.joining.levels import Levels
from imaging_requests.imaging.joining.paint_plane import explain_parallax
from imaging_requests.imaging.joining.pieces import pieces_of_strip, shares_on
from imaging_requests.imaging.joining.register import Meet, Registration
from imaging_requests.imaging.joining.report import (
    JoinReport,
    OrderVerdict,
    ResidualPoint,
    SeamReport,
    TileReport,
    Verdict,
    order_sentences,
)
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.tiles import Tile
from imaging_requests.imaging.joining.words import UPRIGHT, Place

if TYPE_CHECKING:
    from imaging_requests.imaging.joining.join import JoinRequest

COVER_STEP_PX, COVER_PLACES = 16, 200_000


def judge(
    tiles: Sequence[Tile],
    found: Registration,
    levels: Levels,
    canvas: Canvas,
    overlaps: Mapping[tuple[int, int], float],
    request: JoinRequest,
    planned: Mapping[Place, int] | None,
    scale: float,
    settings: JoinSettings,
) -> JoinReport:
    """Gather everything that is known about a join into a report with its verdict."""
    tile_reports = _tile_reports(tiles, found, levels, canvas, planned)
    counted = count_patches(
        found,
        {index: tile.number for index, tile in enumerate(tiles)},
        settings,
        is_xray=request.is_xray or request.xray is not None,
    )
    rms = scale * counted.rms_px()
    order_words = order_sentences(tile_reports, found.order.columns)
    doubts = _doubts(tiles, found, tile_reports, rms, settings)
    if any("right to left" in words for words in order_words):
        doubts.append("The direction of counting has to be confirmed by a person.")
    holes, uncovered = _holes(found, canvas)
    notes = list(order_words)
    if holes:
        notes.append(
            f"{len(holes)} place{'s' if len(holes) > 1 else ''} of the grid "
            f"{'have' if len(holes) > 1 else 'has'} no tile and stay empty (level 0)."
        )
    if request.xray is not None and request.px_per_mm:
        width, height = next(iter(found.sizes.values()))
        plate = (width / request.px_per_mm, height / request.px_per_mm)
        notes.append(
            f"Scaled by {scale:.4f} to the paint plane: M = {request.xray.sdd_mm:g} / "
            f"({request.xray.sdd_mm:g} − {request.xray.odd_mm:g}) = {1 / scale:.4f}."
        )
        notes += [words] if (words := explain_parallax(request.xray, plate_mm=plate)) else []
    notes += counted.notes
    notes += _level_notes(levels, tile_reports, settings)
    verdict = Verdict.UNCERTAIN if doubts else Verdict.JOINED
    if request.fixed is not None or (planned is not None and not order_words):
        order = OrderVerdict.AS_GIVEN
    else:
        order = OrderVerdict.FOUND if planned is None else OrderVerdict.CORRECTED
    return JoinReport(
        verdict=verdict,
        order=OrderVerdict.UNCERTAIN if doubts else order,
        columns=found.order.columns,
        rows=found.order.rows,
        width_px=canvas.width_px,
        height_px=canvas.height_px,
        model=found.solution.model.value,
        scale=scale,
        rms_px=rms,
        rms_mm=rms / request.px_per_mm if request.px_per_mm else None,
        worst_px=scale * counted.worst_px(),
        levels_model=levels.model,
        levels_common=levels.common,
        worst_step_percent=100 * levels.worst_step(),
        tiles=tile_reports,
        seams=_seams(found, counted, levels, overlaps, scale),
        residuals=_points(found, canvas, scale),
        holes=holes,
        uncovered_percent=uncovered,
        reasons=tuple(doubts),
        notes=tuple(notes),
        settings_version=settings.version,
    )


def _tile_reports(
    tiles: Sequence[Tile],
    found: Registration,
    levels: Levels,
    canvas: Canvas,
    planned: Mapping[Place, int] | None,
) -> tuple[TileReport, ...]:
    given = {index: place for place, index in planned.items()} if planned else {}
    laid = {one.index: one for one in canvas.laid}
    reports = []
    for index, tile in enumerate(tiles):
        turn = found.turns.get(index, UPRIGHT)
        matrix = None
        if index in laid:
            whole = laid[index].matrix @ turn.matrix(tile.width_px, tile.height_px)
            matrix = [[float(value) for value in row] for row in whole]
        reports.append(
            TileReport(
                number=tile.number,
                name=tile.path.name,
                place=found.order.place_of(index) if index in laid else None,
                given=given.get(index),
                turn=turn,
                matrix=matrix,
                gain=levels.gains.get(index, 1.0),
                offset=levels.offsets.get(index, 0.0),
                evidence=found.order.evidence.get(index, 0.0),
                rival=found.order.rival.get(index, 0.0),
                why_left_out=found.left_out.get(index, ""),
            )
        )
    return tuple(reports)


def _doubts(
    tiles: Sequence[Tile],
    found: Registration,
    reports: Sequence[TileReport],
    rms: float,
    settings: JoinSettings,
) -> list[str]:
    said = [
        f"Tile {report.number} ({report.name}) was left out: it {report.why_left_out}."
        for report in reports
        if report.why_left_out
    ]
    said += [
        f"Tiles {tiles[a].number} and {tiles[b].number} show the very same: one exposure was "
        "delivered twice, and its neighbour is missing."
        for a, b in found.twins
    ]
    held = _held(found.meets, set(found.sizes))
    said += [
        f"Tile {tiles[index].number} is not held in its place by an overlap that agrees."
        for index in sorted(set(found.sizes) - held)
    ]
    for meet in found.meets:
        if meet.found >= settings.least_patches and not meet.is_proven:
            said.append(
                f"Tiles {tiles[meet.meeting.first].number} and "
                f"{tiles[meet.meeting.second].number} disagree along their overlap: "
                f"{meet.agreeing} of {meet.found} places fit."
            )
    for report in reports:
        if report.rival > settings.rival_share * max(report.evidence, 1e-9) > 0:
            said.append(f"Another tile fits nearly as well in the place of tile {report.number}.")
    if rms > settings.residual_warn_px:
        said.append(
            f"The overlaps differ by {rms:.2f} px; {settings.residual_warn_px:g} px is the limit."
        )
    return said


def _held(meets: Sequence[Meet], tiles: set[int]) -> set[int]:
    """Return the largest set of tiles connected by proven overlaps."""
    part = {index: {index} for index in tiles}
    for meet in meets:
        a, b = meet.meeting.first, meet.meeting.second
        if meet.is_proven and part[a] is not part[b]:
            part[a] |= part[b]
            for index in part[b]:
                part[index] = part[a]
    return max(part.values(), key=len, default=set())


def _level_notes(
    levels: Levels, reports: Sequence[TileReport], settings: JoinSettings
) -> list[str]:
    notes = []
    if levels.model != "none":
        notes.append(f"Exposure was evened by one {levels.model} per tile and nothing else.")
    if levels.common < 1:
        notes.append(f"All tiles were lowered to {levels.common:.3f} so that none is clipped.")
    for report in reports:
        if abs(report.gain / levels.common - 1) * 100 > settings.gain_warn_percent:
            notes.append(
                f"Tile {report.number} was exposed {report.gain / levels.common:.2f} times "
                "differently from the mean; look whether it was made with other settings."
            )
    return notes


def _holes(
    found: Registration, canvas: Canvas
) -> tuple[tuple[tuple[int, int, int, int], ...], float]:
    """Return where tiles are missing (left, top, width, height) and the share nothing covers."""
    order = found.order
    laid = {one.index: one for one in canvas.laid}
    columns: dict[int, list[tuple[int, int]]] = {}
    rows: dict[int, list[tuple[int, int]]] = {}
    for place, lying in order.places.items():
        area = laid[lying.tile].area
        columns.setdefault(place.column, []).append((area.left, area.right))
        rows.setdefault(place.row, []).append((area.top, area.bottom))
    holes = []
    for row in range(order.rows):
        for column in range(order.columns):
            if Place(column, row) in order.places or column not in columns or row not in rows:
                continue
            left, right = np.mean(columns[column], axis=0).round().astype(int)
            top, bottom = np.mean(rows[row], axis=0).round().astype(int)
            holes.append((int(left), int(top), int(right - left) + 1, int(bottom - top) + 1))
    step = max(COVER_STEP_PX, round((canvas.width_px * canvas.height_px / COVER_PLACES) ** 0.5))
    seen = empty = 0
    for top in range(0, canvas.height_px, 16 * step):
        bottom = min(top + 16 * step, canvas.height_px)
        for piece in pieces_of_strip(canvas, top, bottom):
            x, y = np.arange(piece.left, piece.right, step), np.arange(top, bottom, step)
            seen += x.size * y.size
            if not piece.tiles:
                empty += x.size * y.size
            elif not piece.is_whole:
                shares = shares_on(canvas, piece.tiles, x, y)
                empty += int((shares.sum(axis=0) == 0).sum())
    return tuple(holes), 100 * empty / max(seen, 1)


def _seams(
    found: Registration,
    counted: Counted,
    levels: Levels,
    overlaps: Mapping[tuple[int, int], float],
    scale: float,
) -> tuple[SeamReport, ...]:
    steps = {(seam.first, seam.second): seam for seam in levels.seams}
    made = []
    pairs = np.array([(one.first, one.second) for one in found.found]).reshape(-1, 2)
    for meet in found.meets:
        pair = (meet.meeting.first, meet.meeting.second)
        step = steps.get(pair)
        made.append(
            SeamReport(
                first=pair[0] + 1,
                second=pair[1] + 1,
                side=meet.meeting.side.value,
                overlap_px=scale * overlaps.get(pair, 0.0),
                patches=meet.found,
                agreeing=meet.agreeing,
                is_proven=meet.is_proven,
                rms_px=scale * counted.rms_px((pairs == pair).all(axis=1)),
                step_before_percent=100 * step.step_before if step else 0.0,
                step_percent=100 * step.step_after if step else 0.0,
            )
        )
    return tuple(made)


def _points(found: Registration, canvas: Canvas, scale: float) -> tuple[ResidualPoint, ...]:
    laid = {one.index: one for one in canvas.laid}
    points = []
    for one, rest, weight in zip(
        found.found, found.solution.residuals, found.solution.weights, strict=True
    ):
        at = laid[one.first].matrix @ (*one.first_xy, 1.0)
        points.append(
            ResidualPoint(
                x=float(at[0]),
                y=float(at[1]),
                dx=float(scale * rest[0]),
                dy=float(scale * rest[1]),
                weight=float(weight),
                first=one.first + 1,
                second=one.second + 1,
            )
        )
    return tuple(points)
