"""How a painting in a condition answers to each kind of light, face by face.

All maps are computed when first asked for and kept: a bracket of raking pictures computes its light
once.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from .back import bare_back
from .condition import Condition, Losses, Varnish
from .damage import joint_lines, tear, tide, tissue
from .grid import Grid, blur, generator, lay_over, mix, spread
from .maps import FaceMaps
from .painting import Painting
from .relief import grazing_light, large_shape
from .structure import Plane, structure_planes
from .support import fill_rect
from .vocabulary import Face, Map

# Absorption of an aged varnish of usual thickness in R, G, B: it turns whites yellow.
AGED_ABSORPTION = np.array([0.025, 0.080, 0.27], np.float32)
FRESH_ABSORPTION = np.array([0.004, 0.008, 0.020], np.float32)
DIRT_COLOUR = np.array([0.075, 0.068, 0.055], np.float32)
# Emission of aged resin under 365 nm: a milky yellow green.
AGED_EMISSION = np.array([0.052, 0.088, 0.052], np.float32)
FRESH_EMISSION = np.array([0.010, 0.014, 0.018], np.float32)
DARK_GAP = np.array([0.012, 0.010, 0.009], np.float32)
BLOOM = np.array([0.42, 0.42, 0.42], np.float32)
TISSUE = np.array([0.66, 0.64, 0.58], np.float32)
TISSUE_GLOW = np.array([0.09, 0.11, 0.15], np.float32)
RECENT = 3
CHALK = np.array([0.80, 0.78, 0.72], np.float32)


class Scene:
    """A painting in a condition, ready to be photographed."""

    def __init__(self, painting: Painting, condition: Condition | None = None) -> None:
        self.painting = painting
        self.condition = condition or Condition.initial(painting.spec)
        self._kept: dict[tuple[object, ...], Map] = {}
        self._recent: dict[tuple[object, ...], Map] = {}
        self._bare_back: FaceMaps | None = None
        self._planes: list[Plane] | None = None

    @property
    def grid(self) -> Grid:
        """Pixels over a face."""
        return self.painting.grid

    def keep(self, key: tuple[object, ...], make: Callable[[], Map]) -> Map:
        """The map under key, made when first asked for."""
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    def recent(self, key: tuple[object, ...], make: Callable[[], Map]) -> Map:
        """The map under key; only the last three are kept, so that a bracket is drawn once."""
        if key not in self._recent:
            while len(self._recent) >= RECENT:
                self._recent.pop(next(iter(self._recent)))
            self._recent[key] = make()
        return self._recent[key]

    def outline(self, face: Face) -> tuple[tuple[float, float], ...]:
        """Corners of the face in its viewer's coordinates, mm, clockwise from the top left."""
        points = self.painting.outline_mm
        if face is not Face.BACK:
            return points
        width = self.painting.spec.width_mm
        top_left, top_right, bottom_right, bottom_left = points
        seen = (top_right, top_left, bottom_left, bottom_right)
        return tuple((width - x, y) for x, y in seen)

    def violet(self, face: Face) -> Map:
        """Reflectance of the violet around 400 nm, which aged varnish absorbs."""
        blue = self.layers(face).paint[..., 2]
        return (0.75 * blue * np.exp(-1.3 * self._varnish(face))).astype(np.float32)

    def layers(self, face: Face) -> FaceMaps:
        """Layers of a face in the viewer's coordinates of that face."""
        if face is Face.FRONT:
            return self.painting.front
        if self.painting.painted_back is not None:
            return self.painting.painted_back
        if self._bare_back is None:
            self._bare_back = bare_back(self.painting.spec, self.condition, self.grid)
        return self._bare_back

    def is_painted(self, face: Face) -> bool:
        """Whether the face carries a picture."""
        return face is Face.FRONT or self.painting.painted_back is not None

    def visible(self, face: Face) -> Map:
        """Reflectance under white light as it looks through dirt and varnish, linear RGB."""
        return self.keep(("visible", face), lambda: self._visible(face))

    def fluorescence(self, face: Face) -> Map:
        """Emission under 365 nm, linear RGB, before the exposure is chosen."""
        return self.keep(("fluorescence", face), lambda: self._fluorescence(face))

    def infrared(self, face: Face) -> Map:
        """Reflectance at about 1,300 nm, 0 to 1."""
        return self.keep(("infrared", face), lambda: self._infrared(face))

    def relief(self, face: Face) -> Map:
        """Height towards the viewer of the face, mm."""
        return self.keep(("relief", face), lambda: self._relief(face))

    def grazing(self, face: Face, azimuth_deg: float, elevation_deg: float) -> Map:
        """Share of a grazing light received at each place, 1 on a level one."""
        return self.keep(
            ("grazing", face, azimuth_deg, elevation_deg),
            lambda: grazing_light(
                self.relief(face), self.grid, azimuth_deg=azimuth_deg, elevation_deg=elevation_deg
            ),
        )

    def planes(self) -> list[Plane]:
        """What X-rays meet, by height above the paint, in front coordinates."""
        if self._planes is None:
            self._planes = structure_planes(self.painting, self.condition)
        return self._planes

    def _varnish(self, face: Face) -> Map:
        """Thickness of the film, 0 in cleaning windows."""
        layers = self.layers(face)
        share = {Varnish.AGED: 1.0, Varnish.THINNED: 0.35, Varnish.NONE: 0.0, Varnish.FRESH: 1.0}
        film: Map = layers.varnish * np.float32(share[self.condition.varnish])
        if face is Face.FRONT and self.condition.varnish is Varnish.AGED:
            film = film * (1 - 0.93 * self._windows())
        return film

    def _windows(self) -> Map:
        """Cleaning tests, 0 to 1."""
        field = np.zeros(self.grid.shape, np.float32)
        for window in self.condition.cleaning_windows:
            fill_rect(field, self.grid, window, 1.0)
        return blur(field, 0.6)

    def _dirt(self, face: Face) -> Map:
        """Thickness of the dirt film, 0 in cleaning windows."""
        layers = self.layers(face)
        if not self.is_painted(face):
            return layers.dirt * np.float32(self.condition.back_dirt)
        film = layers.dirt * np.float32(self.condition.dirt)
        return film * (1 - self._windows()) if face is Face.FRONT else film

    def _surface(self, face: Face) -> Map:
        """Paint with losses, fills and retouching, as bare colour."""
        layers, condition = self.layers(face), self.condition
        colour = layers.paint
        lost = layers.losses
        if condition.losses is Losses.OPEN:
            colour = mix(colour, np.array(layers.ground, np.float32), lost)
        elif condition.losses is Losses.NEW_FILLS and not condition.is_retouched:
            colour = mix(colour, CHALK, lost)
        elif condition.losses is Losses.OLD_FILLS and not condition.has_overpaint:
            colour = mix(colour, CHALK * np.float32(0.8), lost)
        if condition.has_overpaint:
            old = layers.paint * np.array([0.86, 0.80, 0.72], np.float32) + np.float32(0.004)
            colour = mix(colour, blur(old, 1.5), 0.8 * layers.overpaint)
        colour = mix(colour, colour * np.float32(0.35), 0.55 * layers.cracks)
        if face is Face.FRONT:
            colour = mix(colour, DARK_GAP, 0.9 * self._gaps())
        return colour

    def _gaps(self) -> Map:
        """Open tears and joints on the front, 0 to 1."""
        spec, condition = self.painting.spec, self.condition
        gaps = joint_lines(spec, self.grid, is_open=condition.has_open_joint)
        if condition.has_tear:
            gaps = np.maximum(gaps, tear(spec, self.grid, 1.6))
        return gaps

    def _visible(self, face: Face) -> Map:
        colour = self._surface(face)
        film = self._varnish(face)
        absorption = (
            FRESH_ABSORPTION if self.condition.varnish is Varnish.FRESH else AGED_ABSORPTION
        )
        if self.is_painted(face):
            colour = _through(colour, film, absorption)
            matt = np.clip(1 - film * 2.5, 0, 1)
            if matt.any():
                colour *= spread(1 - 0.045 * matt)
                colour += spread(0.016 * matt)
        if face is Face.FRONT and self.condition.has_water_stain:
            inside, rim = tide(self.painting.spec, self.grid)
            colour = mix(colour, BLOOM, 0.16 * inside)
            colour = mix(colour, colour * np.float32(0.6), 0.5 * rim)
        dirt = self._dirt(face)
        colour = colour * spread(1 - 0.16 * dirt)
        lay_over(colour, DIRT_COLOUR, 0.20 * dirt)
        relief = self.relief(face)
        glance = cv2.Sobel(relief, cv2.CV_32F, 1, 1, ksize=3) - cv2.Sobel(
            relief, cv2.CV_32F, 0, 1, ksize=3
        )
        shading = np.clip(1 - 0.28 * self.grid.px_per_mm * glance, 0.80, 1.22)
        colour *= spread(shading)
        if self._is_faced(face):
            colour = mix(colour, TISSUE, tissue(self.painting.spec, self.grid))
        return np.clip(colour, 0, 1, out=colour)

    def _is_faced(self, face: Face) -> bool:
        """Whether tissue hides the face."""
        return face is Face.FRONT and self.condition.is_faced

    def _fluorescence(self, face: Face) -> Map:
        layers, condition = self.layers(face), self.condition
        film = self._varnish(face)
        is_fresh = condition.varnish is Varnish.FRESH
        dimming = np.exp(-film * np.float32(0.10 if is_fresh else 0.42))
        glow: Map = layers.fluorescence * spread(dimming)
        if self.is_painted(face):
            glow *= np.float32(2.4)
            for channel, strength in enumerate(FRESH_EMISSION if is_fresh else AGED_EMISSION):
                glow[..., channel] += film * strength
        patches = layers.losses if condition.is_retouched else np.zeros_like(layers.losses)
        if condition.has_overpaint:
            patches = np.maximum(patches, layers.overpaint)
        if condition.losses is not Losses.OLD_FILLS and not condition.is_retouched:
            glow = mix(glow, np.array([0.10, 0.11, 0.12], np.float32), layers.losses)
        glow = mix(glow, np.array([0.010, 0.008, 0.012], np.float32), 0.88 * patches)
        for share in (0.45 * self._dirt(face), 0.5 * layers.cracks, 0.85 * layers.gloss):
            glow *= spread(1 - share)
        if self._is_faced(face):
            glow = mix(glow, TISSUE_GLOW, tissue(self.painting.spec, self.grid))
        return np.maximum(glow, 0, out=glow)

    def _infrared(self, face: Face) -> Map:
        layers, condition, spec = self.layers(face), self.condition, self.painting.spec
        bright = layers.infrared
        if condition.has_overpaint:
            bright = mix(bright, blur(bright, 2.0) * np.float32(0.82), 0.55 * layers.overpaint)
        if condition.losses is not Losses.OLD_FILLS:
            bright = mix(bright, np.full_like(bright, 0.85), 0.7 * layers.losses)
        bright = bright * (1 - 0.35 * layers.cracks)
        if self._is_faced(face):
            bright = mix(bright, np.full_like(bright, 0.85), 0.6 * tissue(spec, self.grid))
        return np.clip(bright * (1 - 0.005 * self._dirt(face)), 0, 1).astype(np.float32)

    def _shape(self) -> Map:
        """The large shape of the face seen from the front, mm."""
        condition, rng = self.condition, generator(self.painting.spec.seed, "shape")
        return large_shape(
            self.painting.spec, self.grid, rng, bow=condition.bow, slackness=condition.slackness
        )

    def _relief(self, face: Face) -> Map:
        layers, condition = self.layers(face), self.condition
        spec = self.painting.spec
        shape = self.keep(("shape",), self._shape)
        if face is not Face.FRONT:
            shape = -shape[:, ::-1]
        own = layers.height_mm + condition.lifting * layers.lifting_mm
        if condition.losses is Losses.OPEN:
            own = own - 0.12 * layers.losses
        if face is Face.FRONT and condition.varnish is not Varnish.NONE:
            own = mix(own, blur(own, 1.0), 0.35)
        if face is Face.FRONT:
            own = own - 0.20 * self._gaps()
            if condition.has_tear:
                own = own + 0.8 * blur(tear(spec, self.grid, 3.0), self.grid.px(2.5))
            elif condition.has_repaired_tear:
                own = own + 0.12 * blur(tear(spec, self.grid, 3.0), self.grid.px(2.0))
        if self._is_faced(face):
            own = blur(own, self.grid.px(1.5)) + 0.10 * tissue(spec, self.grid)
        return (shape + own).astype(np.float32)


def _through(colour: Map, film: Map, absorption: Map) -> Map:
    """Colour seen through a film that absorbs each channel by its thickness; a fresh array."""
    seen = np.empty_like(colour)
    for channel, share in enumerate(absorption):
        np.multiply(colour[..., channel], np.exp(-film * share), out=seen[..., channel])
    return seen
