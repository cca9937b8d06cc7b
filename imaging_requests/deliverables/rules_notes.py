"""What a region note may be: corners on the face, words that fit."""

from __future__ import annotations

import math
from collections.abc import Sequence

from imaging_requests.deliverables.models_notes import SurfaceNote
from imaging_requests.people.errors import DomainError

Corner = tuple[float, float]
MOST_CORNERS = 200
LONGEST_TEXT = 4000
NEXT = "Draw the region again, or type its numbers."


def checked_region(
    shape: str, points_mm: Sequence[Sequence[float]], size_mm: tuple[float, float] | None
) -> list[list[float]]:
    """Return the corners of a region in mm to a hundredth, or refuse in a sentence.

    `size_mm` is width and height of the face; without it only the origin bounds the region.
    """
    corners = [(float(x), float(y)) for x, y in points_mm]
    least = 4 if shape == SurfaceNote.Shape.RECTANGLE else 3
    if not least <= len(corners) <= MOST_CORNERS:
        raise _refused(
            f"A region has {least} to {MOST_CORNERS} corners; this one has {len(corners)}.",
            "corners",
        )
    if not all(math.isfinite(value) for corner in corners for value in corner):
        raise _refused("A corner of the region is not a number.", "not_a_number")
    if any(x < 0 or y < 0 for x, y in corners) or _is_beyond(corners, size_mm):
        size = "" if size_mm is None else f", which is {size_mm[0]:g} × {size_mm[1]:g} mm"
        raise _refused(f"The region leaves the face{size}.", "off_the_face")
    if _area(corners) <= 0:
        raise _refused("The region covers nothing.", "empty")
    return [[round(x, 2), round(y, 2)] for x, y in corners]


def checked_text(text: str) -> str:
    """Return the words of a note without outer blanks, or refuse in a sentence."""
    words = text.strip()
    if not words:
        raise DomainError("A note needs words.", code="note.empty", next_step="Type what is seen.")
    if len(words) > LONGEST_TEXT:
        raise DomainError(
            f"A note has {LONGEST_TEXT} characters at the most; this one has {len(words)}.",
            code="note.too_long",
            next_step="Shorten it, or write two notes.",
        )
    return words


def _is_beyond(corners: Sequence[Corner], size_mm: tuple[float, float] | None) -> bool:
    return size_mm is not None and any(x > size_mm[0] or y > size_mm[1] for x, y in corners)


def _area(corners: Sequence[Corner]) -> float:
    twice = sum(
        x * corners[(place + 1) % len(corners)][1] - corners[(place + 1) % len(corners)][0] * y
        for place, (x, y) in enumerate(corners)
    )
    return abs(twice) / 2


def _refused(message: str, code: str) -> DomainError:
    return DomainError(message, code=f"note.{code}", next_step=NEXT)
