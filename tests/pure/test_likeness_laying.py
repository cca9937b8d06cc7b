"""Tiles laid together look like the face that they were cut from."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from imaging_requests.imaging.likeness.laying import lay_together
from imaging_requests.imaging.likeness.pattern import Grey, Region, pattern_of, tile_region
from imaging_requests.imaging.likeness.structure import Structure, structure_likeness

OVERLAP = 0.2


def painted(seed: int, rows: int = 480, columns: int = 600) -> Grey:
    coarse = np.random.default_rng(seed).uniform(20, 235, (10, 12)).astype(np.float32)
    return np.clip(cv2.resize(coarse, (columns, rows), interpolation=cv2.INTER_CUBIC), 0, 255)


def cut(face: Grey, across: int, down: int, overlap: float) -> list[tuple[Grey, Region]]:
    rows, columns = face.shape
    tiles = []
    for y in range(down):
        for x in range(across):
            part = tile_region(x, y, across, down, overlap)
            top, bottom = round(part.top * rows), round(part.bottom * rows)
            left, right = round(part.left * columns), round(part.right * columns)
            tile = np.asarray(face[top:bottom, left:right], np.uint8)
            tiles.append((pattern_of(tile), part))
    return tiles


@pytest.mark.parametrize("overlap", [0.0, OVERLAP])
@pytest.mark.parametrize(("across", "down"), [(2, 1), (1, 2), (3, 3), (7, 4)])
def test_tiles_give_the_pattern_of_their_face(across: int, down: int, overlap: float) -> None:
    face = painted(across)
    laid = lay_together(cut(face, across, down, overlap))
    true = pattern_of(np.asarray(face, np.uint8))
    assert max(laid.shape) == 96
    assert abs(laid.shape[0] - true.shape[0]) <= 2
    resized = cv2.resize(laid, true.shape[::-1]).astype(float)
    assert np.abs(resized - true).mean() < 6
    fits = structure_likeness(Structure(true), Structure(laid))
    strange = structure_likeness(
        Structure(pattern_of(painted(99).astype(np.uint8))), Structure(laid)
    )
    assert fits is not None
    assert strange is not None
    assert fits > 0.9 > 0.6 > strange


def test_a_gap_and_nothing_at_all_are_refused() -> None:
    tiles = cut(painted(1), 2, 2, OVERLAP)
    with pytest.raises(ValueError, match="shown by no tile"):
        lay_together(tiles[:3])
    with pytest.raises(ValueError, match="at least one tile"):
        lay_together([])
