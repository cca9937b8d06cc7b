"""Lay one picture file over another: open both, align, answer in px of the files."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imaging_requests.imaging.files.limits import Limits as ReadingLimits

from .align import Alignment, Verdict, align
from .limits import Limits
from .matrices import Matrix, inverse, normalise
from .pictures import UnfitError
from .reading import open_picture

MAPS = "moving px (x, y) to reference px (x, y); (0, 0) is the centre of the top left pixel"
SCHEMA = Path(__file__).parent / "schemas" / "align.json"


@dataclass(frozen=True, kw_only=True, eq=False)
class FileAlignment:
    """What was found for two files; sizes are (width, height) px, None if a file gave none.

    `matrix`, `residual_px` and `bend_px` are those of the full pictures, also when they were
    read reduced.
    """

    reference: Path
    moving: Path
    reference_size: tuple[int, int] | None
    moving_size: tuple[int, int] | None
    matrix: Matrix | None
    residual_px: float | None
    bend_px: float | None
    found: Alignment | None
    reason: str
    limits: Limits

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON, as the schema describes them."""
        found = self.found if self.matrix is not None else None
        return {
            "reference": _file(self.reference, self.reference_size),
            "moving": _file(self.moving, self.moving_size),
            "verdict": "aligned" if found is not None else "cannot tell",
            "reason": self.reason,
            "maps": MAPS,
            "matrix": None if self.matrix is None else self.matrix.tolist(),
            "model": None if found is None or found.model is None else found.model.value,
            "residual_px": self.residual_px,
            "bend_px": self.bend_px,
            "bend_place": "" if found is None else found.bend_place,
            "held_out_px": None if found is None else found.held_out_px,
            "parts": 0 if self.found is None else self.found.parts,
            "agreeing_share": 0.0 if self.found is None else self.found.agreeing,
            "chance_log10": 0.0 if self.found is None else -self.found.middle_evidence,
            "limits_version": self.limits.version,
        }


def _file(path: Path, size: tuple[int, int] | None) -> dict[str, Any]:
    width, height = size or (None, None)
    return {"file": path.name, "width_px": width, "height_px": height}


def align_files(
    reference: Path, moving: Path, *, limits: Limits, reading: ReadingLimits
) -> FileAlignment:
    """Find the map between two files; what cannot be read or told is an answer with a reason."""
    sizes: list[tuple[int, int] | None] = [None, None]
    opened = []
    for index, path in enumerate((reference, moving)):
        try:
            one = open_picture(path, limits=reading)
        except UnfitError as error:
            return FileAlignment(
                reference=reference,
                moving=moving,
                reference_size=sizes[0],
                moving_size=sizes[1],
                matrix=None,
                residual_px=None,
                bend_px=None,
                found=None,
                reason=str(error),
                limits=limits,
            )
        sizes[index] = (one.width_px, one.height_px)
        opened.append(one)
    fixed, other = opened
    found = align(fixed.picture, other.picture, limits=limits)
    matrix = residual = bend = None
    if found.verdict is Verdict.ALIGNED and found.matrix is not None:
        to_file = inverse(fixed.to_picture)
        matrix = normalise(to_file @ found.matrix @ other.to_picture)
        px = float(to_file[0, 0])
        residual = None if found.residual_px is None else found.residual_px * px
        bend = found.bend_px * px
    return FileAlignment(
        reference=reference,
        moving=moving,
        reference_size=sizes[0],
        moving_size=sizes[1],
        matrix=matrix,
        residual_px=residual,
        bend_px=bend,
        found=found,
        reason=found.reason,
        limits=limits,
    )


def load_schema() -> dict[str, Any]:
    """Return the JSON schema of the answer."""
    schema: dict[str, Any] = json.loads(SCHEMA.read_text("utf-8"))
    return schema
