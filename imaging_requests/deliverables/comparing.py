"""Compare two picture files, and draw the comparison with its sentence inside."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.deliverables.comparability import numbers
from imaging_requests.imaging.alignment.align import align
from imaging_requests.imaging.alignment.limits import Limits as AlignmentLimits
from imaging_requests.imaging.alignment.pictures import UnfitError, picture_of
from imaging_requests.imaging.comparison.chart import compare_charts
from imaging_requests.imaging.comparison.laying import Matrix, as_matrix
from imaging_requests.imaging.comparison.measured import take_measured
from imaging_requests.imaging.comparison.pairing import Comparison, Limits, compare_pair
from imaging_requests.imaging.comparison.reading import Light, read_light
from imaging_requests.imaging.comparison.render import (
    Panel,
    draw_map,
    legend_of,
    sheet,
    to_screen,
)
from imaging_requests.imaging.comparison.set_up import Pair, SetUp
from imaging_requests.imaging.comparison.terms import RAKING, VISIBLE
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.measure.charts import Edition, read_editions
from imaging_requests.intake.limits import read_data, reading_limits

CHARTS = "checks/charts-1.json"
ALIGNMENT = "checks/alignment-1.json"
IDENTITY = "identity"


class Refused(Exception):
    """The pictures cannot be compared; the message says why and what to do."""


@lru_cache(maxsize=1)
def editions() -> dict[str, Edition]:
    """Return the charts that may lie beside a picture."""
    return read_editions(read_data(CHARTS))


def compare_files(
    technique: str,
    before: Path,
    after: Path,
    *,
    matrix: Matrix | None,
    px_per_mm: float | None,
    set_ups: tuple[SetUp, SetUp],
    pair: Pair,
    is_vouched: bool = False,
) -> tuple[Comparison, float, tuple[str, ...]]:
    """Compare two files.

    Returns the comparison, the density of the earlier file it was told in, and notes. Raises
    ``Refused`` for everything that is wrong with the files or the request.
    """
    structures = _structure(before), _structure(after)
    density, notes = _density(px_per_mm, structures[0], before.name)
    lights = _light(before), _light(after)
    if matrix is None:
        matrix = _aligned(*lights)
    used: list[SetUp] = []
    warnings: list[str] = []
    for which, typed, structure in zip(("before", "after"), set_ups, structures, strict=True):
        found, said = take_measured(
            replace(typed, px_per_mm=typed.px_per_mm or None),
            _measured(structure),
            limits=numbers().grades,
            which=which,
        )
        used.append(found)
        warnings += said
    charts = compare_charts(*lights, editions()) if technique in VISIBLE else None
    try:
        compared = compare_pair(
            technique,
            *lights,
            matrix=matrix,
            set_ups=(used[0], used[1]),
            pair=pair,
            limits=Limits(grades=numbers().grades, maps=numbers().maps),
            px_per_mm=density,
            charts=charts,
            warnings=tuple(warnings),
            is_vouched=is_vouched,
        )
    except ValueError as problem:
        raise Refused(str(problem)) from None
    return compared, density, notes


def _structure(path: Path) -> Structure:
    try:
        found = read_structure(path)
    except OSError as problem:
        raise Refused(f"{path} cannot be read: {problem.strerror}.") from None
    if isinstance(found, Unreadable):
        raise Refused(found.sentence)
    return found


def _light(path: Path) -> Light:
    found = read_light(path, most_pixels=numbers().maps.most_pixels, limits=reading_limits())
    if isinstance(found, Unreadable):
        raise Refused(found.sentence)
    return found


def _aligned(before: Light, after: Light) -> Matrix:
    """Find how the later picture lies over the earlier one, in px of the files."""
    try:
        pictures = [picture_of(np.sqrt(np.maximum(each.luminance, 0))) for each in (before, after)]
    except UnfitError as problem:
        raise Refused(str(problem)) from None
    limits = AlignmentLimits.from_settings(read_data(ALIGNMENT))
    found = align(*pictures, limits=limits)
    if found.matrix is None:
        raise Refused(
            f"The two pictures could not be laid over each other. {found.reason} Check that they "
            "show the same face, or give the map from px of AFTER to px of BEFORE with --matrix."
        )
    return as_matrix(before.to_file() @ found.matrix @ np.linalg.inv(after.to_file()))


def _density(given: float | None, structure: Structure, name: str) -> tuple[float, tuple[str, ...]]:
    if given is not None:
        if not 0 < given < float("inf"):
            raise Refused("--px-per-mm must be a number above zero.")
        return given, ()
    stated = structure.resolution_px_per_mm
    if stated is None or not 0 < stated[0] < float("inf"):
        raise Refused(
            f"{name} does not say how many pixels make a millimetre. Give --px-per-mm, measured on "
            "a scale in the picture."
        )
    return stated[0], (
        f"Millimetres rest on the {stated[0]:.3g} px/mm in the header of {name}, which is often a "
        "default and not a measurement. Give --px-per-mm to be sure.",
    )


def _measured(structure: Structure) -> SetUp:
    exif = structure.exif
    if exif is None:
        return SetUp()
    return SetUp(
        camera=exif.model,
        camera_serial=exif.body_serial,
        lens=exif.lens_model,
        lens_serial=exif.lens_serial,
        aperture=exif.f_number,
    )


def read_matrix(text: str) -> Matrix:
    """Read a matrix: nine numbers, JSON, the path of a JSON file, or "identity".

    A JSON object is taken by its key ``matrix``. Raises ``Refused``.
    """
    if text.strip().lower() == IDENTITY:
        return as_matrix(np.eye(3))
    try:
        return as_matrix(_rows(text))
    except ValueError as problem:
        raise Refused(f"--matrix cannot be used. {problem}") from None


def _rows(text: str) -> Any:
    parts = text.replace(",", " ").split()
    if len(parts) == 9:
        try:
            return np.array([float(part) for part in parts]).reshape(3, 3)
        except ValueError:
            pass
    is_json = text.lstrip().startswith(("[", "{"))
    try:
        data = json.loads(text if is_json else Path(text).read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        raise ValueError(
            "It is neither nine numbers nor JSON nor the path of a JSON file."
        ) from None
    if isinstance(data, dict):
        if data.get("matrix") is None:
            raise ValueError("The JSON object holds no matrix.")
        data = data["matrix"]
    if isinstance(data, list) and len(data) == 9:
        return np.reshape(np.array(data, dtype=object), (3, 3)).tolist()
    return data


def draw(
    found: Comparison,
    *,
    captions: tuple[str, str] = ("Before", "After"),
    lamp_from_deg: float | None = None,
) -> NDArray[np.uint8]:
    """Draw both pictures, the map if it may be shown, and the sentence, as one picture."""
    panels = [
        Panel(to_screen(found.before), captions[0]),
        Panel(to_screen(found.after), captions[1]),
    ]
    notes = [found.no_map] if found.no_map else []
    if found.map is not None and found.may_show:
        panels.append(Panel(draw_map(found.map, found.before), "What changed"))
        notes.append(legend_of(found.map))
    is_raking = found.grading.technique == RAKING
    return sheet(
        panels,
        found.grading.sentence,
        notes=notes,
        lamp_from_deg=lamp_from_deg if is_raking else None,
    )
