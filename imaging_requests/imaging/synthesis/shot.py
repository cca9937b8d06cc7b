"""What is asked of the camera, and the record of what truly happened."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .spec import PaintingSpec
from .vocabulary import AZIMUTH_DEG, Direction, Face, Matrix, Rect, Role, Technique

MARGIN_MM = 20.0
STRIP_MM = 60.0
INFRARED_MARGIN_MM = 10.0
INFRARED_STRIP_MM = 30.0
X_RAY_MARGIN_MM = 10.0
GAUGE_PIN_MM = 10.0


@dataclass(frozen=True, kw_only=True)
class Lamp:
    """Light that falls on the face.

    Attributes:
        intensity: Share of the usual exposure; 1 is right.
        azimuth_deg: Clock angle seen by the viewer; None takes it from the shot's direction.
        elevation_deg: Height above the plane, 2 to 80; used for raking light.
        distance_mm: Lamp to the nearest edge of the picture; rules the fall-off.
        leak: Second light or room light, share of the lamp's at the face's middle.
    """

    intensity: float = 1.0
    azimuth_deg: float | None = None
    elevation_deg: float = 10.0
    distance_mm: float = 3000.0
    leak: float = 0.004


@dataclass(frozen=True, kw_only=True)
class Pose:
    """How the camera departs from the square and true position.

    Attributes:
        shift_x_mm, shift_y_mm: Where the picture's middle truly points, away from where it should.
        rotation_deg: Turn of the face in the picture, clockwise.
        scale: Enlargement about the middle.
        keystone: Difference of length between lower and upper edge, as a share.
    """

    shift_x_mm: float = 0.0
    shift_y_mm: float = 0.0
    rotation_deg: float = 0.0
    scale: float = 1.0
    keystone: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One exposure.

    Attributes:
        technique, face, role: What is photographed and what for.
        direction: Side of raking light; for edges the edge shown.
        tile: Part of the face's plane in the picture, face mm, margins included.
        px_per_mm: Density on the face.
        ev: Offset from the right exposure, stops.
        has_barrier_filter: False when the filter before the lens was forgotten (fluorescence).
        room_light: Ambient light during a fluorescence exposure, share of the reference patch.
        unevenness: Fall-off of lamps and lens towards the corners before flat-field correction.
        blur_px: Standard deviation of a focus error.
        noise: 1 for the station's usual noise, 0 for none.
        noise_seed: Seed of the noise.
        has_target: Whether the target strip is laid out.
        is_detector_polarity: X-ray as the detector gives it (dense parts dark), not as on film.
        plate: Number of the lead marker on an X-ray plate; None for no marker.
    """

    technique: Technique
    tile: Rect
    px_per_mm: float
    face: Face = Face.FRONT
    role: Role = Role.VIEW
    direction: Direction | None = None
    ev: float = 0.0
    lamp: Lamp = field(default_factory=Lamp)
    pose: Pose = field(default_factory=Pose)
    has_barrier_filter: bool = True
    room_light: float = 0.0
    unevenness: float = 0.0
    blur_px: float = 0.0
    noise: float = 1.0
    noise_seed: int = 0
    has_target: bool = True
    is_detector_polarity: bool = False
    plate: int | None = None

    def __post_init__(self) -> None:
        if self.px_per_mm <= 0:
            raise ValueError(f"px_per_mm must be positive, got {self.px_per_mm:g}.")
        if self.tile.width <= 0 or self.tile.height <= 0:
            raise ValueError("A tile needs a positive width and height.")
        needs_direction = self.technique is Technique.RAKING or self.face is Face.EDGES
        if needs_direction and self.direction is None and self.lamp.azimuth_deg is None:
            raise ValueError("Raking light and edges need a direction.")
        if not 2 <= self.lamp.elevation_deg <= 80:
            raise ValueError("Lamp elevation must lie between 2 and 80 degrees.")

    @property
    def azimuth_deg(self) -> float:
        """Clock angle of the light as the viewer of the face sees it."""
        if self.lamp.azimuth_deg is not None:
            return self.lamp.azimuth_deg
        return AZIMUTH_DEG[self.direction] if self.direction is not None else 0.0

    @property
    def size_px(self) -> tuple[int, int]:
        """Rows, columns of the picture."""
        return (
            max(1, round(self.tile.height * self.px_per_mm)),
            max(1, round(self.tile.width * self.px_per_mm)),
        )


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What a perfect measurement of the frame would find.

    Attributes:
        px_to_face_mm: 3 x 3 matrix, (x, y, 1) in px to face mm (divide by the third component).
        azimuth_deg, azimuth_from_front_deg: Light as this face's viewer and the front's see it.
    """

    technique: Technique
    face: Face
    role: Role
    direction: Direction | None
    ev: float
    tile: Rect
    px_per_mm: float
    px_to_face_mm: Matrix
    azimuth_deg: float
    azimuth_from_front_deg: float
    elevation_deg: float
    distance_mm: float
    has_barrier_filter: bool
    room_light: float
    unevenness: float
    blur_px: float
    noise_seed: int
    is_detector_polarity: bool
    plate: int | None


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """A frame and its truth.

    Attributes:
        pixels: uint16, (rows, columns, 3) colour or (rows, columns) grey.
        is_linear: True for infrared, whose values are proportional to light.
    """

    pixels: NDArray[np.uint16]
    is_linear: bool
    truth: Truth


def picture_extent(spec: PaintingSpec, technique: Technique, face: Face = Face.FRONT) -> Rect:
    """Part of the plane that a picture must show: face, margin and target strip, mm.

    Visible, raking, ultraviolet: 20 mm all round and a strip of 60 mm below. Infrared: 10 mm and
    30 mm. X-ray: 10 mm and no strip. Edges: the edge's own width and thickness with 20 mm.

    >>> spec = PaintingSpec(seed=1, width_mm=740, height_mm=920)
    >>> extent = picture_extent(spec, Technique.FLASH)
    >>> extent.width, extent.height
    (780.0, 1020.0)
    """
    w, h = spec.width_mm, spec.height_mm
    margin, strip = MARGIN_MM, STRIP_MM
    if technique is Technique.INFRARED:
        margin, strip = INFRARED_MARGIN_MM, INFRARED_STRIP_MM
    elif technique is Technique.X_RAY or face is Face.THROUGH:
        margin, strip = X_RAY_MARGIN_MM, 0.0
    return Rect(x=-margin, y=-margin, width=w + 2 * margin, height=h + 2 * margin + strip)


def edge_extent(spec: PaintingSpec, edge: Direction) -> Rect:
    """Part of an edge's plane that its picture shows: x along the edge, y from front to back."""
    is_level = edge in (Direction.TOP, Direction.BOTTOM)
    length = spec.width_mm if is_level else spec.height_mm
    return Rect(
        x=-MARGIN_MM,
        y=-MARGIN_MM,
        width=length + 2 * MARGIN_MM,
        height=spec.depth_mm + 2 * MARGIN_MM,
    )


def tile_rects(extent: Rect, columns: int, rows: int, field_mm: tuple[float, float]) -> list[Rect]:
    """Tiles that cover an extent evenly, row by row from the top left.

    Args:
        field_mm: Width and height that one picture can show.

    Raises:
        ValueError: The tiles cannot cover the extent.

    >>> [t.x for t in tile_rects(Rect(x=0, y=0, width=100, height=40), 2, 1, (60, 40))]
    [0.0, 40.0]
    """
    width, height = min(field_mm[0], extent.width), min(field_mm[1], extent.height)
    if width * columns < extent.width - 1e-6 or height * rows < extent.height - 1e-6:
        raise ValueError("These tiles leave part of the face uncovered; use more of them.")
    step_x = (extent.width - width) / (columns - 1) if columns > 1 else 0.0
    step_y = (extent.height - height) / (rows - 1) if rows > 1 else 0.0
    return [
        Rect(x=extent.x + i * step_x, y=extent.y + j * step_y, width=width, height=height)
        for j in range(rows)
        for i in range(columns)
    ]
