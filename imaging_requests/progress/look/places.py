"""Where the frames of a picture lie on the face, and what that rests on, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from imaging_requests.collection.models import ObjectFacts
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableKind,
    Join,
    Registration,
)
from imaging_requests.imaging.iiif.info import CONTEXT, PROTOCOL
from imaging_requests.imaging.placing import Placement, by_plan, for_edges
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.limits import recipe
from imaging_requests.intake.models import Derivative
from imaging_requests.pictures.sources import identifier_of
from imaging_requests.reckoning.shots import StudioSettings

FaceSize = tuple[float, float]
SMALL, LARGE = "256", "1024"
#: Edges are laid out below each other with this room between them, mm.
EDGE_GAP_MM = 12.0
PARALLAX = "Parallax: in an X-ray, what lies off the painted surface is shifted."
WHOLE = (DeliverableKind.SINGLE, DeliverableKind.BRACKET)
TRUSTED = (Registration.Verdict.PASS, Registration.Verdict.WARN)
NO_SIZE = (
    "Not measured: the size of the object is not recorded, so positions count from the corner of "
    "the picture and distances rest on the planned density."
)
EDGES = "Not measured: the edges lie below each other; distances rest on the planned density."


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """One frame on the face: its placement by corners, its size in px, and where it comes from.

    `src` is a small picture of the whole frame; `info` describes its tiles to the viewer.
    """

    placement: Placement
    width_px: int
    height_px: int
    src: str
    info: Mapping[str, Any] | None


@dataclass(frozen=True, kw_only=True)
class Placing:
    """How the frames of one picture are laid."""

    row: Deliverable
    size_mm: FaceSize | None
    margin_mm: float
    strip_mm: float
    measured: Placement | None
    error_mm: float | None
    rests_on: str

    def lay(
        self, seat: DeliverableFrame, made: Mapping[str, Derivative], *, is_small: bool = False
    ) -> Laid:
        """Lay one frame; `is_small` where only its small picture is open to the person."""
        frame = seat.frame
        width, height = frame.width_px or 1, frame.height_px or 1
        small = made[LARGE]
        # a small picture of one tile shows more than a small picture of the whole may
        kind = SMALL if is_small and self.row.kind not in WHOLE and SMALL in made else LARGE
        if (small.width_px > small.height_px) != (width > height) and width != height:
            width, height = height, width
        return Laid(
            placement=for_edges(self.measured or self._planned(seat, (width, height))),
            width_px=width,
            height_px=height,
            src=f"{reverse('intake:picture', args=[frame.pk, kind])}?of={small.recipe}",
            info=None if is_small else self._info(seat, made.get(PYRAMID)),
        )

    def lay_joined(self, join: Join, *, is_small: bool = False) -> Laid:
        """Lay the joined picture of the tiles as the one picture it is."""
        size = (join.width_px, join.height_px)
        address = reverse("deliverables:joined", args=[self.row.pk, LARGE])
        return Laid(
            placement=for_edges(self.measured or self._spread(size)),
            width_px=size[0],
            height_px=size[1],
            src=f"{address}?of={join.recipe}",
            info=None if is_small else _described(identifier_of(self.row), size),
        )

    def _info(self, seat: DeliverableFrame, made: Derivative | None) -> Mapping[str, Any] | None:
        """The tiles of a frame; the picture's own address where it stands for this frame."""
        if made is None:
            return None
        is_own = seat.frame_id == self.row.cover_id and self.row.kind in WHOLE
        name = identifier_of(self.row if is_own else seat.frame)
        return _described(name, (made.width_px, made.height_px))

    def _planned(self, seat: DeliverableFrame, size_px: tuple[int, int]) -> Placement:
        step = 1 / self.row.px_per_mm
        if self.row.face == "E":
            top = seat.tile_x * (size_px[1] * step + EDGE_GAP_MM)
            return (step, 0.0, step / 2, 0.0, step, top + step / 2, 0.0, 0.0, 1.0)
        line = self.row.shot_line
        tiles = (1, 1) if line is None else (line.tiles_across, line.tiles_down)
        tile = (min(seat.tile_x, tiles[0] - 1), min(seat.tile_y, tiles[1] - 1))
        return self._spread(size_px, tile, tiles)

    def _spread(
        self,
        size_px: tuple[int, int],
        tile: tuple[int, int] = (0, 0),
        tiles: tuple[int, int] = (1, 1),
    ) -> Placement:
        """Place a picture of the face, or of a part of it, as the plan spreads its tiles."""
        step, detail = 1 / self.row.px_per_mm, self.row.detail_mm
        face = self.size_mm
        left = top = 0.0
        if detail:
            left, top, face = detail[0], detail[1], (detail[2], detail[3])
        if face is None:
            face = (size_px[0] * step, size_px[1] * step)
        margins = (0.0, 0.0) if detail or self.size_mm is None else (self.margin_mm, self.strip_mm)
        a, b, c, d, e, f, *last = by_plan(
            face_mm=face,
            margin_mm=margins[0],
            strip_mm=margins[1],
            size_px=size_px,
            px_per_mm=self.row.px_per_mm,
            tile=tile,
            tiles=tiles,
        )
        return (a, b, c + left, d, e, f + top, last[0], last[1], last[2])


def _described(name: str, size_px: tuple[int, int]) -> Mapping[str, Any]:
    """Describe the tiles of a picture to the viewer without opening its file."""
    side = recipe().tile_px
    factors = [1]
    while max(size_px) > side * factors[-1]:
        factors.append(factors[-1] * 2)
    return {
        "@context": CONTEXT,
        "protocol": PROTOCOL,
        "id": reverse("pictures:base", args=[name]),
        "profile": "level2",
        "width": size_px[0],
        "height": size_px[1],
        "tiles": [{"width": side, "height": side, "scaleFactors": factors}],
    }


def size_of(facts: ObjectFacts | None) -> FaceSize | None:
    """Return width and height of the face, if both are recorded."""
    if facts is None or not facts.width_mm or not facts.height_mm:
        return None
    return facts.width_mm, facts.height_mm


def placing_of(
    row: Deliverable,
    size: FaceSize | None,
    studio: StudioSettings | None,
    measured: Registration | None,
    join: Join | None = None,
) -> Placing:
    """Decide how a picture is laid: by what was measured if that can be trusted, else by plan.

    `join`: the joining that stands for its tiles.
    """
    margin, strip = _margins(row, studio)
    trusted = _trusted(row, measured, join)
    return Placing(
        row=row,
        size_mm=size,
        margin_mm=margin,
        strip_mm=strip,
        measured=trusted,
        error_mm=measured.residual_mm if measured is not None and trusted is not None else None,
        rests_on=" ".join(
            [
                _rests_on(row, size, measured, is_used=trusted is not None),
                *([PARALLAX] if row.technique == "XR" else []),
            ]
        ),
    )


def _margins(row: Deliverable, studio: StudioSettings | None) -> tuple[float, float]:
    if studio is None or row.technique.lower() not in studio.methods:
        return 0.0, 0.0
    station = studio.stations[studio.method(row.technique.lower()).station]
    return station.margin_mm, station.target_strip_mm


def _trusted(
    row: Deliverable, measured: Registration | None, join: Join | None
) -> Placement | None:
    """A map of the whole picture; a map of one of several tiles says nothing about the others."""
    line = row.shot_line
    is_one = join is not None or line is None or line.tiles_across * line.tiles_down == 1
    if measured is not None and measured.join_id != (join.pk if join is not None else None):
        return None
    if measured is None or measured.verdict not in TRUSTED or not is_one:
        return None
    flat: list[Any] = [value for each in measured.px_to_face_mm or () for value in each]
    if len(flat) != 9 or measured.frame_id != row.cover_id:
        return None
    a, b, c, d, e, f, g, h, i = (float(value) for value in flat)
    return (a, b, c, d, e, f, g, h, i)


def _rests_on(
    row: Deliverable, size: FaceSize | None, measured: Registration | None, *, is_used: bool
) -> str:
    if is_used and measured is not None:
        means = Registration.Means(measured.means).label
        words = f"Measured on {means[:1].lower()}{means[1:]}, to {measured.residual_mm:.2g} mm."
        return f"{words} {measured.reason}".strip()
    if row.face == "E":
        return EDGES
    if size is None and not row.detail_mm:
        return NO_SIZE
    plan = f"placed by the planned density of {row.px_per_mm:.3g} px/mm and the planned margins"
    if measured is not None and measured.reason:
        return f"Not measured: {plan}. {measured.reason}"
    return f"Not measured: {plan}."
