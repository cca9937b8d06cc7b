"""Which composition belongs to which subject."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from . import gatherings, land, marine, ornament, portraits, sacred, tables
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
    Subject.ORCHARD: land.orchard,
    Subject.GORGE: land.gorge,
    Subject.BEACH: land.beach,
    Subject.MARKET: gatherings.market,
    Subject.CROWD: gatherings.quay_crowd,
    Subject.WEDDING: gatherings.wedding,
    Subject.PROCESSION: gatherings.procession,
    Subject.ROPEWALK: gatherings.ropewalk,
    Subject.STILL_LIFE: tables.still_life,
    Subject.MAP_TABLE: tables.map_table,
    Subject.BANNER: ornament.banner,
    Subject.BIRDS: ornament.sea_birds,
    Subject.MARBLING: ornament.marbling,
    Subject.GILT_FRAME: ornament.gilt_frame,
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
    COMPOSITIONS[subject](board)
    return board.design()
