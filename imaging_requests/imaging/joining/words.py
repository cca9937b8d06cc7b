"""The shared nouns of joining: refusals, turns, places in the grid, links between tiles."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

Grey = NDArray[Any]
"""Picture of one channel, float32, (rows, columns)."""
Matrix = NDArray[Any]
"""3 × 3, takes (x, y, 1); x to the right, y down, (0, 0) is the centre of the top-left pixel."""


class Trouble(StrEnum):
    """Why tiles do not become a picture; stable codes."""

    UNREADABLE = "unreadable"
    TOO_FEW = "too_few"
    TOO_SMALL = "too_small"
    CHANNELS = "channels"
    DEPTH = "depth"
    MIXED = "mixed"
    GRID = "grid"
    NOTHING_FITS = "nothing_fits"
    EXISTS = "exists"
    SAVE = "save"


@dataclass(frozen=True, slots=True)
class Unjoined:
    """No picture: the reason as a code and a sentence; ``tile`` counts from 1, 0 for none."""

    reason: Trouble
    sentence: str
    tile: int = 0
    detail: str = ""

    def as_data(self) -> dict[str, str | int]:
        """Return plain values that fit into JSON."""
        return {
            "reason": self.reason.value,
            "sentence": self.sentence,
            "tile": self.tile,
            "detail": self.detail,
        }


@dataclass(frozen=True, slots=True, order=True)
class Turn:
    """One of the eight ways a square sheet can lie: mirrored left to right first, then turned.

    >>> Turn(quarters=2).words, Turn(quarters=0, is_mirrored=True).words
    ('upside down', 'mirrored')
    """

    quarters: int = 0
    is_mirrored: bool = False

    @property
    def is_upright(self) -> bool:
        """Whether nothing has to be done to the tile."""
        return self.quarters == 0 and not self.is_mirrored

    @property
    def swaps_sides(self) -> bool:
        """Whether width and height change places."""
        return self.quarters % 2 == 1

    @property
    def words(self) -> str:
        """Say how the tile lies in the file, as a person would see it."""
        turned = ("", "turned by a quarter", "upside down", "turned by three quarters")
        parts = ["mirrored"] if self.is_mirrored else []
        parts += [turned[self.quarters]] if self.quarters else []
        return " and ".join(parts) or "upright"

    def apply(self, pixels: Grey) -> Grey:
        """Return the tile as it should lie: mirrored, then turned clockwise by the quarters."""
        lying = pixels[:, ::-1] if self.is_mirrored else pixels
        return np.ascontiguousarray(np.rot90(lying, -self.quarters))

    def matrix(self, width_px: int, height_px: int) -> Matrix:
        """Return the matrix from pixels of the file to pixels of the tile as it should lie.

        >>> Turn(quarters=1).matrix(4, 2).astype(int).tolist()
        [[0, -1, 1], [1, 0, 0], [0, 0, 1]]
        """
        made = np.eye(3)
        if self.is_mirrored:
            made = np.array([[-1.0, 0, width_px - 1], [0, 1, 0], [0, 0, 1]])
        height = height_px
        width = width_px
        for _ in range(self.quarters):
            made = np.array([[0.0, -1, height - 1], [1, 0, 0], [0, 0, 1]]) @ made
            width, height = height, width
        return made


UPRIGHT = Turn()
ALL_TURNS = tuple(Turn(quarters, mirrored) for mirrored in (False, True) for quarters in range(4))


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in the grid, counted from 0 at the top left."""

    column: int
    row: int


class Side(StrEnum):
    """Where the second tile of a link lies."""

    RIGHT = "right"
    BELOW = "below"


@dataclass(frozen=True, slots=True)
class Link:
    """How well two tiles meet on reduced pictures.

    ``z``: height of the best peak over the scatter. ``dx``, ``dy``: where the second tile's
    top-left pixel lies on the first, in reduced px. ``turn_rad``: turn of the second against the
    first, clockwise on the screen.
    """

    z: float
    dx: float
    dy: float
    turn_rad: float
