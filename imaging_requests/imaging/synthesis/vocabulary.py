"""Words and small value types shared by the generator: techniques, faces, light, rectangles in mm.

Face coordinates: origin at the top left corner of the unframed face as seen by a viewer who
faces it, x to the right, y down, unit mm. Pixel coordinates: x to the right, y down, (0, 0) is the
centre of the top left pixel. Light azimuths are clock angles seen by the viewer of the face:
0 degrees from the top, 90 from the viewer's right, 180 from below, 270 from the viewer's left.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from numpy.typing import NDArray

# Always float32 by construction; the image library's type hints know only "some number".
Map = NDArray[Any]
Matrix = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]


class Technique(StrEnum):
    """How a picture is made."""

    FLASH = "VF"
    CONTINUOUS = "VC"
    RAKING = "RK"
    FLUORESCENCE = "UV"
    INFRARED = "IR"
    X_RAY = "XR"


class Face(StrEnum):
    """A direction to look at the object; THROUGH is the X-ray's."""

    FRONT = "F"
    BACK = "B"
    EDGES = "E"
    THROUGH = "T"


class Direction(StrEnum):
    """Side from which raking light comes, or the edge shown, in the viewer's left and right."""

    LEFT = "L"
    RIGHT = "R"
    TOP = "T"
    BOTTOM = "B"


AZIMUTH_DEG = {
    Direction.TOP: 0.0,
    Direction.RIGHT: 90.0,
    Direction.BOTTOM: 180.0,
    Direction.LEFT: 270.0,
}


class Role(StrEnum):
    """What a frame is for."""

    VIEW = "view"
    FLAT = "flat"
    AMBIENT = "ambient"
    DARK = "dark"


class Attribute(StrEnum):
    """What a person holds, by which they are known."""

    LAMP = "lamp"
    GLASS = "glass"
    KEYS = "keys"
    MAP = "map"
    SALT = "salt"
    DIVIDERS = "dividers"
    TERN = "tern"
    BOOK = "book"
    OAR = "oar"
    WHALE = "whale"
    BRANCH = "apple branch"
    ANCHOR = "anchor"
    LETTER = "letter"


class Support(StrEnum):
    """What carries the paint."""

    CANVAS = "canvas"
    PANEL = "panel"
    COPPER = "copper"
    CLOTH = "cloth"


class Subject(StrEnum):
    """Kind of composition."""

    SEASCAPE = "seascape"
    NIGHT_BOATS = "night boats"
    WINTER_SEA = "winter sea"
    STORM = "storm"
    HARBOUR = "harbour"
    HARBOUR_FIRE = "harbour fire"
    REGATTA = "regatta"
    ISLAND = "island"
    ECLIPSE = "eclipse"
    ORCHARD = "drowned orchard"
    GORGE = "rope bridge"
    BEACH = "beach with figures"
    ROPEWALK = "ropewalk"
    MARKET = "market"
    CROWD = "crowd on a quay"
    WEDDING = "wedding"
    PROCESSION = "procession"
    PORTRAIT_MAN = "portrait of a man"
    PORTRAIT_WOMAN = "portrait of a woman"
    PORTRAIT_CHILD = "portrait of a child"
    SAINT = "saint"
    TWO_SAINTS = "two saints"
    VIRGIN = "virgin"
    ANNUNCIATION = "annunciation"
    LAMENTATION = "lamentation"
    CRUCIFIXION = "crucifixion"
    KING = "enthroned king"
    ALLEGORY = "allegory"
    STILL_LIFE = "still life"
    MAP_TABLE = "map table"
    BANNER = "banner"
    BIRDS = "sea birds"
    GRISAILLE = "grisaille saint"
    MARBLING = "marbling"
    GILT_FRAME = "gilt frame"


class BackFinish(StrEnum):
    """What the back looks like when it is not a painted face of its own."""

    BARE = "bare"
    GREY_PAINT = "grey paint"
    METAL_LEAF = "metal leaf"


@dataclass(frozen=True, kw_only=True)
class Rect:
    """Axis-aligned rectangle in mm, left top corner and size.

    >>> Rect(x=-20, y=-20, width=140, height=180).right
    120
    """

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """x of the right side, mm."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """y of the lower side, mm."""
        return self.y + self.height

    @property
    def centre(self) -> tuple[float, float]:
        """Middle of the rectangle, mm."""
        return (self.x + self.width / 2, self.y + self.height / 2)


def front_azimuth_deg(back_azimuth_deg: float) -> float:
    """Azimuth as seen from the front of light placed by the viewer of the back: 360 - a mod 360.

    >>> front_azimuth_deg(270.0)
    90.0
    """
    return (360.0 - back_azimuth_deg) % 360.0
