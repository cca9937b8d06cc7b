"""Tell outer rooms that rules were published, without importing them.

Which objects a new trigger table concerns is known where treatments are. A room registers one
function when it starts; it is called inside the transaction that publishes.
"""

from __future__ import annotations

from collections.abc import Callable

Told = Callable[[], None]
_told: dict[str, list[Told]] = {}


def tell_published(kind: str, told: Told) -> None:
    """Have a function called when rules of a kind are published."""
    _told.setdefault(kind, []).append(told)


def published(kind: str) -> None:
    """Call everybody who wants to know of rules of this kind."""
    for told in _told.get(kind, ()):
        told()
