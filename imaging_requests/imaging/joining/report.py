"""What is said about a join: places, verdict, residuals, levels and holes, as plain values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from imaging_requests.imaging.joining.words import Place, Turn

REPORT_VERSION = 1


class Verdict(StrEnum):
    """Whether the joined picture may be relied on."""

    JOINED = "joined"
    UNCERTAIN = "uncertain"


class OrderVerdict(StrEnum):
    """What became of the order that was given."""

    AS_GIVEN = "as_given"
    CORRECTED = "corrected"
    FOUND = "found"
    UNCERTAIN = "uncertain"


@dataclass(frozen=True, slots=True, kw_only=True)
class TileReport:
    """One tile. ``matrix``: stored px → px of the joined picture; None if it was left out."""

    number: int
    name: str
    place: Place | None
    given: Place | None
    turn: Turn
    matrix: list[list[float]] | None
    gain: float
    offset: float
    evidence: float
    rival: float
    why_left_out: str = ""

    def as_data(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "number": self.number,
            "name": self.name,
            "column": self.place.column if self.place else None,
            "row": self.place.row if self.place else None,
            "given_column": self.given.column if self.given else None,
            "given_row": self.given.row if self.given else None,
            "quarter_turns": self.turn.quarters,
            "is_mirrored": self.turn.is_mirrored,
            "matrix": self.matrix,
            "gain": self.gain,
            "offset": self.offset,
            "evidence": round(self.evidence, 2),
            "rival": round(self.rival, 2),
            "why_left_out": self.why_left_out,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamReport:
    """One overlap. Steps in % of the range of levels; residuals in px of the joined picture."""

    first: int
    second: int
    side: str
    overlap_px: float
    patches: int
    agreeing: int
    is_proven: bool
    rms_px: float
    step_before_percent: float
    step_percent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidualPoint:
    """How far two tiles disagree at a place of the joined picture, px; ``weight`` 0 to 1."""

    x: float
    y: float
    dx: float
    dy: float
    weight: float
    first: int
    second: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinReport:
    """The whole of it; ``reasons`` say in sentences why the verdict is what it is."""

    verdict: Verdict
    order: OrderVerdict
    columns: int
    rows: int
    width_px: int
    height_px: int
    model: str
    scale: float
    rms_px: float
    rms_mm: float | None
    worst_px: float
    levels_model: str
    levels_common: float
    worst_step_percent: float
    tiles: tuple[TileReport, ...]
    seams: tuple[SeamReport, ...]
    residuals: tuple[ResidualPoint, ...]
    holes: tuple[tuple[int, int, int, int], ...]
    uncovered_percent: float
    reasons: tuple[str, ...]
    notes: tuple[str, ...] = ()
    output: str = ""
    inverted: str = ""
    settings_version: int = 1

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON; described by ``schemas/join_tiles.json``."""
        return {
            "report_version": REPORT_VERSION,
            "verdict": self.verdict.value,
            "order": self.order.value,
            "columns": self.columns,
            "rows": self.rows,
            "width_px": self.width_px,
            "height_px": self.height_px,
            "model": self.model,
            "scale": self.scale,
            "rms_px": round(self.rms_px, 5),
            "rms_mm": None if self.rms_mm is None else round(self.rms_mm, 5),
            "worst_px": round(self.worst_px, 5),
            "levels_model": self.levels_model,
            "levels_common": self.levels_common,
            "worst_step_percent": round(self.worst_step_percent, 4),
            "tiles": [tile.as_data() for tile in self.tiles],
            "seams": [_rounded(seam) for seam in self.seams],
            "residuals": [_rounded(point) for point in self.residuals],
            "holes": [{"left": x, "top": y, "width": w, "height": h} for x, y, w, h in self.holes],
            "uncovered_percent": round(self.uncovered_percent, 3),
            "reasons": list(self.reasons),
            "notes": list(self.notes),
            "output": self.output,
            "inverted": self.inverted,
            "settings_version": self.settings_version,
        }


def _rounded(item: SeamReport | ResidualPoint) -> dict[str, Any]:
    return {
        name: round(value, 4) if isinstance(value, float) else value
        for name in item.__slots__
        for value in (getattr(item, name),)
    }


def order_sentences(tiles: Sequence[TileReport], columns: int) -> list[str]:
    """Say in words what differs from the order that was given."""
    said = []
    for tile in tiles:
        if not tile.turn.is_upright:
            said.append(f"Tile {tile.number} ({tile.name}) lies {tile.turn.words} in its file.")
    moved = [t for t in tiles if t.place and t.given and t.place != t.given]
    if moved and all(
        t.place == Place(columns - 1 - t.given.column, t.given.row)
        for t in tiles
        if t.place and t.given
    ):
        said.append(
            "The tiles are numbered from right to left: either they were counted from the back, or "
            "every picture is mirrored. Only a person can tell which."
        )
        return said
    at = {t.given: t for t in tiles if t.given}
    told: set[int] = set()
    for tile in moved:
        other = at.get(tile.place) if tile.place is not None else None
        if tile.number in told:
            continue
        if other is not None and other.place == tile.given:
            said.append(f"Tiles {tile.number} and {other.number} fit the other way round.")
            told |= {tile.number, other.number}
        elif tile.place is not None:
            said.append(
                f"Tile {tile.number} fits in column {tile.place.column + 1}, row "
                f"{tile.place.row + 1}."
            )
    return said
