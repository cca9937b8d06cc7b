"""Which composition belongs to which subject."""

from __future__ import annotations

import numpy as np

from .brushwork import Design
from .grid import Grid, mix, smooth_noise, smoothstep
from .pigments import hue
from .vocabulary import Subject


def compose_design(subject: Subject, grid: Grid, rng: np.random.Generator) -> Design:
    """Design of a subject on a grid."""
    rows, columns = grid.shape
    y = np.linspace(0, 1, rows, dtype=np.float32)[:, None] + np.zeros((1, columns), np.float32)
    sky = mix(
        hue(92, 108, 120)[None, None], hue(226, 186, 130)[None, None], smoothstep(0.05, 0.55, y)
    )
    clouds = smooth_noise(rng, grid.shape, (columns / 3, rows / 9), octaves=4)
    sky = mix(sky, hue(235, 214, 180), 0.6 * smoothstep(0.2, 1.6, clouds))
    sea = mix(hue(96, 104, 96)[None, None], hue(28, 38, 40)[None, None], smoothstep(0.55, 1.0, y))
    tone = np.where((y < 0.56)[..., None], sky, sea).astype(np.float32)
    return Design(
        tone=tone,
        angle=(0.15 * smooth_noise(rng, grid.shape, columns / 4)).astype(np.float32),
        detail=np.full(grid.shape, 0.4, np.float32),
        gloss=np.zeros(grid.shape, np.float32),
    )
