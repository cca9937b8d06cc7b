"""Which composition belongs to which subject."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..brushwork import Design
from ..grid import Grid
from ..vocabulary import Attribute, Subject
from . import (
    devotion,
    gatherings,
    harbours,
    land,
    map_table,
    marine,
    ornament,
    passion,
    portraits,
    ropewalk,
    sacred,
    tables,
    thrones,
)
from .board import Board

COMPOSITIONS: dict[Subject, Callable[[Board], None]] = {
    Subject.SEASCAPE: marine.seascape,
    Subject.NIGHT_BOATS: marine.night_boats,
    Subject.WINTER_SEA: marine.winter_sea,
    Subject.STORM: marine.storm,
    Subject.HARBOUR: harbours.harbour,
    Subject.HARBOUR_FIRE: harbours.harbour_fire,
    Subject.REGATTA: harbours.regatta,
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
    Subject.ROPEWALK: ropewalk.ropewalk,
    Subject.STILL_LIFE: tables.still_life,
    Subject.MAP_TABLE: map_table.map_table,
    Subject.BANNER: ornament.banner,
    Subject.BIRDS: ornament.sea_birds,
    Subject.MARBLING: ornament.marbling,
    Subject.GILT_FRAME: ornament.gilt_frame,
    Subject.SAINT: sacred.saint,
    Subject.TWO_SAINTS: sacred.two_saints,
    Subject.VIRGIN: devotion.virgin,
    Subject.ANNUNCIATION: devotion.annunciation,
    Subject.LAMENTATION: passion.lamentation,
    Subject.CRUCIFIXION: passion.crucifixion,
    Subject.KING: thrones.king,
    Subject.ALLEGORY: thrones.allegory,
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
