"""The codes that the shot derivation speaks in: faces, light directions and view codes.

Left and right, and every clock angle, are always the viewer's, standing in front of the face
that is photographed.
"""

from typing import Final

FRONT: Final = "F"
BACK: Final = "B"
EDGES: Final = "E"
THROUGH: Final = "T"
FACES: Final = (FRONT, BACK, EDGES, THROUGH)
FACE_NAMES: Final = {FRONT: "front", BACK: "back", EDGES: "edges", THROUGH: "through"}

AZIMUTH_DEG: Final = {"T": 0, "R": 90, "B": 180, "L": 270}
"""Clock angle of each light direction: 0° top, 90° viewer's right, 180° bottom, 270° left."""

DIRECTION_NAMES: Final = {"L": "left", "R": "right", "T": "top", "B": "bottom"}

MM_PER_INCH: Final = 25.4


def view_code(technique: str, face: str, direction: str | None = None) -> str:
    """Return the short code people say for a view.

    A view through the object carries no face letter, because it has no side.

    >>> view_code("RK", "F", "L")
    'RK-F-L'
    >>> view_code("XR", "T")
    'XR'
    """
    if face == THROUGH:
        return technique
    parts = (technique, face) if direction is None else (technique, face, direction)
    return "-".join(parts)


def opposite_azimuth_deg(azimuth_deg: float) -> float:
    """Return the clock angle of a lamp as seen from the other side of a flat object.

    azimuth_as_seen_from_front = (360 − azimuth_back) mod 360, and the same the other way.

    >>> opposite_azimuth_deg(270)
    90
    """
    return (360 - azimuth_deg) % 360
