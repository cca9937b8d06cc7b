"""Which drawing belongs to which attribute."""

from __future__ import annotations

from collections.abc import Callable

from ..vocabulary import Attribute
from .attributes import book, dividers, glass, keys, lamp, letter, salt, sheet_of_map
from .board import Board, Point
from .emblems import anchor, branch, oar, tern, whale
from .forms import Light

DRAWN: dict[Attribute, Callable[[Board, Point, float, Light], None]] = {
    Attribute.LAMP: lamp,
    Attribute.GLASS: glass,
    Attribute.KEYS: keys,
    Attribute.MAP: sheet_of_map,
    Attribute.SALT: salt,
    Attribute.DIVIDERS: dividers,
    Attribute.TERN: tern,
    Attribute.BOOK: book,
    Attribute.OAR: oar,
    Attribute.ANCHOR: anchor,
    Attribute.WHALE: whale,
    Attribute.BRANCH: branch,
    Attribute.LETTER: letter,
}


# Held things that stand behind the figure and are drawn before it.
BEHIND = frozenset({Attribute.OAR})
