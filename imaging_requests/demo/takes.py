"""Photograph synthetic paintings into camera files: real 16-bit TIFFs with profile and Exif.

Everything here is independent of the database, so that several processes can work at once. One
process keeps the object that it painted last, for all its visits, in whatever condition it was.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import cv2

from imaging_requests.imaging.synthesis import (
    BackFinish,
    CameraNotes,
    Change,
    Condition,
    Direction,
    Face,
    Painting,
    PaintingSpec,
    Rect,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    build_painting,
    capture,
    edge_extent,
    picture_extent,
    tile_rects,
    write_tiff,
)

SUPPORTS = {
    "canvas": Support.CANVAS,
    "panel": Support.PANEL,
    "copper": Support.COPPER,
    "paper_on_canvas": Support.CLOTH,
    "wood": Support.PANEL,
}
EDGES = (Direction.TOP, Direction.RIGHT, Direction.BOTTOM, Direction.LEFT)


@dataclass(frozen=True, kw_only=True)
class Camera:
    """One camera or detector of the invented studio."""

    make: str
    model: str
    body_serial: str
    lens_model: str
    lens_serial: str
    prefix: str
    iso: int
    base_exposure_s: float
    overlap: float


CAMERAS: dict[str, Camera] = {
    "VF": Camera(
        make="Fenwick Optical",
        model="Bay One",
        body_serial="FO-100413",
        lens_model="Fenwick Repro 120 mm f/5.6",
        lens_serial="FL-20877",
        prefix="BAY",
        iso=100,
        base_exposure_s=1 / 125,
        overlap=0.20,
    ),
    "IR": Camera(
        make="Morrow Instruments",
        model="Longwave 4K",
        body_serial="MI-0077",
        lens_model="Morrow SWIR 100 mm f/8",
        lens_serial="ML-0031",
        prefix="LWA",
        iso=100,
        base_exposure_s=0.04,
        overlap=0.15,
    ),
    "XR": Camera(
        make="Tarn Radiography",
        model="Plate Reader 10",
        body_serial="TR-5520",
        lens_model="no lens",
        lens_serial="none",
        prefix="PLT",
        iso=100,
        base_exposure_s=2.0,
        overlap=0.06,
    ),
}
EXPOSURES_S = {"VF": 1 / 125, "VC": 1 / 8, "RK": 1 / 4, "UV": 8.0, "IR": 0.04, "XR": 2.0}
ISO = {"UV": 200}
#: By how much painters are nicer than the story, which waits for them only where it must.
GIVING_WAY = 10


def camera_for(technique: str) -> Camera:
    """Return the camera that a technique is shot with."""
    return CAMERAS.get(technique, CAMERAS["VF"])


@dataclass(frozen=True, kw_only=True)
class Take:
    """One shot line photographed: what, in which condition of the object, when, and where to."""

    key: str
    technique: str
    face: str
    variant: str
    tiles: tuple[int, int]
    exposures_ev: tuple[float, ...]
    focus_slices: int
    px_per_mm: float
    starts_at: datetime
    zone: str
    folder: Path
    first_counter: int
    changes: tuple[str, ...] = ()
    has_barrier_filter: bool = True
    detail_mm: tuple[float, float, float, float] | None = None

    @property
    def expected_frames(self) -> int:
        """How many files it makes."""
        return math.prod(self.tiles) * len(self.exposures_ev) * self.focus_slices


@dataclass(frozen=True, kw_only=True)
class Sitter:
    """The object whose pictures are taken."""

    number: str
    title: str
    facts: dict[str, Any]
    looks: dict[str, Any]
    takes: tuple[Take, ...] = field(default=())


@dataclass(frozen=True, kw_only=True)
class TakenFrame:
    """A file that was written, and the place in its take that it truly has."""

    take_key: str
    path: Path
    taken_at: datetime
    tile: tuple[int, int]
    ev: float
    focus_slice: int


def spec_of(sitter: Sitter) -> PaintingSpec:
    """Return what the generator needs to know of an object; unknown measures get usual ones."""
    facts, looks = sitter.facts, dict(sitter.looks)
    subject = Subject(looks.pop("subject"))
    back = looks.pop("back_subject", None)
    finish = looks.pop("back_finish", None)
    return PaintingSpec(
        seed=looks.pop("seed"),
        width_mm=facts["width_mm"],
        height_mm=facts["height_mm"],
        depth_mm=facts.get("depth_mm") or 25.0,
        warp_mm=facts.get("warp_mm") or 0.0,
        support=SUPPORTS[facts["support"]],
        subject=subject,
        back_subject=Subject(back) if back else None,
        back_finish=BackFinish(finish) if finish else BackFinish.BARE,
        number=sitter.number,
        title=sitter.title,
        **looks,
    )


def stand_back() -> None:
    """Let this process paint in one thread, and give way to the story that goes on beside it."""
    cv2.setNumThreads(1)
    os.nice(GIVING_WAY)


@dataclass(frozen=True)
class _Easel:
    """A painting at work, and what it looks like in the conditions asked for so far."""

    painting: Painting
    scenes: dict[tuple[str, ...], Scene] = field(default_factory=dict)

    def scene(self, changes: tuple[str, ...]) -> Scene:
        if changes not in self.scenes:
            condition = Condition.initial(self.painting.spec)
            for change in changes:
                condition = condition.after(Change(change))
            self.scenes[changes] = Scene(self.painting, condition)
        return self.scenes[changes]


_at_work: dict[PaintingSpec, _Easel] = {}


def _easel_of(spec: PaintingSpec) -> _Easel:
    """Return the painting at work, or put away the one before it and paint this one."""
    if spec not in _at_work:
        _at_work.clear()
        _at_work[spec] = _Easel(build_painting(spec))
    return _at_work[spec]


def photograph(sitter: Sitter) -> list[TakenFrame]:
    """Take these pictures of one object in their order; returns what was written."""
    spec = spec_of(sitter)
    easel = _easel_of(spec)
    written: list[TakenFrame] = []
    for take in sitter.takes:
        written += _shoot(take, easel.scene(take.changes), spec)
    return written


def _rects(take: Take, spec: PaintingSpec) -> list[tuple[int, int, Rect]]:
    across, down = take.tiles
    technique = Technique(take.technique)
    if take.face == "E":
        return [(index, 0, edge_extent(spec, edge)) for index, edge in enumerate(EDGES)]
    extent = (
        Rect(
            x=take.detail_mm[0],
            y=take.detail_mm[1],
            width=take.detail_mm[2],
            height=take.detail_mm[3],
        )
        if take.detail_mm
        else picture_extent(spec, technique, Face(take.face))
    )
    overlap = camera_for(take.technique).overlap
    field_mm = (
        extent.width / (1 + (across - 1) * (1 - overlap)),
        extent.height / (1 + (down - 1) * (1 - overlap)),
    )
    rects = tile_rects(extent, across, down, field_mm)
    return [(index % across, index // across, rect) for index, rect in enumerate(rects)]


def _shoot(take: Take, scene: Scene, spec: PaintingSpec) -> Iterable[TakenFrame]:
    camera = camera_for(take.technique)
    base_s = EXPOSURES_S[take.technique]
    counter = take.first_counter
    at = take.starts_at
    take.folder.mkdir(parents=True, exist_ok=True)
    for plate, (column, row, rect) in enumerate(_rects(take, spec), 1):
        for focus_slice in range(take.focus_slices):
            for ev in take.exposures_ev:
                exposure_s = base_s * 2**ev
                path = take.folder / f"{camera.prefix}_{counter:04d}.TIF"
                direction = (
                    EDGES[column]
                    if take.face == "E"
                    else Direction(take.variant)
                    if take.technique == "RK"
                    else None
                )
                shot = Shot(
                    technique=Technique(take.technique),
                    tile=rect,
                    px_per_mm=take.px_per_mm,
                    face=Face(take.face),
                    direction=direction,
                    ev=ev,
                    has_barrier_filter=take.has_barrier_filter,
                    room_light=0.002,
                    noise_seed=counter,
                    has_target=take.face != "E" and take.detail_mm is None,
                    plate=plate if take.technique == "XR" else None,
                )
                exposure = capture(scene, shot)
                write_tiff(
                    path,
                    exposure.pixels,
                    px_per_mm=take.px_per_mm,
                    is_linear=exposure.is_linear,
                    compression="none",
                    notes=CameraNotes(
                        taken_at=at.astimezone(ZoneInfo(take.zone)),
                        exposure_s=exposure_s,
                        iso=ISO.get(take.technique, camera.iso),
                        is_flash_fired=take.technique == "VF",
                        make=camera.make,
                        model=camera.model,
                        body_serial=camera.body_serial,
                        lens_model=camera.lens_model,
                        lens_serial=camera.lens_serial,
                    ),
                )
                yield TakenFrame(
                    take_key=take.key,
                    path=path,
                    taken_at=at,
                    tile=(column, row),
                    ev=ev,
                    focus_slice=focus_slice,
                )
                counter += 1
                at += timedelta(seconds=max(2.0, exposure_s + 3.0))
        at += timedelta(seconds=25)
