"""Outlines of faces that are not rectangles: bounding box, and which tiles an outline touches."""

from collections.abc import Sequence

Point = tuple[float, float]
Rectangle = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def bounding_box(outline: Sequence[Point]) -> Rectangle:
    """Smallest upright rectangle around an outline.

    >>> bounding_box([(0, 0), (180, 0), (90, 240)])
    (0, 0, 180, 240)
    """
    xs = [x for x, _ in outline]
    ys = [y for _, y in outline]
    return min(xs), min(ys), max(xs), max(ys)


def touches(outline: Sequence[Point], rectangle: Rectangle) -> bool:
    """Whether an outline shares any area with a rectangle.

    The outline is clipped on the four sides of the rectangle one after the other (after
    Sutherland and Hodgman, 1974); something is left exactly if they share area.

    >>> triangle = [(0, 0), (100, 0), (0, 100)]
    >>> touches(triangle, (0, 0, 30, 30)), touches(triangle, (60, 60, 100, 100))
    (True, False)
    """
    left, top, right, bottom = rectangle
    rest = list(outline)
    for axis, limit, sign in ((0, left, 1), (0, right, -1), (1, top, 1), (1, bottom, -1)):
        rest = _clip(rest, axis, limit, sign)
    return abs(_doubled_area(rest)) > 0


def _clip(outline: list[Point], axis: int, limit: float, sign: int) -> list[Point]:
    """Keep the part of the outline where sign·(coordinate − limit) ≥ 0."""
    kept: list[Point] = []
    for index, point in enumerate(outline):
        before = outline[index - 1]
        inside = sign * (point[axis] - limit) >= 0
        was_inside = sign * (before[axis] - limit) >= 0
        if inside != was_inside:
            kept.append(_crossing(before, point, axis, limit))
        if inside:
            kept.append(point)
    return kept


def _crossing(a: Point, b: Point, axis: int, limit: float) -> Point:
    share = (limit - a[axis]) / (b[axis] - a[axis])
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def _doubled_area(outline: Sequence[Point]) -> float:
    pairs = ((outline[i - 1], outline[i]) for i in range(len(outline)))
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)
