"""The condition a painting is in, and what each kind of treatment changes.

A condition never changes the painting's own maps; it says how they are to be seen. Two pictures of
the same painting in two conditions therefore differ exactly as the treatment between them says.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from .spec import PaintingSpec
from .vocabulary import Rect, Support


class Varnish(StrEnum):
    """State of the clear film on top of the paint."""

    AGED = "aged"
    THINNED = "thinned"
    NONE = "none"
    FRESH = "fresh"


class Losses(StrEnum):
    """State of the places where paint is missing."""

    OLD_FILLS = "old fills"
    OPEN = "open"
    NEW_FILLS = "new fills"


class Change(StrEnum):
    """A treatment step or an incident, as far as pictures can show it."""

    SURFACE_CLEANED = "surface cleaned"
    VARNISH_THINNED = "varnish thinned"
    VARNISH_REMOVED = "varnish removed"
    OVERPAINT_REMOVED = "overpaint removed"
    OLD_FILLS_REMOVED = "old fills removed"
    FILLED = "filled"
    RETOUCHED = "retouched"
    VARNISHED = "varnished"
    FLAKES_LAID = "flakes laid"
    FACED = "faced"
    FACING_REMOVED = "facing removed"
    LINED = "lined"
    LINING_REMOVED = "lining removed"
    BACK_RESIDUE_REMOVED = "back residue removed"
    TEAR_REPAIRED = "tear repaired"
    EDGES_REINFORCED = "edges reinforced"
    STRETCHER_REPLACED = "stretcher replaced"
    KEYED_OUT = "keyed out"
    FLATTENED = "flattened"
    CRADLE_REMOVED = "cradle removed"
    JOINT_REPAIRED = "joint repaired"
    AUXILIARY_SUPPORT_FITTED = "auxiliary support fitted"
    WOOD_CONSOLIDATED = "wood consolidated"
    BACK_CLEANED = "back cleaned"
    LABEL_REMOVED = "label removed"
    BACKING_BOARD_FITTED = "backing board fitted"
    BACKING_BOARD_REMOVED = "backing board removed"
    WATER_DAMAGED = "water damaged"
    TORN = "torn"


@dataclass(frozen=True, kw_only=True)
class Condition:
    """How the painting is at one moment. Fractions run from 0 to 1.

    >>> aged = Condition()
    >>> aged.after(Change.VARNISH_REMOVED).varnish.value
    'none'
    """

    dirt: float = 1.0
    varnish: Varnish = Varnish.AGED
    losses: Losses = Losses.OLD_FILLS
    has_overpaint: bool = True
    is_retouched: bool = False
    lifting: float = 1.0
    slackness: float = 1.0
    bow: float = 1.0
    is_faced: bool = False
    is_lined: bool = False
    has_back_residue: bool = False
    has_old_stretcher: bool = True
    has_tape_edges: bool = False
    is_cradled: bool = False
    has_open_joint: bool = True
    has_auxiliary_support: bool = False
    is_wood_consolidated: bool = False
    back_dirt: float = 1.0
    has_labels: bool = True
    has_backing_board: bool = False
    has_tear: bool = False
    has_repaired_tear: bool = False
    has_water_stain: bool = False
    cleaning_windows: tuple[Rect, ...] = ()

    @classmethod
    def initial(cls, spec: PaintingSpec) -> Condition:
        """Condition in which a painting of these facts comes to the studio."""
        return cls(
            is_cradled=spec.is_cradled,
            is_lined=spec.is_lined,
            slackness=1.0 if spec.support in (Support.CANVAS, Support.CLOTH) else 0.0,
        )

    def after(self, change: Change) -> Condition:
        """Condition once this change has happened; equal if it does not apply."""
        return replace(self, **_EFFECTS[change])  # type: ignore[arg-type]

    def with_cleaning_windows(self, *windows: Rect) -> Condition:
        """Condition with small test areas on the front where the varnish has been taken off."""
        return replace(self, cleaning_windows=(*self.cleaning_windows, *windows))


_EFFECTS: dict[Change, dict[str, object]] = {
    Change.SURFACE_CLEANED: {"dirt": 0.0},
    Change.VARNISH_THINNED: {"varnish": Varnish.THINNED, "dirt": 0.0},
    Change.VARNISH_REMOVED: {"varnish": Varnish.NONE, "dirt": 0.0, "cleaning_windows": ()},
    Change.OVERPAINT_REMOVED: {"has_overpaint": False},
    Change.OLD_FILLS_REMOVED: {"losses": Losses.OPEN, "has_overpaint": False},
    Change.FILLED: {"losses": Losses.NEW_FILLS},
    Change.RETOUCHED: {"is_retouched": True},
    Change.VARNISHED: {"varnish": Varnish.FRESH},
    Change.FLAKES_LAID: {"lifting": 0.0},
    Change.FACED: {"is_faced": True},
    Change.FACING_REMOVED: {"is_faced": False},
    Change.LINED: {"is_lined": True},
    Change.LINING_REMOVED: {"is_lined": False, "has_back_residue": True},
    Change.BACK_RESIDUE_REMOVED: {"has_back_residue": False},
    Change.TEAR_REPAIRED: {"has_tear": False, "has_repaired_tear": True},
    Change.EDGES_REINFORCED: {"has_tape_edges": True},
    Change.STRETCHER_REPLACED: {"has_old_stretcher": False, "slackness": 0.25},
    Change.KEYED_OUT: {"slackness": 0.25},
    Change.FLATTENED: {"slackness": 0.1, "bow": 0.6, "lifting": 0.4},
    Change.CRADLE_REMOVED: {"is_cradled": False, "bow": 1.3},
    Change.JOINT_REPAIRED: {"has_open_joint": False},
    Change.AUXILIARY_SUPPORT_FITTED: {"has_auxiliary_support": True},
    Change.WOOD_CONSOLIDATED: {"is_wood_consolidated": True},
    Change.BACK_CLEANED: {"back_dirt": 0.0},
    Change.LABEL_REMOVED: {"has_labels": False},
    Change.BACKING_BOARD_FITTED: {"has_backing_board": True},
    Change.BACKING_BOARD_REMOVED: {"has_backing_board": False},
    Change.WATER_DAMAGED: {"has_water_stain": True},
    Change.TORN: {"has_tear": True},
}
