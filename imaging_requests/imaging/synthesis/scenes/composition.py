"""Which composition belongs to which subject."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

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

TURNABLE = frozenset(
    {
        Subject.NIGHT_BOATS,
        Subject.WINTER_SEA,
        Subject.STORM,
        Subject.HARBOUR,
        Subject.HARBOUR_FIRE,
        Subject.REGATTA,
        Subject.ISLAND,
        Subject.ORCHARD,
        Subject.GORGE,
        Subject.BEACH,
        Subject.CROWD,
        Subject.WEDDING,
        Subject.BIRDS,
    }
)


def compose_design(
    subject: Subject,
    grid: Grid,
    rng: np.random.Generator,
    *,
    attribute: Attribute | None = None,
) -> Design:
    """Design of a subject on a grid; half of the landscapes are turned as in a mirror."""
    board = Board(grid, rng, attribute)
    is_turned = subject in TURNABLE and rng.random() < 0.5
    COMPOSITIONS[subject](board)
    design = board.design()
    return _mirrored(design) if is_turned else design


def _mirrored(design: Design) -> Design:
    """The same design with left and right exchanged."""
    last = design.tone.shape[1] - 1
    accents = tuple(
        replace(accent, path=accent.path * (-1, 1) + (last, 0)) for accent in design.accents
    )
    return Design(
        tone=np.ascontiguousarray(design.tone[:, ::-1]),
        angle=np.ascontiguousarray(np.pi - design.angle[:, ::-1]).astype(np.float32),
        detail=np.ascontiguousarray(design.detail[:, ::-1]),
        gloss=np.ascontiguousarray(design.gloss[:, ::-1]),
        accents=accents,
        order=None if design.order is None else np.ascontiguousarray(design.order[:, ::-1]),
    )
