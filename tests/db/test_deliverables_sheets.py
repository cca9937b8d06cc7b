"""A bracket is shown as a strip, tiles in their places, and a gap as a gap."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from imaging_requests.deliverables.models import DeliverableFrame
from imaging_requests.deliverables.sheets import GAP_PX, GROUND, _chosen, draw_sheet

RED, BLUE = (200, 30, 30), (30, 30, 200)


def small(folder: Path, name: str, colour: tuple[int, int, int]) -> Path:
    path = folder / f"{name}.jpg"
    Image.new("RGB", (60, 40), colour).save(path, quality=95)
    return path


def colours(jpeg: bytes, *places: tuple[int, int]) -> list[tuple[int, ...]]:
    with Image.open(io.BytesIO(jpeg)) as picture:
        return [picture.getpixel(place) for place in places]  # type: ignore[misc]


def near(found: tuple[int, ...], wanted: tuple[int, int, int]) -> bool:
    return all(abs(a - b) < 12 for a, b in zip(found, wanted, strict=True))


def test_pictures_lie_in_their_places_and_a_missing_tile_stays_empty(tmp_path: Path) -> None:
    red, blue = small(tmp_path, "red", RED), small(tmp_path, "blue", BLUE)
    jpeg = draw_sheet({(0, 0): red, (1, 1): blue})
    with Image.open(io.BytesIO(jpeg)) as picture:
        assert picture.size == (120 + GAP_PX, 80 + GAP_PX)
    first, missing, last = colours(jpeg, (30, 20), (95, 20), (95, 65))
    assert near(first, RED)
    assert near(missing, GROUND)
    assert near(last, BLUE)


@pytest.mark.parametrize(
    ("seats", "places"),
    [
        ([(0, 0, -1), (0, 0, 0), (0, 0, 1)], [(0, 0), (1, 0), (2, 0)]),
        (
            [(0, 0, -1), (0, 0, 0), (0, 0, 1), (0, 0, 2)],
            [(0, 0), (0, 1), (1, 0), (1, 1)],
        ),
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 0), (0, 1), (1, 0)]),
        ([(0, 0, -1), (0, 0, 0), (1, 0, -1), (1, 0, 0)], [(0, 0), (1, 0)]),
    ],
)
def test_exposures_make_a_strip_and_tiles_a_grid(
    seats: list[tuple[int, int, float]], places: list[tuple[int, int]]
) -> None:
    rows = [
        DeliverableFrame(frame_id=number, tile_x=x, tile_y=y, ev=ev)
        for number, (x, y, ev) in enumerate(seats)
    ]
    chosen = _chosen(rows)
    assert sorted(chosen) == places
    if len({(x, y) for x, y, _ in seats}) > 1:
        assert {seat.ev for seat in chosen.values()} == {0}
