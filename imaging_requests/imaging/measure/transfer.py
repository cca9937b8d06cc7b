"""Broken transfers: lines at the border, rows that repeat, blocks that repeat, clipped pixels.

Works on rows as they come, so that a picture of any size can be looked at in strips.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

LEAST_RUN_ROWS = 4
MOST_BORDER_SHARE = 0.02
PROBES = 64


@dataclass(frozen=True, slots=True)
class TransferFaults:
    """What a broken transfer left behind.

    ``constant_rows``: rows in which no level changes. ``repeated_rows``: rows that equal the row
    above. ``border``: sides with a black or white line ("top", "right", "bottom", "left").
    ``repeated_block``: first row of a block of rows that appears a second time, or None.
    """

    constant_rows: int
    repeated_rows: int
    border: tuple[str, ...]
    repeated_block: int | None

    @property
    def count(self) -> int:
        """How many faults there are."""
        return (
            self.constant_rows
            + self.repeated_rows
            + len(self.border)
            + (self.repeated_block is not None)
        )


def find_transfer_faults(
    values: NDArray[Any], *, full_scale: float | None = None
) -> TransferFaults:
    """Look for the marks of a broken transfer.

    Args:
        values: Levels, (rows, columns) or (rows, columns, channels), full resolution; not modified.
        full_scale: White; taken from the type if it is of whole numbers.

    Returns:
        What was found. A picture that is one level throughout counts all of its rows.

    >>> picture = np.random.default_rng(4).integers(0, 65535, (50, 40)).astype(np.uint16)
    >>> find_transfer_faults(picture).count
    0
    >>> picture[30:36] = picture[29]
    >>> find_transfer_faults(picture).repeated_rows
    6
    """
    watch = RowWatch(full_scale)
    watch.add(values)
    return watch.faults()


@dataclass(frozen=True, slots=True)
class RowFacts:
    """What is remembered of some rows: a number each, whether one level fills it, and both rims.

    ``end``: −1 for a black row, 1 for a white one, else 0.
    """

    hashes: NDArray[np.uint64]
    constant: NDArray[np.bool_]
    end: NDArray[np.int8]
    sides: tuple[NDArray[Any], NDArray[Any]]


class RowWatch:
    """Looks at a picture strip by strip, top to bottom, and remembers one number per row.

    ``look`` changes nothing, so strips may be looked at by several threads; ``keep`` wants them
    from top to bottom.
    """

    def __init__(self, full_scale: float | None = None) -> None:
        self._full_scale = full_scale
        self._kept: list[RowFacts] = []

    def add(self, strip: NDArray[Any]) -> None:
        """Take in the next rows, (rows, columns) or (rows, columns, channels)."""
        if strip.ndim not in (2, 3) or 0 in strip.shape:
            return
        if self._full_scale is None:
            self._full_scale = float(np.iinfo(strip.dtype).max) if strip.dtype.kind in "iu" else 1.0
        self.keep(self.look(strip, self._full_scale))

    @staticmethod
    def look(strip: NDArray[Any], full_scale: float) -> RowFacts:
        """Find out about some rows."""
        rows = strip.reshape(strip.shape[0], -1)
        constant = _constant(rows)
        edge = strip.shape[2] if strip.ndim == 3 else 1
        return RowFacts(
            hashes=_row_hashes(rows),
            constant=constant,
            end=np.where(constant, _ends(rows[:, 0], full_scale), 0).astype(np.int8),
            sides=(rows[:, :edge].copy(), rows[:, -edge:].copy()),
        )

    def keep(self, facts: RowFacts) -> None:
        """Take in the facts of the next rows."""
        self._kept.append(facts)

    def faults(self) -> TransferFaults:
        """Return what was found so far."""
        if not self._kept:
            return TransferFaults(0, 0, (), None)
        hashes = np.concatenate([each.hashes for each in self._kept])
        constant = np.concatenate([each.constant for each in self._kept])
        end = np.concatenate([each.end for each in self._kept])
        border = self._borders(end)
        inner = constant.copy()
        depth = max(1, round(MOST_BORDER_SHARE * len(inner)))
        if "top" in border:
            inner[:depth][end[:depth] != 0] = False
        if "bottom" in border:
            inner[-depth:][end[-depth:] != 0] = False
        same = np.zeros(len(hashes), bool)
        same[1:] = (hashes[1:] == hashes[:-1]) & ~constant[1:]
        return TransferFaults(
            constant_rows=int(inner.sum()),
            repeated_rows=int(same.sum()),
            border=border,
            repeated_block=_repeated_block(hashes, constant | same),
        )

    def _borders(self, end: NDArray[np.int8]) -> tuple[str, ...]:
        found = []
        if end[0] != 0 and not (end == end[0]).all():
            found.append("top")
        if end[-1] != 0 and not (end == end[-1]).all():
            found.append("bottom")
        assert self._full_scale is not None
        for name, index in (("left", 0), ("right", 1)):
            column = np.concatenate([each.sides[index] for each in self._kept])
            is_end = (column == 0).all() or (column >= self._full_scale).all()
            if is_end and not (end != 0).all():
                found.append(name)
        return tuple(found)


def clipped_share(
    values: NDArray[Any],
    *,
    low: float,
    high: float,
    inside: NDArray[np.bool_] | None = None,
) -> float | None:
    """Share of pixels, 0 to 1, with any channel at or beyond either limit.

    Args:
        values: Levels, (rows, columns) or (rows, columns, channels); not modified.
        low, high: Limits in the same unit.
        inside: Where to look, (rows, columns); everywhere if None.

    Returns:
        The share, or None if there is nothing to look at.

    >>> clipped_share(np.array([[0, 100], [255, 90]], np.uint8), low=1, high=254)
    0.5
    """
    if values.ndim not in (2, 3) or 0 in values.shape:
        return None
    beyond = (values <= low) | (values >= high)
    found = np.asarray(beyond.any(axis=2) if beyond.ndim == 3 else beyond)
    if inside is None:
        return float(found.mean())
    total = int(inside.sum())
    return float(found[inside].mean()) if total else None


def _constant(rows: NDArray[Any]) -> NDArray[np.bool_]:
    """Rows of one level only; a few levels of each row decide whether it is worth a full look."""
    apart = max(1, rows.shape[1] // PROBES)
    found: NDArray[np.bool_] = (rows[:, ::apart] == rows[:, :1]).all(axis=1)
    for row in np.flatnonzero(found):
        found[row] = (rows[row] == rows[row, 0]).all()
    return found


def _ends(level: NDArray[Any], full_scale: float) -> NDArray[np.int8]:
    """−1 for black, 1 for white, else 0."""
    return np.where(level <= 0, -1, np.where(level >= full_scale, 1, 0)).astype(np.int8)


def _row_hashes(rows: NDArray[Any]) -> NDArray[np.uint64]:
    """One number per row: equal rows have equal numbers, others almost surely not."""
    flat = np.ascontiguousarray(rows)
    bytes_per_row = flat.shape[1] * flat.dtype.itemsize
    whole = bytes_per_row // 8 * 8
    raw = flat.view(np.uint8).reshape(len(flat), bytes_per_row)
    words = np.ascontiguousarray(raw[:, :whole]).view(np.uint64)
    weights = _weights(words.shape[1] + 8)
    total = words @ weights[: words.shape[1]] if whole else np.zeros(len(flat), np.uint64)
    tail = raw[:, whole:].astype(np.uint64)
    result: NDArray[np.uint64] = total + tail @ weights[words.shape[1] :][: tail.shape[1]]
    return result


@lru_cache(maxsize=4)
def _weights(count: int) -> NDArray[np.uint64]:
    drawn = np.random.default_rng(20260411).integers(1, 2**63, count, dtype=np.uint64)
    return drawn | np.uint64(1)


def _repeated_block(hashes: NDArray[np.uint64], plain: NDArray[np.bool_]) -> int | None:
    """First row of a run of rows that was there before in the same order."""
    first: dict[int, int] = {}
    run, lag = 0, 0
    for row, (number, is_plain) in enumerate(zip(hashes.tolist(), plain.tolist(), strict=True)):
        if is_plain:
            run = 0
            continue
        before = first.setdefault(number, row)
        if before == row:
            run = 0
            continue
        run = run + 1 if row - before == lag else 1
        lag = row - before
        if run >= LEAST_RUN_ROWS:
            return row - run + 1
    return None
