"""Look a second time: frames that found their places show what others may be. Pure.

Three things help where the order of time left a doubt: the same tiles in another light, a face put
together from tiles that lie for certain, and the likeness of a frame without a usable clock to a
doubtful one of the same tile, whose time it then borrows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

import cv2
import numpy as np

from imaging_requests.imaging.likeness.pattern import LONGER_PX, Grey, tile_region
from imaging_requests.intake.capture import Instant
from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.layout import Spot, Tile
from imaging_requests.intake.likes import NOT_COMPARED, VISIBLE, Said, tiles_of
from imaging_requests.intake.segments import Mark
from imaging_requests.intake.sheets import LineSheet, SessionSheet
from imaging_requests.intake.table import Table, lay_as_said, patterns_of

HOUR_S = 3600.0
A_MOMENT = timedelta(milliseconds=1)
CANVAS_PX = 2 * LONGER_PX


def look_again(
    session: SessionSheet, frames: Sequence[Timed], marks: Sequence[Mark], table: Table
) -> None:
    """Lay out once more if frames that found their tile show what doubtful ones may be.

    A row of tiles without a reference is told by the same tiles in another light.
    """
    mine = {each.frame_id: each for each in frames}
    found = {pk: table.findings[pk] for pk in mine if pk in table.findings}
    doubtful = {spot.line_id for finding in found.values() for spot in finding.options}
    shown: dict[Tile, list[Grey]] = defaultdict(list)
    for pk, finding in found.items():
        pattern = mine[pk].sheet.pattern
        if finding.spot is None or pattern is None or table.said.get(pk, Said()).turn:
            continue
        lies_on = table.lines[finding.spot.line_id]
        for line_id in doubtful - {lies_on.line_id}:
            if _shows_same_tiles(lies_on, table.lines[line_id]):
                shown[line_id, finding.spot.tile_y, finding.spot.tile_x].append(pattern)
    if not shown:
        return
    says = table.pictures.siblings(patterns_of(frames), shown, levels=table.limits.picture.other)
    for pk, by_tile in says.items():
        known = table.said.get(pk, Said())
        table.said[pk] = replace(known, by_tile={**by_tile, **known.by_tile})
    lay_as_said(session, frames, marks, table)


def _shows_same_tiles(one: LineSheet, other: LineSheet) -> bool:
    same = (one.object_id, one.face, one.grid.across, one.grid.down)
    is_same = same == (other.object_id, other.face, other.grid.across, other.grid.down)
    kept_apart = one.is_detail or other.is_detail
    return is_same and not kept_apart and not {one.technique, other.technique} & {*NOT_COMPARED}


def put_together(frames: Sequence[Timed], table: Table) -> set[tuple[int, str]]:
    """Make references from lines in visible light whose tiles all lie; return their faces."""
    patterns = patterns_of(frames)
    lying: dict[Tile, Grey] = {}
    for pk, finding in table.findings.items():
        spot = finding.spot
        if spot is not None and pk in patterns and not table.said.get(pk, Said()).turn:
            lying[spot.line_id, spot.tile_y, spot.tile_x] = patterns[pk]
    for each in table.lying:
        if each.pattern is not None:
            lying[each.spot.line_id, each.spot.tile_y, each.spot.tile_x] = each.pattern
    made: dict[tuple[int, str], Grey] = {}
    for line in table.lines.values():
        face = (line.object_id, line.face)
        if face in table.references or line.technique not in VISIBLE or line.is_detail:
            continue
        tiles = tiles_of(line)
        if all(tile in lying for tile in tiles):
            made[face] = _mosaic(line, {tile: lying[tile] for tile in tiles}, table)
    table.references = {**table.references, **made}
    table.pictures.references = table.references
    return set(made)


def _mosaic(line: LineSheet, tiles: Mapping[Tile, Grey], table: Table) -> Grey:
    """Lay the patterns of tiles side by side, later ones over the seams of earlier ones."""
    across, down = line.grid.across, line.grid.down
    rows, columns = next(iter(tiles.values())).shape
    first = tile_region(0, 0, across, down, table.limits.picture.overlap)
    shape = rows / (first.bottom - first.top), columns / (first.right - first.left)
    factor = CANVAS_PX / max(shape)
    high, wide = (max(1, round(length * factor)) for length in shape)
    canvas = np.zeros((high, wide), np.uint8)
    for (_, y, x), pattern in tiles.items():
        region = tile_region(x, y, across, down, table.limits.picture.overlap)
        top, bottom = round(region.top * high), round(region.bottom * high)
        left, right = round(region.left * wide), round(region.right * wide)
        size = (right - left, bottom - top)
        canvas[top:bottom, left:right] = cv2.resize(pattern, size, interpolation=cv2.INTER_AREA)
    return canvas


def is_doubtful_about(frames: Sequence[Timed], faces: set[tuple[int, str]], table: Table) -> bool:
    """Tell whether any frame could lie on several places of lines that show these faces."""
    lines = {
        spot.line_id
        for each in frames
        if (finding := table.findings.get(each.frame_id)) is not None
        for spot in finding.options
    }
    return any((table.lines[pk].object_id, table.lines[pk].face) in faces for pk in lines)


def borrow_times(
    clockless: Sequence[Timed],
    by_session: Mapping[int, list[Timed]],
    marks: Mapping[int, Sequence[Mark]],
    table: Table,
) -> list[Timed]:
    """Let frames without a usable clock take the time of a doubtful frame of the same tile.

    It is kept only if the frame and all that were in doubt with it then lie for certain. Returns
    those that found their place so; they are now frames of their session.
    """
    helped: list[Timed] = []
    for session in table.sessions:
        own = by_session.get(session.session_id, [])
        doubtful = [
            each
            for each in own
            if (finding := table.findings.get(each.frame_id)) is not None and finding.options
        ]
        rest = [each for each in clockless if each not in helped]
        for timed, partner in _pairs(rest, doubtful, table):
            lent = _lend(timed, partner)
            if _is_settled(session, own, lent, marks.get(session.session_id, ()), table):
                own.append(lent)
                table.borrowed.add(lent.frame_id)
                helped.append(timed)
    return helped


def _pairs(
    clockless: Sequence[Timed], doubtful: Sequence[Timed], table: Table
) -> list[tuple[Timed, Timed]]:
    """Pair frames with the doubtful frame that they surely resemble, unless others rival it."""
    patterns = patterns_of(clockless)
    shown = {
        (0, 0, each.frame_id): [pattern]
        for each in doubtful
        if (pattern := each.sheet.pattern) is not None
    }
    needed = table.limits.picture
    pairs = []
    for pk, likes in table.pictures.siblings(patterns, shown).items():
        ranked = sorted(likes, key=lambda key: -likes[key])
        if not ranked or likes[ranked[0]] < needed.least:
            continue
        best = ranked[0][2]
        rivals = [key[2] for key in ranked if likes[key] > likes[ranked[0]] - needed.lead]
        tiles = _tiles_in_play(best, table)
        if all(_tiles_in_play(rival, table) & tiles for rival in rivals):
            timed = next(each for each in clockless if each.frame_id == pk)
            partner = next(each for each in doubtful if each.frame_id == best)
            if not _is_whole_hours_off(timed, partner, table):
                pairs.append((timed, partner))
    return pairs


def _tiles_in_play(frame_id: int, table: Table) -> set[Tile]:
    options: Sequence[Spot] = table.findings[frame_id].options
    return {(spot.line_id, spot.tile_y, spot.tile_x) for spot in options}


def _is_whole_hours_off(timed: Timed, partner: Timed, table: Table) -> bool:
    """A clock that is off by whole hours is a question for a person."""
    if timed.at is None or partner.at is None:
        return False
    late_s = (partner.at - timed.at).total_seconds()
    hours = round(late_s / HOUR_S)
    slack_s = table.limits.clock.hour_slack_min * 60
    most = table.limits.clock.most_hours
    return 0 < abs(hours) <= most and abs(late_s - hours * HOUR_S) <= slack_s


def _lend(timed: Timed, partner: Timed) -> Timed:
    assert partner.at is not None
    return replace(timed, instant=Instant(partner.at + A_MOMENT))


def _is_settled(
    session: SessionSheet,
    own: Sequence[Timed],
    lent: Timed,
    marks: Sequence[Mark],
    table: Table,
) -> bool:
    """Lay out with one frame more; keep it only if nothing is then in doubt that was not before."""
    before = dict(table.findings)
    lay_as_said(session, [*own, lent], marks, table)
    was = {pk for pk, finding in before.items() if finding.spot is not None}
    now = {pk for pk, finding in table.findings.items() if finding.spot is not None}
    if lent.frame_id in now and was <= now and len(now) > len(was) + 1:
        return True
    table.findings = before
    return False
