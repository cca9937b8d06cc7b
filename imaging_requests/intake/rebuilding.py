"""Derived files of other rooms that `rebuild_derivatives` makes again, beside those of frames."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rebuilder:
    """`lost` returns what is missing, by primary key; `ask` asks for it in the background.

    `words` says what they are, several of them: "joined pictures". `holders` returns what needs
    the made file that lies at a path of its place; nothing if it is another room's file.
    """

    words: str
    lost: Callable[[], Sequence[int]]
    ask: Callable[[Sequence[int]], None]
    holders: Callable[[str], Sequence[int]]


_REBUILDERS: list[Rebuilder] = []


def add_rebuilder(rebuilder: Rebuilder) -> None:
    """Let an outer room have its derived files made again, too; called when it starts."""
    _REBUILDERS.append(rebuilder)


def rebuilders() -> tuple[Rebuilder, ...]:
    """Return who else has derived files."""
    return tuple(_REBUILDERS)
