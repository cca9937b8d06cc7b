"""Banners, marbling, gilt frames, and overdoors with sea birds."""

from __future__ import annotations

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from .board import Board, Point, between
from .emblems import tern
from .forms import Light, Matter, Model
from .sea import DAY, DUSK, coast, lay_sea, lay_sky, rock
from .ships import Rig, lantern, three_master
from .staffage import gulls

GILT = Matter(hue(70, 44, 18), hue(186, 138, 60), hue(252, 226, 150), 0.45, 0.6)
GOLD_THREAD = hue(222, 178, 92)


def banner(board: Board) -> None:
    """A processional banner: dyed cloth, gold scrolls, a painted medallion with a ship."""
    w, h = board.width, board.height
    rng = board.rng
    cloth = (hue(112, 30, 34), hue(36, 54, 84))[int(rng.integers(2))]
    board.tone[...] = cloth
    board.tone *= (1 + 0.06 * board.noise(0.3, octaves=3) + 0.03 * board.noise(0.02, stretch=8))[
        ..., None
    ]
    board.detail[...] = 0.18
    centre, radius = (0.5 * w, 0.45 * h), 0.34 * min(w, 0.8 * h)
    _medallion_sea(board, centre, radius)
    for r, width in ((1.05, 0.022), (1.13, 0.008)):
        ring = [
            (centre[0] + r * radius * np.cos(a), centre[1] + 1.12 * r * radius * np.sin(a))
            for a in np.linspace(0, 2 * np.pi, 80)
        ]
        board.line(ring, width, hue(140, 92, 38))
        board.line([(x - 0.003, y - 0.003) for x, y in ring], 0.5 * width, GOLD_THREAD)
    for a in np.linspace(0, 2 * np.pi, 32, endpoint=False):
        tip = (centre[0] + 1.30 * radius * np.cos(a), centre[1] + 1.45 * radius * np.sin(a))
        root = (centre[0] + 1.16 * radius * np.cos(a), centre[1] + 1.30 * radius * np.sin(a))
        board.line([root, tip], 0.010, GOLD_THREAD, alpha=0.85)
    inset = 0.07
    frame = [
        (inset, inset),
        (w - inset, inset),
        (w - inset, h - inset),
        (inset, h - inset),
        (inset, inset),
    ]
    for shift, width in ((0.0, 0.018), (0.03, 0.006), (-0.025, 0.006)):
        inner = [
            (x + (shift if x < w / 2 else -shift), y + (shift if y < h / 2 else -shift))
            for x, y in frame
        ]
        board.line(inner, width, hue(146, 96, 40))
        board.line([(x - 0.003, y - 0.003) for x, y in inner], 0.5 * width, GOLD_THREAD)
    for cx in (0.18 * w, 0.82 * w):
        for cy in (0.15 * h, 0.85 * h):
            _compass_rose(board, (cx, cy), 0.085)
    for i in range(5):
        _scroll(board, (w * (0.26 + 0.12 * i), 0.865 * h), 0.055, 1 if i % 2 else -1)
    fringe = h - 0.03
    for i in range(int(w / 0.012)):
        x = 0.012 * i
        board.line(
            [(x, fringe), (x + 0.003 * float(rng.normal()), h + 0.01)],
            0.006,
            between(GOLD_THREAD, hue(120, 76, 34), float(rng.random())),
            alpha=0.9,
        )


def _medallion_sea(board: Board, centre: Point, radius: float) -> None:
    """A ship under a star, inside an oval."""
    kept = board.tone.copy(), board.angle.copy(), board.detail.copy()
    horizon = centre[1] + 0.20 * radius
    lay_sky(board, DUSK, horizon)
    lay_sea(board, DUSK, horizon)
    inside = board.oval(centre, (radius, 1.12 * radius))
    mask = np.zeros_like(board.detail)
    mask[inside.y0 : inside.y1, inside.x0 : inside.x1] = inside.cover
    board.tone = (kept[0] + (board.tone - kept[0]) * mask[..., None]).astype(np.float32)
    board.angle = np.where(mask > 0.5, board.angle, kept[1])
    board.detail = np.where(mask > 0.5, board.detail, kept[2])
    three_master(
        board, Rig(x=centre[0], waterline=horizon + 0.34 * radius, length=1.05 * radius, shadow=0.3)
    )
    star = (centre[0] + 0.45 * radius, centre[1] - 0.62 * radius)
    lantern(board, star, 0.018)
    for a in np.linspace(0, 2 * np.pi, 8, endpoint=False):
        far = 0.16 if round(a / (np.pi / 4)) % 2 == 0 else 0.08
        board.line(
            [star, (star[0] + far * radius * np.cos(a), star[1] + far * radius * np.sin(a))],
            0.006,
            hue(255, 238, 190),
            alpha=0.8,
        )


def _compass_rose(board: Board, at: Point, size: float) -> None:
    """An eight-pointed rose in gold."""
    x, y = at
    for i in range(8):
        a = i * np.pi / 4
        far = size if i % 2 == 0 else 0.62 * size
        tip = (x + far * np.cos(a), y + far * np.sin(a))
        for side, tone in ((-1, hue(244, 214, 140)), (1, hue(140, 92, 38))):
            b = a + side * np.pi / 8
            board.lay(
                board.region([at, tip, (x + 0.26 * size * np.cos(b), y + 0.26 * size * np.sin(b))]),
                tone,
                detail=0.8,
            )


def _scroll(board: Board, at: Point, size: float, side: int) -> None:
    """A tendril."""
    t = np.linspace(0, 3.6 * np.pi, 40)
    r = size * np.exp(-0.16 * t)
    curve = [
        (at[0] + side * float(q * np.cos(a)), at[1] + float(q * np.sin(a)))
        for a, q in zip(t, r, strict=True)
    ]
    board.line(curve, 0.009, hue(140, 92, 38))
    board.line([(x - 0.002, y - 0.002) for x, y in curve], 0.005, GOLD_THREAD)


def marbling(board: Board) -> None:
    """A back painted to look like veined stone."""
    rng = board.rng
    red = rng.random() < 0.5
    base, dark, light = (
        (hue(120, 56, 46), hue(60, 26, 26), hue(206, 150, 124))
        if red
        else (hue(76, 92, 80), hue(28, 38, 36), hue(176, 184, 166))
    )
    clouds = board.noise(0.35, octaves=5, persistence=0.6)
    board.tone[...] = base
    board.wash(0.75 * smoothstep(0.0, 1.8, clouds), dark)
    board.wash(0.55 * smoothstep(0.3, 2.0, -clouds), light)
    for size, strength in ((0.45, 0.9), (0.18, 0.5)):
        field = board.noise(size, octaves=4, stretch=1.6)
        vein = np.exp(-((field / 0.05) ** 2)) * smoothstep(-0.6, 1.2, board.noise(0.3))
        board.wash((strength * vein).astype(np.float32), light)
    spots = smoothstep(2.0, 2.6, board.noise(0.012, octaves=1))
    board.wash(0.6 * spots, dark)
    board.angle[...] = 0.8 + 0.5 * clouds
    board.detail[...] = 0.35
    inset = 0.035
    w, h = board.width, board.height
    frame = [
        (inset, inset),
        (w - inset, inset),
        (w - inset, h - inset),
        (inset, h - inset),
        (inset, inset),
    ]
    board.line(frame, 0.014, hue(26, 22, 22))
    board.line(frame, 0.005, hue(196, 160, 96))


def gilt_frame(board: Board) -> None:
    """A carved and gilded frame seen from the front, its opening dark."""
    w, h = board.width, board.height
    rail = 0.135 * min(1.0, 1.0)
    edge = np.minimum(np.minimum(board.x, w - board.x), np.minimum(board.y, h - board.y))
    t = (edge / np.float32(rail)).astype(np.float32)
    profile = 0.045 * np.exp(-(((t - 0.20) / 0.16) ** 2)) + 0.060 * np.exp(
        -(((t - 0.72) / 0.13) ** 2)
    )
    profile += 0.018 * np.exp(-(((t - 0.96) / 0.04) ** 2))
    along = np.where(
        np.minimum(board.x, w - board.x) < np.minimum(board.y, h - board.y), board.y, board.x
    )
    leaf = np.cos(along * np.float32(2 * np.pi / 0.062)) * np.exp(-(((t - 0.72) / 0.14) ** 2))
    beads = np.cos(along * np.float32(2 * np.pi / 0.022)) * np.exp(-(((t - 0.96) / 0.045) ** 2))
    scroll = np.cos((along + 0.4 * (t - 0.4)) * np.float32(2 * np.pi / 0.11)) * np.exp(
        -(((t - 0.44) / 0.10) ** 2)
    )
    height = profile + 0.014 * leaf + 0.007 * beads + 0.006 * scroll
    model = Model(board, ((0, 0), (w, h)))
    group = (height + 0.2).astype(np.float32)
    group[t > 1.02] = -8
    model.put(group, GILT)
    model.render(Light(towards=(-0.5, -0.6, 0.62), fill=0.16))
    opening = t > 1.0
    board.tone[opening] = hue(24, 21, 19)
    board.gloss[...] = np.where(opening, 0, 0.9)
    board.detail[...] = np.where(opening, 0.2, 0.75)
    worn = smoothstep(1.3, 2.4, board.noise(0.02, octaves=4) + 0.5 * board.noise(0.4))
    board.wash(0.55 * worn * (~opening), hue(132, 60, 40))
    for cx, cy in ((0.5, 0.0), (0.5, 1.0), (0.0, 0.5), (1.0, 0.5)):
        _shell(board, (cx * w + (0.5 - cx) * rail, cy * h + (0.5 - cy) * rail), 0.060)


def _shell(board: Board, at: Point, size: float) -> None:
    """A carved scallop."""
    x, y = at
    for i in range(9):
        a = -np.pi * (i + 0.5) / 9
        tip = (x + size * np.cos(a), y + 0.25 * size + 0.95 * size * np.sin(a))
        root = (x, y + 0.35 * size)
        board.line([root, tip], 0.020, hue(106, 70, 30))
        board.line(
            [(root[0] - 0.003, root[1] - 0.003), (tip[0] - 0.003, tip[1] - 0.003)],
            0.008,
            hue(250, 222, 150),
        )


def sea_birds(board: Board) -> None:
    """Large birds on a ledge above the sea: terns, gannets, puffins of no known coast."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.52 * h
    weather = DAY if rng.random() < 0.6 else DUSK
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    coast(
        board,
        horizon + 0.004,
        [(0.55 * w, horizon), (0.75 * w, horizon - 0.10), (w, horizon - 0.16)],
        between(hue(150, 148, 124), weather.horizon, 0.45),
        between(hue(92, 98, 98), weather.horizon, 0.45),
    )
    three_master(
        board,
        Rig(
            x=0.26 * w,
            waterline=horizon + 0.06,
            length=0.22,
            shadow=0.2,
            haze=0.4,
            haze_tone=weather.horizon,
        ),
    )
    for x, y, sx, sy in (
        (0.10, 1.02, 0.7, 0.24),
        (0.40, 1.04, 0.9, 0.20),
        (0.78, 1.02, 1.1, 0.34),
        (0.95, 1.02, 0.5, 0.44),
    ):
        rock(board, (x * w, y * h), (sx, sy * h), hue(168, 154, 128), hue(58, 52, 47))
    light = Light(towards=(-0.55, -0.55, 0.62), fill=0.14)
    perches = ((0.10, 0.79), (0.27, 0.87), (0.44, 0.86), (0.61, 0.77))
    gannets = set(rng.permutation(len(perches))[:1].tolist())
    for number, (x, y) in enumerate(perches):
        place = ((x + float(rng.uniform(-0.03, 0.03))) * w, y * h)
        heading = 1 if rng.random() < 0.5 else -1
        size = float(rng.uniform(0.20, 0.30))
        if number in gannets:
            _gannet(board, place, size, light, heading)
        else:
            tern(board, place, size, light, heading=heading)
    _gannet(board, (0.84 * w, 0.68 * h), 0.34, light, -1 if rng.random() < 0.7 else 1)
    gulls(board, 11, ((0.05 * w, 0.06 * h), (0.95 * w, 0.40 * h)), hue(244, 240, 228), 0.07)


def _gannet(board: Board, foot: Point, size: float, light: Light, heading: int) -> None:
    """A large white bird with dark wing tips and a straw-coloured head."""
    x, y = foot
    s, f = size, heading
    model = Model(board, ((x - 1.6 * s, y - 1.8 * s), (x + 1.6 * s, y + 0.4 * s)))
    body = model.blank()
    model.ball(body, (x, y - 0.42 * s, 0.9), (0.46 * s, 0.30 * s, 0.28 * s), turn=None)
    model.limb(
        body,
        (x + 0.22 * f * s, y - 0.52 * s, 0.92),
        (x + 0.38 * f * s, y - 1.02 * s, 0.92),
        (0.20 * s, 0.125 * s),
        melt=0.1 * s,
    )
    model.limb(
        body,
        (x - 0.3 * f * s, y - 0.36 * s, 0.9),
        (x - 0.85 * f * s, y - 0.16 * s, 0.88),
        (0.16 * s, 0.03 * s),
        melt=0.08 * s,
    )
    model.put(body, Matter(hue(112, 112, 112), hue(204, 202, 194), hue(250, 248, 240), 0.0, 0.85))
    crown = model.blank()
    model.ball(crown, (x + 0.39 * f * s, y - 1.05 * s, 0.96), (0.145 * s, 0.13 * s, 0.13 * s))
    model.put(crown, Matter(hue(120, 84, 44), hue(214, 176, 112), hue(244, 222, 170), 0.0, 0.85))
    wing = model.blank()
    model.limb(
        wing,
        (x + 0.16 * f * s, y - 0.50 * s, 1.12),
        (x - 0.70 * f * s, y - 0.22 * s, 1.04),
        (0.20 * s, 0.07 * s),
    )
    model.folds(wing, spacing=0.07 * s, depth=0.02 * s, direction=0.3 * f)
    model.put(wing, Matter(hue(120, 120, 120), hue(196, 196, 192), hue(246, 244, 238), 0.0, 0.85))
    tips = model.blank()
    model.limb(
        tips,
        (x - 0.55 * f * s, y - 0.26 * s, 1.16),
        (x - 1.05 * f * s, y - 0.06 * s, 1.05),
        (0.085 * s, 0.02 * s),
    )
    model.put(tips, Matter(hue(14, 13, 14), hue(40, 38, 40), hue(92, 90, 92), 0.1, 0.85))
    model.render(light)
    bill = [
        (x + 0.50 * f * s, y - 1.10 * s),
        (x + 0.86 * f * s, y - 0.98 * s),
        (x + 0.50 * f * s, y - 0.99 * s),
    ]
    board.shade(board.region(bill), hue(206, 208, 206), hue(110, 114, 120), detail=0.95)
    board.dab((x + 0.44 * f * s, y - 1.08 * s), 0.018 * s, hue(20, 24, 30))
    for dx in (-0.08, 0.10):
        board.line([(x + dx * s, y - 0.16 * s), (x + dx * s, y)], 0.05 * s, hue(60, 58, 60))
