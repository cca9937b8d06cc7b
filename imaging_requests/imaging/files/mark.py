"""Draw the words "TONE STRETCHED" for a corner of a picture whose tone is not the captured one."""

import numpy as np
from numpy.typing import NDArray

GLYPH_ROWS = 7
MARGIN = 3
SPACING = 1
LONG_SIDE_PER_SCALE = 340
LIGHT, DARK = 235, 20
WORDS = "TONE STRETCHED"
_GLYPHS = {
    " ": "....." * 7,
    "C": ".###.#...##....#....#....#...#.###.",
    "D": "####.#...##...##...##...##...#####.",
    "E": "######....#....####.#....#....#####",
    "H": "#...##...##...#######...##...##...#",
    "N": "#...###..##.#.##.#.##..###...##...#",
    "O": ".###.#...##...##...##...##...#.###.",
    "R": "####.#...##...#####.#.#..#..#.#...#",
    "S": ".#####....#.....###.....#....#####.",
    "T": "#####..#....#....#....#....#....#..",
}


def stretched_mark(*, width_px: int, height_px: int) -> NDArray[np.uint8]:
    """Return the mark for a picture of this size, grey 0 to 255, shape (rows, columns).

    The mark grows with the longer side, stands upright if the picture is too narrow for it, and
    is cut to the picture as a last resort, so it can always be laid over the lower left corner.

    >>> stretched_mark(width_px=256, height_px=200).shape
    (13, 89)
    """
    scale = max(1, max(width_px, height_px) // LONG_SIDE_PER_SCALE)
    mark = np.kron(_lettering(WORDS), np.ones((scale, scale), np.uint8))
    if mark.shape[1] > width_px and height_px > width_px:
        mark = np.ascontiguousarray(np.rot90(mark))
    return np.ascontiguousarray(mark[:height_px, :width_px])


def _lettering(words: str) -> NDArray[np.uint8]:
    gap = np.zeros((GLYPH_ROWS, SPACING), bool)
    columns: list[NDArray[np.bool_]] = []
    for letter in words:
        cells = np.array([cell == "#" for cell in _GLYPHS[letter]])
        columns += [cells.reshape(GLYPH_ROWS, -1), gap]
    drawn = np.pad(np.hstack(columns[:-1]), MARGIN)
    return np.where(drawn, LIGHT, DARK).astype(np.uint8)
