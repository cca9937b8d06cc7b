"""Eyes, brows, nostrils, lips and lines of age, with the fine brush."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..grid import Region
from ..pigments import hue
from .board import Board, Point, Tone, between, spline
from .heads import EYES, HAIRS, SKINS, Head, Skull


def paint_features(board: Board, head: Head) -> None:
    """Eyes, brows, nostrils and lips with the fine brush."""
    skull, s = Skull(head), head.size
    dark = between(SKINS[head.skin].dark, hue(20, 14, 12), 0.55)
    brow = between(HAIRS[head.hair].dark, SKINS[head.skin].dark, 0.35)
    for side in (-1, 1):
        if not skull.faces(0.142 * side, 0.26):
            continue
        _eye(board, skull, side, head, dark)
        arch = [
            (0.058 * side, -0.132, 0.355),
            (0.135 * side, -0.156, 0.320),
            (0.220 * side, -0.118, 0.240),
        ]
        width = (0.016 if head.is_woman else 0.026) * s
        line = spline([skull.point(*p) for p in arch], closed=False)
        board.line(line[: len(line) * 2 // 3], width, brow, alpha=0.42)
        board.line(line, 0.6 * width, brow, alpha=0.42)
        nostril = [skull.point(0.020 * side, 0.148, 0.40), skull.point(0.046 * side, 0.143, 0.385)]
        board.line(nostril, 0.016 * s, dark, alpha=0.75)
    corner = 0.078 if head.is_woman else 0.088
    smile = -0.006 if head.age < 0.7 else 0.006
    mouth = [
        (-corner, 0.252 + smile, 0.30),
        (-0.035, 0.249, 0.342),
        (0, 0.254, 0.350),
        (0.035, 0.249, 0.342),
        (corner, 0.252 + smile, 0.30),
    ]
    board.line(
        spline([skull.point(*p) for p in mouth], closed=False),
        0.014 * s,
        between(dark, hue(120, 40, 36), 0.35),
        alpha=0.80,
    )
    board.dab(skull.point(-0.010, 0.080, 0.46), 0.011 * s, hue(250, 228, 204), alpha=0.40)
    if head.age > 0.65:
        _wrinkles(board, skull, s, dark)


def _eye(board: Board, skull: Skull, side: int, head: Head, dark: Tone) -> None:
    """One eye: white, iris, pupil, light, lids."""
    s = head.size
    z = 0.312

    def at(dx: float, dy: float, dz: float = 0.0) -> Point:
        return skull.point(0.142 * side + dx, -0.042 + dy, z + dz - 0.9 * abs(dx) * 0.5)

    inner, outer = -0.062 * side, 0.070 * side
    upper = [
        at(inner, 0.012),
        at(0.5 * inner, -0.014),
        at(0.004 * side, -0.022),
        at(0.5 * outer, -0.015),
        at(outer, 0.010),
    ]
    lower = [at(outer, 0.010), at(0.4 * outer, 0.027), at(0.4 * inner, 0.027), at(inner, 0.012)]
    lid = spline(upper, closed=False)
    if head.closed_eyes:
        low = spline([at(inner, 0.012), at(0, 0.030), at(outer, 0.008)], closed=False)
        board.line(low, 0.014 * s, dark, alpha=0.8)
        return
    shape = [*lid, *spline(lower, closed=False)]
    board.shade(board.region(shape), hue(120, 100, 88), hue(196, 182, 166), detail=1.0)
    gaze = 0.010
    iris = board.oval(at(gaze, -0.004), (0.030 * s * max(0.55, abs(np.cos(head.yaw))), 0.031 * s))
    clip = board.region(shape)
    if not (iris.is_empty or clip.is_empty):
        board.lay(_common(iris, clip), EYES[head.eye], detail=1.0)
        pupil = board.oval(at(gaze, -0.004), (0.014 * s, 0.015 * s))
        board.lay(_common(pupil, clip), hue(12, 10, 10), detail=1.0)
    board.line(lid, 0.017 * s, dark, alpha=0.85)
    board.line(
        spline(lower, closed=False), 0.008 * s, between(dark, hue(190, 130, 104), 0.5), alpha=0.6
    )
    fold = [(x, y - 0.030 * s) for x, y in lid]
    board.line(fold[4:-4], 0.010 * s, between(dark, SKIN_FOLD, 0.4), alpha=0.5)
    board.dab(at(gaze - 0.011, -0.013, 0.01), 0.0058 * s, hue(250, 246, 234), alpha=0.9)


SKIN_FOLD = hue(150, 96, 72)


def _common(a: Region, b: Region) -> Region:
    """Part of region a that lies inside region b."""
    y0, y1, x0, x1 = max(a.y0, b.y0), min(a.y1, b.y1), max(a.x0, b.x0), min(a.x1, b.x1)
    if y0 >= y1 or x0 >= x1:
        return replace(a, y0=0, y1=0, x0=0, x1=0, cover=np.zeros((0, 0), np.float32))
    cover = (
        a.cover[y0 - a.y0 : y1 - a.y0, x0 - a.x0 : x1 - a.x0]
        * b.cover[y0 - b.y0 : y1 - b.y0, x0 - b.x0 : x1 - b.x0]
    )
    return replace(a, y0=y0, y1=y1, x0=x0, x1=x1, cover=cover)


def _wrinkles(board: Board, skull: Skull, s: float, dark: Tone) -> None:
    """Lines of age beside the mouth, under the eyes and on the brow."""
    for side in (-1, 1):
        if not skull.faces(0.142 * side, 0.26):
            continue
        fold = [(0.085 * side, 0.135, 0.35), (0.125 * side, 0.20, 0.30), (0.125 * side, 0.27, 0.28)]
        board.line(
            spline([skull.point(*p) for p in fold], closed=False), 0.012 * s, dark, alpha=0.30
        )
        bag = [
            (0.085 * side, 0.020, 0.32),
            (0.145 * side, 0.042, 0.32),
            (0.205 * side, 0.012, 0.27),
        ]
        board.line(
            spline([skull.point(*p) for p in bag], closed=False), 0.009 * s, dark, alpha=0.30
        )
    for y in (-0.235, -0.275):
        line = [(-0.15, y + 0.008, 0.30), (0, y, 0.345), (0.15, y + 0.008, 0.30)]
        board.line(
            spline([skull.point(*p) for p in line], closed=False), 0.008 * s, dark, alpha=0.22
        )
