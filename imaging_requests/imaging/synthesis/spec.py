"""What a painting is asked to be: its facts and its seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from .vocabulary import Attribute, BackFinish, Subject, Support

SMALLEST_SIDE_MM = 60.0
LARGEST_SIDE_MM = 6000.0
_NAMED: tuple[tuple[str, Callable[[str], object]], ...] = (
    ("support", Support),
    ("subject", Subject),
    ("attribute", Attribute),
    ("back_subject", Subject),
    ("back_finish", BackFinish),
    ("hidden_subject", Subject),
)


@dataclass(frozen=True, kw_only=True)
class PaintingSpec:
    """Facts from which one painting is made; equal specs give equal paintings.

    Args:
        seed: Any non-negative integer; everything random follows from it.
        width_mm, height_mm: Size of the unframed face, 60 to 6000 mm.
        depth_mm: Thickness of panel, or of canvas with its stretcher.
        warp_mm: Largest departure of the face from a plane.
        support: What carries the paint.
        subject: Kind of composition on the front.
        attribute: What the person of a portrait, saint or allegory holds.
        back_subject: Kind of composition on a painted back; None for a bare one.
        back_finish: How a back looks that carries no picture.
        hidden_subject: An earlier composition under the front; None lets the seed decide.
        number: Inventory number as written on labels.
        title: Words for the label; no other use.
        labels: Further lines written on the back.
        is_cradled: A panel with a lattice of battens on its back.
        is_lined: A canvas that carries a second cloth.
        has_lead_lining: The lining adhesive holds lead white, so X-rays show nothing but it.
        is_fragment: Sawn from something larger; irregular outline.

    Raises:
        ValueError: A size is outside its range, the seed is negative, a name is unknown, or facts
            contradict each other.

    >>> PaintingSpec(seed=7, width_mm=740, height_mm=920).support.value
    'canvas'
    """

    seed: int
    width_mm: float
    height_mm: float
    depth_mm: float = 25.0
    warp_mm: float = 3.0
    support: Support = Support.CANVAS
    subject: Subject = Subject.SEASCAPE
    attribute: Attribute | None = None
    back_subject: Subject | None = None
    back_finish: BackFinish = BackFinish.BARE
    hidden_subject: Subject | None = None
    number: str = "AR 0000"
    title: str = ""
    is_cradled: bool = False
    is_lined: bool = False
    has_lead_lining: bool = False
    is_fragment: bool = False
    labels: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        # names read from data files are as good as the members they name
        for name, kind in _NAMED:
            if (value := getattr(self, name)) is not None:
                object.__setattr__(self, name, kind(value))
        if self.seed < 0:
            raise ValueError(f"The seed must not be negative, got {self.seed}.")
        for name, side in (("width_mm", self.width_mm), ("height_mm", self.height_mm)):
            if not SMALLEST_SIDE_MM <= side <= LARGEST_SIDE_MM:
                raise ValueError(
                    f"{name} must be between {SMALLEST_SIDE_MM:g} and {LARGEST_SIDE_MM:g} mm, "
                    f"got {side:g}."
                )
        if self.is_cradled and self.support is not Support.PANEL:
            raise ValueError("Only a panel can carry a cradle.")
        if self.is_lined and self.support is not Support.CANVAS:
            raise ValueError("Only a canvas can be lined.")
