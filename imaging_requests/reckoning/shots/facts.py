"""What is known about one object: the input of the shot derivation.

``None`` means "nobody has measured or decided this yet", never "no" and never zero.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Final

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectFacts:
    """Facts of one object, in millimetres and kilograms, of the unframed object.

    Sizes are those of the face seen from the front: ``height_mm`` upright, ``width_mm`` across.
    ``warp_mm`` is the depth of the bow of the painted surface. ``painted_faces`` holds ``"F"``,
    ``"B"`` or both; marbling and painted imitation count as paint. ``sealed`` means that the
    object cannot be taken out of its frame. ``outlines_mm`` maps a face to its outline in face
    coordinates (origin top left, x right, y down).

    >>> copper = ObjectFacts(height_mm=240, width_mm=180, support="copper")
    >>> copper.long_side_mm, copper.warp_mm
    (240, None)
    """

    height_mm: float | None = None
    width_mm: float | None = None
    depth_mm: float | None = None
    warp_mm: float | None = None
    weight_kg: float | None = None
    support: str | None = None
    framed: bool | None = None
    glazed: bool | None = None
    sealed: bool | None = None
    painted_faces: tuple[str, ...] | None = None
    flash_allowed: bool | None = None
    uv_allowed: bool | None = None
    light_class: str | None = None

    object_number: str = ""
    title: str = ""
    kind: str = "painting"
    flaking: str = "none"
    on_display: bool = False
    rolled: bool = False
    engaged_frame: bool = False
    heat_sensitive: bool = False
    wax_lined: bool = False
    loose_keys: bool = False
    metal_leaf: bool = False
    toxic_dust_on_back: bool = False
    size_is: str = "full"
    frame_stays_on: bool = False
    frame_height_mm: float | None = None
    frame_width_mm: float | None = None
    loan_departure_in_days: int | None = None
    uv_cap_min: float | None = None
    light_used_lxh: float = 0.0
    pinned_px_per_mm: Mapping[str, float] = field(default_factory=dict)
    outlines_mm: Mapping[str, tuple[Point, ...]] = field(default_factory=dict)

    @property
    def long_side_mm(self) -> float | None:
        """The longer of height and width, or None while either is unknown."""
        if self.height_mm is None or self.width_mm is None:
            return None
        return max(self.height_mm, self.width_mm)

    @property
    def painted_face_count(self) -> int | None:
        """How many faces carry paint, or None while that is unknown."""
        return None if self.painted_faces is None else len(self.painted_faces)


FACT_NAMES: Final = frozenset(f.name for f in fields(ObjectFacts)) | {
    "long_side_mm",
    "painted_face_count",
}
"""Every name a protocol condition or a caution may look at."""
