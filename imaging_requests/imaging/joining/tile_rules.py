"""What the studio's rules say of tiles where they show the same, and of the picture joined of them.

V10 (sharpness) and V11 (exposure) hold the tiles of a picture in visible light against each other
as they came. I5 and X4 look at what is left at the seams after exposure was evened, X6 at the
inverted twin of an X-ray. Each finding belongs to one tile, with the place in that tile.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.decode import FAIL_ON, ICC_NAME
from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.joining.row_sources import PlainRows
from imaging_requests.imaging.joining.tiles import BAND_ROWS, Tile
from imaging_requests.imaging.joining.words import Matrix, Turn
from imaging_requests.imaging.measure.encoding import Encoding, read_encoding
from imaging_requests.imaging.measure.evenness import (
    LEAST_ROWS,
    exposure_step,
    sharpness_of_parts,
)
from imaging_requests.imaging.measure.finding import Finding, Place, Rules

SHARPNESS, EXPOSURE, INVERTED = "V10", "V11", "X6"
SEAM_RULES = {"IR": "I5", "XR": "X4"}
RULES = {
    "VF": (SHARPNESS, EXPOSURE),
    "VC": (SHARPNESS, EXPOSURE),
    "IR": ("I5",),
    "XR": ("X4", "X6"),
}
PLACES, MOST_PX, RIM_PX, LEAST_PX = 5, 256, 4, 8
MOST_SAMPLES = 1_000_000

Report = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class TileFinding:
    """A finding and the tile it is said of; tiles count from 1 as in the report."""

    tile: int
    finding: Finding

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        return {"tile": self.tile, "finding": self.finding.as_data()}


@dataclass(frozen=True, slots=True)
class _Overlap:
    """What two tiles show of the same: parts as stored, light as the tiles should lie."""

    first: int
    second: int
    width_px: float
    boxes: Mapping[int, Place]
    ones: Sequence[NDArray[Any]]
    others: Sequence[NDArray[Any]]


def check_joined(
    tiles: Sequence[Tile],
    report: Report,
    *,
    technique: str,
    rules: Rules,
    target: Path,
    inverted: Path | None,
) -> list[TileFinding]:
    """Apply the rules that need more than one tile.

    Args:
        tiles: The tiles in the order of the report.
        report: ``JoinReport.as_data()`` of these tiles.
        technique: Code of the technique; one without such rules gives no findings.
        target, inverted: The joined picture and its inverted twin, if one was made.

    Returns:
        Findings of the rules of ``RULES``; never raises because of the files.
    """
    try:
        if technique in SEAM_RULES:
            found = [_seam(tiles, report, rules, SEAM_RULES[technique], _range_of(target))]
            if technique == "XR":
                found.append(TileFinding(1, check_inverted(target, inverted, rules)))
            return found
        if technique in RULES:
            overlaps = _overlaps(tiles, report)
            return [*_sharpness(overlaps, report, rules), *_exposure(overlaps, rules)]
    except pyvips.Error as error:
        return unknown(technique, f"The tiles could not be read again. {error.message}", rules)
    return []


def unknown(technique: str, because: str, rules: Rules) -> list[TileFinding]:
    """Say of every rule of a technique that it cannot tell, and why."""
    return [TileFinding(1, rules.unknown(rule, because)) for rule in RULES.get(technique, ())]


def check_inverted(target: Path, inverted: Path | None, rules: Rules) -> Finding:
    """X6: original + inverted is the full scale in every pixel, read back from both files."""
    if inverted is None:
        return rules.unknown(INVERTED, "No inverted picture was made of these tiles.")
    one, other = (_opened(path) for path in (target, inverted))
    alike = [(each.width, each.height, each.bands, each.format) for each in (one, other)]
    if alike[0] != alike[1]:
        share = 0.0
    else:
        full = 255 if one.format == "uchar" else 65_535
        share = float((one.cast("uint") + other.cast("uint") == full).avg()) / 255
    return rules.found(
        INVERTED,
        100 * share,
        good="Original and inverted picture make the full scale in every pixel.",
        bad=f"Original and inverted picture make the full scale in {100 * share:.4f} % of the "
        "pixels only, so the inverted one is not to be trusted. Have the tiles joined again, and "
        "tell the system keeper if it happens twice.",
    )


def _sharpness(overlaps: Sequence[_Overlap], report: Report, rules: Rules) -> list[TileFinding]:
    softer: dict[int, tuple[float, _Overlap]] = {}
    for overlap in overlaps:
        ratio = sharpness_of_parts(overlap.ones, overlap.others)
        if ratio is None:
            continue
        tile = overlap.second if ratio <= 1 else overlap.first
        share = min(ratio, 1 / ratio) if ratio > 0 else 0.0
        if tile not in softer or share < softer[tile][0]:
            softer[tile] = (share, overlap)
    if not softer:
        widest = max((overlap.width_px for overlap in overlaps), default=0.0)
        because = (
            f"The tiles overlap by {widest:.0f} px at the most; {LEAST_ROWS + 2 * RIM_PX} are "
            "needed to compare their sharpness. Compare them by eye at 100 %."
            if widest < LEAST_ROWS + 2 * RIM_PX
            else "Where the tiles overlap they show no fine detail, or no profile says what their "
            "levels mean, so their sharpness cannot be compared. Compare them by eye at 100 %."
        )
        return [TileFinding(1, rules.unknown(SHARPNESS, because))]
    count = len(report["tiles"])
    found = []
    for tile, (share, overlap) in sorted(softer.items()):
        other = overlap.first if tile == overlap.second else overlap.second
        finding = rules.found(
            SHARPNESS,
            share,
            good=f"Tile {tile} is as sharp as its neighbours (at least {100 * share:.0f} %).",
            bad=f"Tile {tile} of {count} is softer than tile {other} ({100 * share:.0f} %). Focus "
            "it anew, stop down, or add a focus slice, and shoot it again.",
            place=overlap.boxes[tile],
        )
        found.append(TileFinding(tile, finding))
    return _worst_or_faults(found)


def _exposure(overlaps: Sequence[_Overlap], rules: Rules) -> list[TileFinding]:
    steps: list[tuple[float, _Overlap]] = []
    of_tile: dict[int, list[float]] = defaultdict(list)
    for overlap in overlaps:
        values = [
            step
            for one, other in zip(overlap.ones, overlap.others, strict=True)
            if (step := exposure_step(one, other)) is not None
        ]
        if values:
            step = float(np.median(values))
            steps.append((step, overlap))
            of_tile[overlap.first].append(abs(step))
            of_tile[overlap.second].append(abs(step))
    if not steps:
        because = (
            "Where the tiles overlap they are clipped or black, or no profile says what their "
            "levels mean, so their exposure cannot be compared."
        )
        return [TileFinding(1, rules.unknown(EXPOSURE, because))]
    found = []
    for step, overlap in steps:
        # the tile that also differs from its other neighbours is the odd one
        first, second = overlap.first, overlap.second
        is_first = np.mean(of_tile[first]) > np.mean(of_tile[second]) + 1e-9
        tile, other, value = (first, second, -step) if is_first else (second, first, step)
        finding = rules.found(
            EXPOSURE,
            value,
            good=f"Tile {tile} is exposed like tile {other} ({value:+.2f} EV).",
            bad=f"Tile {tile} is {abs(value):.2f} EV {'lighter' if value > 0 else 'darker'} than "
            f"tile {other} where both show the same: lamps or exposure changed in between. Shoot "
            "all tiles again with the same lamps and exposure.",
            place=overlap.boxes[tile],
        )
        found.append(TileFinding(tile, finding))
    return _worst_or_faults(found)


def _worst_or_faults(found: Sequence[TileFinding]) -> list[TileFinding]:
    """The worst finding of each faulty tile; if none is faulty, the worst of all."""

    def badness(each: TileFinding) -> float:
        value = each.finding.value
        assert value is not None
        return 1 - value if each.finding.rule_id == SHARPNESS else abs(value)

    worst: dict[int, TileFinding] = {}
    for each in sorted(found, key=badness):
        worst[each.tile] = each
    faulty = [each for each in worst.values() if each.finding.outcome is not Outcome.PASS]
    return sorted(faulty, key=lambda each: each.tile) or [max(found, key=badness)]


def _seam(
    tiles: Sequence[Tile], report: Report, rules: Rules, rule: str, span: float
) -> TileFinding:
    """I5 or X4: the largest step left at a seam, as a share of the picture's own range."""
    seams = [seam for seam in report["seams"] if seam["overlap_px"] > 0]
    if not seams or span <= 0:
        because = "The tiles do not overlap, or show one level only; no step can be measured."
        return TileFinding(1, rules.unknown(rule, because))
    worst = max(seams, key=lambda seam: abs(seam["step_percent"]))
    percent = worst["step_percent"] / span
    first, second = worst["first"], worst["second"]
    boxes = _overlap_boxes(tiles, report, first, second)
    finding = rules.found(
        rule,
        percent,
        good=f"The largest step at a seam is {abs(percent):.2f} % of the picture's range.",
        bad=f"Between tiles {first} and {second} a step of {abs(percent):.1f} % of the picture's "
        "range is left although exposure was evened: the flat field was not taken off, or the "
        "tiles were exported differently. Correct that and export the tiles again.",
        place=None if boxes is None else boxes[second],
    )
    return TileFinding(second, finding)


def _range_of(target: Path) -> float:
    """1st to 99th percentile of the joined picture's levels, as a share of the full scale."""
    image = _opened(target)
    step = max(1, int(np.ceil(np.sqrt(image.width * image.height / MOST_SAMPLES))))
    levels = np.asarray(image.subsample(step, step).numpy())
    full = 255 if levels.dtype == np.uint8 else 65_535
    shown = levels[levels > 0]
    if shown.size == 0:
        return 0.0
    low, high = np.percentile(shown, (1, 99))
    return float(high - low) / full


def _opened(path: Path) -> pyvips.Image:
    return pyvips.Image.new_from_file(str(path), access="sequential", fail_on=FAIL_ON)


def _overlap_boxes(
    tiles: Sequence[Tile], report: Report, first: int, second: int
) -> dict[int, Place] | None:
    """Where two tiles overlap, as a box in the stored px of each; None if they do not."""
    box = _on_canvas(tiles, report, first, second)
    if box is None:
        return None
    return {number: _stored(tiles, report, number, box) for number in (first, second)}


def _on_canvas(
    tiles: Sequence[Tile], report: Report, first: int, second: int
) -> tuple[float, float, float, float] | None:
    """Left, top, right, bottom of what both tiles surely show, px of the joined picture."""
    ends = []
    for number in (first, second):
        matrix = report["tiles"][number - 1]["matrix"]
        if matrix is None:
            return None
        tile = tiles[number - 1]
        at = _mapped(np.array(matrix), _corners(tile.width_px, tile.height_px))
        xs, ys = np.sort(at[:, 0]), np.sort(at[:, 1])
        ends.append((xs[1], ys[1], xs[2], ys[2]))
    (l1, t1, r1, b1), (l2, t2, r2, b2) = ends
    box = (max(l1, l2), max(t1, t2), min(r1, r2), min(b1, b2))
    return None if box[2] - box[0] < 1 or box[3] - box[1] < 1 else box


def _stored(
    tiles: Sequence[Tile], report: Report, number: int, box: tuple[float, float, float, float]
) -> Place:
    left, top, right, bottom = box
    back = np.linalg.inv(np.array(report["tiles"][number - 1]["matrix"]))
    at = _mapped(back, np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))
    tile = tiles[number - 1]
    low = np.clip(at.min(axis=0), 0, (tile.width_px - 1, tile.height_px - 1))
    high = np.clip(at.max(axis=0), 0, (tile.width_px - 1, tile.height_px - 1))
    size = high - low + 1
    return Place(*(round(float(value), 1) for value in (*low, *size)))


def _overlaps(tiles: Sequence[Tile], report: Report) -> list[_Overlap]:
    """Cut the same places out of both tiles of every overlap; each tile is read once."""
    wanted: list[tuple[int, int, float, dict[int, Place], list[dict[int, tuple[int, int]]], int]]
    wanted = []
    for seam in report["seams"]:
        first, second = seam["first"], seam["second"]
        box = _on_canvas(tiles, report, first, second)
        boxes = _overlap_boxes(tiles, report, first, second)
        if box is None or boxes is None:
            continue
        narrow = min(box[2] - box[0], box[3] - box[1])
        side = int(min(MOST_PX, narrow - 2 * RIM_PX))
        if side < LEAST_PX:
            continue
        corners = [
            {n: _corner(tiles, report, n, centre, side) for n in (first, second)}
            for centre in _centres(box, side)
        ]
        wanted.append((first, second, float(narrow), boxes, corners, side))
    parts = _cut(tiles, report, wanted)
    return [
        _Overlap(
            first,
            second,
            narrow,
            boxes,
            [parts[n, first, i] for i in range(len(corners)) if _has(parts, n, first, second, i)],
            [parts[n, second, i] for i in range(len(corners)) if _has(parts, n, first, second, i)],
        )
        for n, (first, second, narrow, boxes, corners, _) in enumerate(wanted)
    ]


def _has(parts: Mapping[Any, Any], number: int, first: int, second: int, at: int) -> bool:
    return (number, first, at) in parts and (number, second, at) in parts


def _centres(box: tuple[float, float, float, float], side: int) -> list[tuple[float, float]]:
    """Middles of places along the longer way of a box, evenly spread."""
    left, top, right, bottom = box
    middle = ((left + right) / 2, (top + bottom) / 2)
    half = side / 2 + RIM_PX
    if right - left >= bottom - top:
        along = np.linspace(left + half, right - half, PLACES)
        return [(float(x), middle[1]) for x in along]
    return [(middle[0], float(y)) for y in np.linspace(top + half, bottom - half, PLACES)]


def _corner(
    tiles: Sequence[Tile], report: Report, number: int, centre: tuple[float, float], side: int
) -> tuple[int, int]:
    """Left and top of the square around a place, in whole stored px inside the tile."""
    back = np.linalg.inv(np.array(report["tiles"][number - 1]["matrix"]))
    x, y = _mapped(back, np.array([centre]))[0]
    tile = tiles[number - 1]
    return (
        int(np.clip(round(x - (side - 1) / 2), 0, max(0, tile.width_px - side))),
        int(np.clip(round(y - (side - 1) / 2), 0, max(0, tile.height_px - side))),
    )


def _cut(
    tiles: Sequence[Tile], report: Report, wanted: Iterable[Any]
) -> dict[tuple[int, int, int], NDArray[Any]]:
    """Luminance of every square, by overlap, tile and place; none of a tile without profile."""
    squares: dict[int, list[tuple[tuple[int, int, int], int, int, int]]] = defaultdict(list)
    for number, (first, second, _, _, corners, side) in enumerate(wanted):
        for at, each in enumerate(corners):
            for tile in (first, second):
                squares[tile].append(((number, tile, at), *each[tile], side))
    parts: dict[tuple[int, int, int], NDArray[Any]] = {}
    for tile, places in squares.items():
        encoding = _encoding_of(tiles[tile - 1])
        if encoding is None:
            continue
        said = report["tiles"][tile - 1]
        turn = Turn(said["quarter_turns"], said["is_mirrored"])
        for key, levels in _levels(tiles[tile - 1], places):
            share = levels.astype(np.float32) / np.float32(tiles[tile - 1].top_level)
            light = encoding.to_luminance(share if share.shape[2] > 1 else share[..., 0])
            parts[key] = turn.apply(np.asarray(light, np.float32))
    return parts


def _levels(
    tile: Tile, places: Sequence[tuple[tuple[int, int, int], int, int, int]]
) -> list[tuple[tuple[int, int, int], NDArray[Any]]]:
    """Stored levels of squares, (side, side, bands); rows are read from top to bottom once."""
    source = tile.rows()
    if isinstance(source, PlainRows):
        return [
            (key, source.fetch(top, side)[:, left : left + side]) for key, left, top, side in places
        ]
    held = [(key, left, top, side, list[NDArray[Any]]()) for key, left, top, side in places]
    last = max(top + side for _, _, top, side, _ in held)
    for start in range(0, last, BAND_ROWS):
        rows = source.fetch(start, min(BAND_ROWS, source.height_px - start))
        for _, left, top, side, kept in held:
            low, high = max(top, start), min(top + side, start + len(rows))
            if low < high:
                kept.append(rows[low - start : high - start, left : left + side].copy())
    return [(key, np.concatenate(kept)) for key, _, _, _, kept in held]


def _encoding_of(tile: Tile) -> Encoding | None:
    image = tile.open()
    if not image.get_typeof(ICC_NAME):
        return None
    encoding = read_encoding(bytes(image.get(ICC_NAME)))
    return encoding if encoding is not None and len(encoding.curves) == tile.bands else None


def _corners(width_px: int, height_px: int) -> Matrix:
    right, bottom = width_px - 1, height_px - 1
    return np.array([[0.0, 0], [right, 0], [right, bottom], [0, bottom]])


def _mapped(matrix: Matrix, points: Matrix) -> Matrix:
    at: Matrix = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return at[:, :2] / at[:, 2:]
