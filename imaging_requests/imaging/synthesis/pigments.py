"""What a painter of the invented period had on the palette, and how each answers to other light.

The painter works with colours only; from a colour this module infers the likely mixture of
pigments, and from the mixture how bright it is in infrared, how much it holds back X-rays and what
it gives back under ultraviolet lamps. Values are plausible, not measured: lead white and vermilion
are heavy; carbon black swallows infrared; copper blues and greens stay fairly dark there; red lake
glows orange; earths glow hardly at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .colour import srgb
from .vocabulary import Map


@dataclass(frozen=True)
class Pigment:
    """Colour as sRGB 0 to 255; infrared reflectance; X-ray attenuation; emission, linear RGB."""

    name: str
    colour: tuple[int, int, int]
    infrared: float
    x_ray: float
    fluorescence: tuple[float, float, float]


PALETTE = (
    Pigment("lead white", (238, 232, 218), 0.95, 1.00, (0.120, 0.125, 0.105)),
    Pigment("lead-tin yellow", (232, 206, 116), 0.92, 0.86, (0.060, 0.056, 0.030)),
    Pigment("yellow ochre", (190, 142, 70), 0.72, 0.16, (0.018, 0.014, 0.008)),
    Pigment("raw sienna", (150, 98, 48), 0.62, 0.14, (0.012, 0.009, 0.006)),
    Pigment("umber", (84, 60, 40), 0.34, 0.12, (0.006, 0.005, 0.004)),
    Pigment("burnt sienna", (124, 62, 36), 0.60, 0.13, (0.010, 0.006, 0.005)),
    Pigment("vermilion", (196, 62, 42), 0.88, 0.95, (0.030, 0.008, 0.006)),
    Pigment("red lake", (118, 26, 40), 0.86, 0.05, (0.120, 0.040, 0.030)),
    Pigment("flesh mixture", (214, 164, 130), 0.90, 0.72, (0.095, 0.085, 0.065)),
    Pigment("azurite", (66, 98, 140), 0.30, 0.34, (0.004, 0.006, 0.010)),
    Pigment("azurite with white", (140, 164, 182), 0.58, 0.70, (0.050, 0.056, 0.056)),
    Pigment("smalt with white", (176, 190, 194), 0.82, 0.62, (0.075, 0.080, 0.074)),
    Pigment("copper green", (56, 92, 66), 0.42, 0.30, (0.003, 0.005, 0.003)),
    Pigment("green earth", (104, 112, 78), 0.50, 0.14, (0.010, 0.011, 0.007)),
    Pigment("bone black", (26, 23, 22), 0.07, 0.05, (0.002, 0.002, 0.002)),
    Pigment("bone black with earth", (52, 44, 38), 0.18, 0.08, (0.004, 0.003, 0.003)),
    Pigment("grey", (128, 124, 116), 0.52, 0.52, (0.045, 0.046, 0.040)),
)

_COLOURS = np.sqrt(np.clip(np.array([srgb(*p.colour) for p in PALETTE]), 0, 1)).astype(np.float32)
_ANSWERS = np.array([[p.infrared, p.x_ray, *p.fluorescence] for p in PALETTE], np.float32)
NEARNESS = 0.010
#: Tones that are looked at together: few enough to stay in the fast memory.
BLOCK = 8192


def tone(name: str) -> Map:
    """Colour of a palette pigment as the painter's modules mix it: square root of linear RGB."""
    for pigment, colour in zip(PALETTE, _COLOURS, strict=True):
        if pigment.name == name:
            return np.array(colour)
    raise KeyError(name)


def hue(red: float, green: float, blue: float) -> Map:
    """An sRGB colour 0 to 255 as the painter's modules mix it: square root of linear RGB."""
    linear = np.clip(np.array(srgb(red, green, blue)), 0, 1)
    return np.asarray(np.sqrt(linear), np.float32)


def answers(tones: Map) -> Map:
    """Infrared, X-ray and fluorescence of paints given by tone.

    Args:
        tones: (n, 3) square roots of linear working RGB, 0 to 1.

    Returns:
        (n, 5): infrared reflectance, X-ray attenuation, fluorescence R, G, B; the average over
        palette pigments weighted by exp(-distance squared / 0.01).
    """
    found = np.empty((len(tones), _ANSWERS.shape[1]), np.float32)
    for first in range(0, len(tones), BLOCK):
        part = tones[first : first + BLOCK]
        # one row for each pigment; the tone's own square is the same for all and falls out
        nearness = (2 * _COLOURS) @ part.T
        nearness -= np.sum(_COLOURS**2, 1)[:, None]
        nearness -= nearness.max(0)
        nearness /= np.float32(NEARNESS)
        weight = np.exp(nearness, out=nearness)
        found[first : first + BLOCK] = (_ANSWERS.T @ weight / weight.sum(0)).T
    return found
