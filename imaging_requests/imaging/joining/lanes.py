"""A few threads that share the work; what belongs to one thing always runs on the same thread.

A half-read picture of the library belongs to the thread that began to read it. So each tile has its
lane, and lanes run beside each other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Self, TypeVar

Item = TypeVar("Item")
Answer = TypeVar("Answer")


class Lanes:
    """Threads to run work on; to be used in a ``with`` block.

    >>> with Lanes(2) as lanes:
    ...     lanes.each(abs, [-1, 2, -3])
    [1, 2, 3]
    """

    def __init__(self, threads: int) -> None:
        """Open lanes; ``threads`` ≥ 1."""
        self._lanes = [ThreadPoolExecutor(1) for _ in range(max(1, threads))]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for lane in self._lanes:
            lane.shutdown(cancel_futures=True)

    def each(self, work: Callable[[Item], Answer], items: Sequence[Item]) -> list[Answer]:
        """Return what the work answers for every item, in order; the first error is raised."""
        return list(self.each_of(work, dict(enumerate(items))).values())

    def each_of(
        self, work: Callable[[Item], Answer], items: Mapping[int, Item]
    ) -> dict[int, Answer]:
        """Return the answers by key; a key always has the same lane."""
        begun = {
            key: self._lanes[key % len(self._lanes)].submit(work, item)
            for key, item in items.items()
        }
        return {key: each.result() for key, each in begun.items()}
