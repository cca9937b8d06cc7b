"""Rows of the table that concern camera, position and the object's support."""

from __future__ import annotations

import math

from .limits import GradeLimits
from .set_up import Pair, SetUp, SupportChange
from .terms import Comparability, Finding, by_limits, unknown, worst

A, B, C, N = Comparability.A, Comparability.B, Comparability.C, Comparability.N


def camera_and_lens(before: SetUp, after: SetUp) -> Finding:
    """Same serials A, same models B, other C.

    >>> one = SetUp(camera="Bay", camera_serial="1", lens="120", lens_serial="7")
    >>> camera_and_lens(one, one).grade.value
    'A'
    """
    row = "camera"
    items = [
        _same_item(
            (before.camera, before.camera_serial), (after.camera, after.camera_serial), "camera"
        ),
        _same_item((before.lens, before.lens_serial), (after.lens, after.lens_serial), "lens"),
    ]
    if missing := [words for grade, words in items if grade is None]:
        return unknown(row, " and ".join(missing))
    grades = [grade for grade, _ in items if grade is not None]
    found = worst(grades)
    reason = " and ".join(words for grade, words in items if grade is found)
    return Finding(
        row=row, grade=found, reason="the same camera and lens" if found is A else reason
    )


def _same_item(
    before: tuple[str, str], after: tuple[str, str], what: str
) -> tuple[Comparability | None, str]:
    """Compare (model, serial) of two items."""
    if before[1] and after[1]:
        if before[1] == after[1]:
            return A, f"the same {what}"
        if before[0] and before[0] == after[0]:
            return B, f"another {what} of the same model ({after[1]} instead of {before[1]})"
        return C, f"another {what} ({after[0] or after[1]} instead of {before[0] or before[1]})"
    if before[0] and after[0]:
        if before[0] == after[0]:
            return B, f"a {what} of the same model, without serials to say that it is the same one"
        return C, f"another {what} ({after[0]} instead of {before[0]})"
    return None, f"the {what} was not recorded for both"


def density(before: SetUp, after: SetUp, pair: Pair, limits: GradeLimits) -> Finding:
    """Px/mm: the ratio fitted from the files if there is one, else the two stated values."""
    row = "density"
    ratio = pair.px_per_mm_ratio
    if ratio is None:
        if not before.px_per_mm or not after.px_per_mm:
            return unknown(row, "px/mm is not known for both")
        ratio = after.px_per_mm / before.px_per_mm
    share = min(ratio, 1 / ratio)
    percent = 100 * abs(ratio - 1)
    if share < limits.density_least_share - 1e-12:
        words = f"one picture has only {100 * share:.0f} % of the other's px/mm"
        return Finding(row=row, grade=N, reason=words)
    words = "the same px/mm" if percent < 0.05 else f"px/mm differ by {percent:.1f} %"
    return Finding(row=row, grade=by_limits(percent, limits.density_percent), reason=words)


def tilt(before: SetUp, after: SetUp, pair: Pair, limits: GradeLimits) -> Finding:
    """Tilt: the difference fitted from the files if there is one, else the two stated values."""
    row = "tilt"
    difference = pair.tilt_deg
    if difference is None:
        if before.tilt_deg is None or after.tilt_deg is None:
            return unknown(row, "the tilt of the easel was not recorded for both")
        difference = after.tilt_deg - before.tilt_deg
    grade = by_limits(difference, limits.tilt_deg)
    words = f"the tilt differs by {abs(difference):.2f}°" if abs(difference) > 0.005 else "one tilt"
    return Finding(row=row, grade=grade, reason=words)


def aperture_and_focus(before: SetUp, after: SetUp, limits: GradeLimits) -> Finding:
    """Same aperture and focus distance A, within a stop B.

    Stops between two aperture numbers: 2·log2(N2 / N1).
    """
    row = "focus"
    if not (before.aperture and after.aperture and before.focus_mm and after.focus_mm):
        return unknown(row, "aperture and focus distance were not recorded for both")
    stops = 2 * math.log2(after.aperture / before.aperture)
    moved_mm = after.focus_mm - before.focus_mm
    by_aperture = by_limits(stops, limits.aperture_stops)
    by_distance = by_limits(moved_mm, limits.focus_mm)
    grade = worst([by_aperture, by_distance])
    parts = []
    if by_aperture is grade and grade is not A:
        parts.append(f"f/{after.aperture:g} instead of f/{before.aperture:g}")
    if by_distance is grade and grade is not A:
        parts.append(f"the focus distance differs by {abs(moved_mm):.0f} mm")
    return Finding(
        row=row, grade=grade, reason=" and ".join(parts) or "the same aperture and focus distance"
    )


def support(before: SetUp, after: SetUp, pair: Pair) -> Finding:
    """Unframed both times at the same tension A; framed B; re-tensioned C; format changed N."""
    row = "support"
    if pair.support is SupportChange.FORMAT:
        return Finding(row=row, grade=N, reason=pair.support_words or "the format was changed")
    if pair.support in (SupportChange.RETENSIONED, SupportChange.FLATTENED):
        words = pair.support_words or f"the support was {pair.support.value} in between"
        return Finding(row=row, grade=C, reason=words)
    if pair.support is None or before.is_framed is None or after.is_framed is None:
        return unknown(row, "the state of the support was not recorded for both")
    if before.is_framed or after.is_framed:
        both = before.is_framed and after.is_framed
        words = "the object was framed both times" if both else "the object was framed once"
        return Finding(row=row, grade=B, reason=words)
    return Finding(row=row, grade=A, reason="unframed both times, the support unchanged")
