"""Synthetic paintings and their technical pictures, with exact known truth.

>>> spec = PaintingSpec(seed=5, width_mm=200, height_mm=150)
>>> scene = Scene(build_painting(spec, px_per_mm=1.0))
>>> tile = picture_extent(spec, Technique.FLASH)
>>> exposure = capture(scene, Shot(technique=Technique.FLASH, tile=tile, px_per_mm=1.0))
>>> exposure.pixels.shape, exposure.truth.px_to_face_mm[0]
((250, 240, 3), (1.0, 0.0, -19.5))
"""

from .appearance import Scene
from .colour import to_screen
from .condition import Change, Condition, Losses, Varnish
from .frames import capture_slate
from .painting import Painting, build_painting, usual_px_per_mm
from .shot import (
    Exposure,
    Lamp,
    Pose,
    Shot,
    Truth,
    edge_extent,
    picture_extent,
    tile_rects,
)
from .spec import PaintingSpec
from .targets import infrared_layout, strip_layout
from .techniques import capture
from .vocabulary import (
    Attribute,
    BackFinish,
    Direction,
    Face,
    Rect,
    Role,
    Subject,
    Support,
    Technique,
)
from .writer import CameraNotes, tiff_bytes, write_tiff

__all__ = [
    "Attribute",
    "BackFinish",
    "CameraNotes",
    "Change",
    "Condition",
    "Direction",
    "Exposure",
    "Face",
    "Lamp",
    "Losses",
    "Painting",
    "PaintingSpec",
    "Pose",
    "Rect",
    "Role",
    "Scene",
    "Shot",
    "Subject",
    "Support",
    "Technique",
    "Truth",
    "Varnish",
    "build_painting",
    "capture",
    "capture_slate",
    "edge_extent",
    "infrared_layout",
    "picture_extent",
    "strip_layout",
    "tiff_bytes",
    "tile_rects",
    "to_screen",
    "usual_px_per_mm",
    "write_tiff",
]
