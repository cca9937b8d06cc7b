"""What the documentation of a treatment asks for, as it is kept with the treatment.

An item names a technique and a face: ["UV", "F"]. It then asks for the view before the treatment,
after it, and while a surface of that face is bare. A third part says it more narrowly: a list of
"before", "after", "window" and numbers of steps after which the view is asked for as well, such
as ["IR", "F", [2]] or ["XR", "T", ["before", "window"]]. Raking light may name its direction
("RK-L"); without one it means every direction that the object's protocol asks for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from imaging_requests.people.errors import DomainError
from imaging_requests.reckoning.shots.protocol import DIRECTIONS
from imaging_requests.requesting.models import FACES, Technique

BEFORE = "before"
AFTER = "after"
WINDOW = "window"
_OCCASIONS = frozenset((BEFORE, AFTER, WINDOW))
_FACES = frozenset(code for code, _ in FACES)
_TECHNIQUES = tuple(Technique.values)


@dataclass(frozen=True, kw_only=True)
class ScopeItem:
    """One technique on one face and when it is asked for.

    `is_plain` tells the short form, whose window is the one of its own face only.
    """

    technique: str
    face: str
    direction: str | None
    occasions: frozenset[str]
    steps: frozenset[int]
    is_plain: bool

    def asks(self, occasion: str) -> bool:
        """Whether the view is asked for at this occasion."""
        return occasion in self.occasions

    def towards(self, direction: str) -> ScopeItem:
        """The same item with its light direction."""
        if self.is_plain:
            return _whenever(self.technique, self.face, direction)
        return replace(self, direction=direction)


def read_scope(items: Iterable[Any]) -> tuple[ScopeItem, ...]:
    """Read the items, refusing in words what cannot be meant."""
    return tuple(_read(item) for item in items)


def _read(item: Any) -> ScopeItem:
    if not isinstance(item, list | tuple) or len(item) not in (2, 3):
        raise _refused(item, "name a technique and a face")
    technique, _, direction = str(item[0]).partition("-")
    face = str(item[1])
    if technique not in _TECHNIQUES:
        raise _refused(item, f"take the technique from {', '.join(_TECHNIQUES)}")
    if face not in _FACES:
        raise _refused(item, f"take the face from {', '.join(sorted(_FACES))}")
    if (technique == Technique.XR) != (face == "T"):
        raise _refused(item, "ask for X-rays through the object (T), and for nothing else so")
    if direction and (technique != Technique.RK or direction not in DIRECTIONS):
        raise _refused(item, "give a direction to raking light only: L, R, T or B")
    if len(item) == 2:
        return _whenever(technique, face, direction or None)
    asked = list(item[2])
    words = {part for part in asked if isinstance(part, str)}
    steps = {part for part in asked if isinstance(part, int) and not isinstance(part, bool)}
    if not asked or words - _OCCASIONS or len(words) + len(steps) != len(asked):
        raise _refused(item, "ask for it before, after, in a window, or after numbered steps")
    return ScopeItem(
        technique=technique,
        face=face,
        direction=direction or None,
        occasions=frozenset(words),
        steps=frozenset(steps),
        is_plain=False,
    )


@cache
def _whenever(technique: str, face: str, direction: str | None) -> ScopeItem:
    """The short form; there are few of them, and every treatment has some."""
    return ScopeItem(
        technique=technique,
        face=face,
        direction=direction,
        occasions=_OCCASIONS,
        steps=frozenset(),
        is_plain=True,
    )


def _refused(item: Any, how: str) -> DomainError:
    return DomainError(
        f"The treatment's documentation holds “{item}”, which cannot be read.",
        code="requesting.bad_scope",
        next_step=f"To put it right, {how}.",
    )
