"""Records sorted by the object they speak of."""

from __future__ import annotations

from typing import TypeVar

T = TypeVar("T")
ByObject = dict[int, list[T]]
