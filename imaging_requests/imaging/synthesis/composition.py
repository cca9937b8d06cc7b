"""Which composition belongs to which subject."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from . import marine, portraits, sacred
from .board import Board
from .brushwork import Design
from .grid import Grid
from .vocabulary import Attribute, Subject

COMPOSITIONS: dict[Subject, Callable[[Board], None]] = {
    Subject.SEASCAPE: marine.seascape,
    Subject.NIGHT_BOATS: marine.night_boats,
    Subject.WINTER_SEA: marine.winter_sea,
    Subject.STORM: marine.storm,
    Subject.HARBOUR: marine.harbour,
    Subject.HARBOUR_FIRE: marine.harbour_fire,
    Subject.REGATTA: marine.regatta,
    Subject.ISLAND: marine.island,
    Subject.ECLIPSE: marine.eclipse,
    Subject.PORTRAIT_MAN: portraits.man,
    Subject.SAINT: sacred.saint,
    Subject.TWO_SAINTS: sacred.two_saints,
    Subject.VIRGIN: sacred.virgin,
    Subject.ANNUNCIATION: sacred.annunciation,
    Subject.LAMENTATION: sacred.lamentation,
    Subject.CRUCIFIXION: sacred.crucifixion,
    Subject.KING: sacred.king,
    Subject.ALLEGORY: sacred.allegory,
    Subject.GRISAILLE: sacred.grisaille,
    Subject.PORTRAIT_CHILD: portraits.child,
    Subject.PORTRAIT_WOMAN: portraits.woman,
}


def compose_design(
    subject: Subject,
    grid: Grid,
    rng: np.random.Generator,
    *,
    attribute: Attribute | None = None,
) -> Design:
    """Design of a subject on a grid."""
    board = Board(grid, rng, attribute)
    COMPOSITIONS.get(subject, marine.seascape)(board)
    return board.design()
