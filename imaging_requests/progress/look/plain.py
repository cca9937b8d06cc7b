"""The pictures as a page without scripts draws them: the same part of the face, in mm."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from imaging_requests.imaging.placing import Box, mirror_x, nearest_similarity, to_face
from imaging_requests.progress.look.places import FaceSize, Laid
from imaging_requests.progress.look.sight import Sight

#: Height of a part of a face on the page without scripts, as a share of its width.
SHAPE = 0.75
ROUND = 1.04
STEP = 0.5
CLOSER = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A scale bar in face mm."""

    x: float
    y: float
    length: float
    label: str
    thickness: float
    letters: float


def whole_of(tiles: Iterable[Laid], size: FaceSize | None, plane: str) -> Box:
    """Return the part that shows all of a face; of edges, and without a size, all pictures."""
    if size is not None and plane != "E":
        left = top = 0.0
        width, height = size
    else:
        corners = [
            to_face(tile.placement, x, y)
            for tile in tiles
            for x in (0, tile.width_px)
            for y in (0, tile.height_px)
        ]
        left, top = min(x for x, _ in corners), min(y for _, y in corners)
        width = max(x for x, _ in corners) - left
        height = max(y for _, y in corners) - top
    edge = (ROUND - 1) / 2
    return Box(
        x=left - width * edge,
        y=top - height * edge,
        width=width * ROUND,
        height=height * ROUND,
    )


def part_of(sight: Sight, whole: Box) -> Box:
    """Return the part of the face that is asked for, else the whole."""
    if sight.centre_mm is None or sight.across_mm is None:
        return whole
    width, height = sight.across_mm, sight.across_mm * SHAPE
    x, y = sight.centre_mm
    return Box(x=x - width / 2, y=y - height / 2, width=width, height=height)


def drawing(
    tiles: Iterable[Laid], part: Box, *, turned_over_mm: float | None = None
) -> dict[str, Any]:
    """Return the view box and the tiles of a picture in it.

    `turned_over_mm` is the width of the face when the picture is laid over the other side.
    """
    seen = part
    if turned_over_mm is not None:
        seen = replace(part, x=mirror_x(part.x + part.width, turned_over_mm))
    placed = []
    for tile in tiles:
        fit = nearest_similarity(
            tile.placement, Box(x=0, y=0, width=tile.width_px, height=tile.height_px)
        )
        turn = math.radians(fit.turn_deg)
        along, across = fit.scale * math.cos(turn), fit.scale * math.sin(turn)
        matrix = (along, across, -across, along, fit.x_mm, fit.y_mm)
        placed.append(
            {
                "src": tile.src,
                "width": tile.width_px,
                "height": tile.height_px,
                "transform": f"matrix({' '.join(f'{value:.6f}' for value in matrix)})",
            }
        )
    return {
        "view_box": f"{part.x:.3f} {part.y:.3f} {part.width:.3f} {part.height:.3f}",
        "mirror": f"translate({turned_over_mm:g} 0) scale(-1 1)"
        if turned_over_mm is not None
        else "",
        "tiles": placed,
        "seen": seen,
        "bar": scale_bar(part),
    }


def scale_bar(part: Box) -> Bar:
    """Return a bar of a round length, a quarter of the part at the most, at its lower left."""
    length = round_length(part.width / 4)
    return Bar(
        x=part.x + part.width * 0.02,
        y=part.y + part.height - part.width * 0.02,
        length=length,
        label=f"{length:g} mm",
        thickness=part.width * 0.004,
        letters=part.width * 0.028,
    )


def round_length(most_mm: float) -> float:
    """Return the greatest 1, 2 or 5 times a power of ten that is not longer.

    >>> round_length(230.0), round_length(0.9)
    (200.0, 0.5)
    """
    power = 10.0 ** math.floor(math.log10(most_mm))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most_mm * (1 + 1e-9))


def measured(sight: Sight) -> dict[str, Any] | None:
    """Return the line that an address measures: its ends, its middle and its length in words."""
    if sight.measure_mm is None:
        return None
    x1, y1, x2, y2 = sight.measure_mm
    return {
        "ends": f"M{x1:g} {y1:g}L{x2:g} {y2:g}",
        "x": (x1 + x2) / 2,
        "y": (y1 + y2) / 2,
        "words": f"{math.hypot(x2 - x1, y2 - y1):.1f} mm",
    }


def moves(sight: Sight, part: Box) -> list[tuple[str, str]]:
    """Return links that move the part: words and the address's query."""
    x, y = part.x + part.width / 2, part.y + part.height / 2
    step_x, step_y = part.width * STEP, part.height * STEP
    steps = [
        ("Left", x - step_x, y, part.width),
        ("Right", x + step_x, y, part.width),
        ("Up", x, y - step_y, part.width),
        ("Down", x, y + step_y, part.width),
        ("Closer", x, y, part.width / CLOSER),
        ("Further", x, y, part.width * CLOSER),
    ]
    found = [
        (words, replace(sight, centre_mm=(to_x, to_y), across_mm=across).as_query())
        for words, to_x, to_y, across in steps
    ]
    return [*found, ("Whole", replace(sight, centre_mm=None, across_mm=None).as_query())]
