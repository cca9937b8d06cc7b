"""Compare two picture files, and draw the comparison with its sentence inside."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.alignment.align import align
from imaging_requests.imaging.alignment.limits import Limits as AlignmentLimits
from imaging_requests.imaging.alignment.pictures import UnfitError, picture_of
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.limits import Limits as ReadingLimits
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.measure.charts import Edition, read_editions
from imaging_requests.imaging.measure.plan import Tools as MeasureTools
from imaging_requests.imaging.measure.traits import Traits

from .chart import compare_charts
from .face import face_of, find_corners
from .laying import Matrix, as_matrix
from .limits import GradeLimits, MapLimits
from .measured import take_measured
from .pairing import Comparison, Limits, compare_pair
from .reading import Light, read_light
from .render import Panel, draw_map, legend_of, sheet, to_screen
from .set_up import Pair, SetUp
from .targets import pair_by, read_traits, set_up_by
from .terms import INFRARED, RAKING, ULTRAVIOLET, VISIBLE

DATA_NAMES = ("comparability-1.json", "alignment-1.json", "charts-1.json")
IDENTITY = "identity"
#: Techniques whose set-up shows in targets; charts are found while the pictures are compared.
WITH_TARGETS = (RAKING, ULTRAVIOLET, INFRARED)


class RefusedError(Exception):
    """The pictures cannot be compared; the message says why and what to do.

    `is_alignment`: because no map between them was found; somebody may know it.
    """

    def __init__(self, sentence: str, *, is_alignment: bool = False) -> None:
        super().__init__(sentence)
        self.is_alignment = is_alignment


@dataclass(frozen=True, slots=True)
class Tools:
    """Limits, numbers and charts that a comparison needs."""

    limits: Limits
    alignment: AlignmentLimits
    editions: Mapping[str, Edition]


@lru_cache(maxsize=4)
def read_tools(folder: str) -> Tools:
    """Read them from a folder of data files; raises `DataError` if something is missing."""
    numbers, alignment, charts = (
        json.loads((Path(folder) / name).read_text(encoding="utf-8")) for name in DATA_NAMES
    )
    return Tools(
        Limits(grades=GradeLimits.from_settings(numbers), maps=MapLimits.from_settings(numbers)),
        AlignmentLimits.from_settings(alignment),
        read_editions(charts),
    )


def compare_files(
    technique: str,
    before: Path,
    after: Path,
    *,
    tools: Tools,
    reading: ReadingLimits,
    matrix: Matrix | None,
    px_per_mm: float | None,
    set_ups: tuple[SetUp, SetUp],
    pair: Pair,
    is_vouched: bool = False,
    face_px: NDArray[np.float64] | None = None,
    face_mm: tuple[float, float] | None = None,
    no_face: str = "",
    station_floor: float | None = None,
    warnings: tuple[str, ...] = (),
    measuring: MeasureTools | None = None,
) -> tuple[Comparison, float, tuple[str, ...]]:
    """Compare two files.

    Args:
        reading: What decoding one file may cost.
        matrix: px of the later file to px of the earlier one; None to find it.
        px_per_mm: Density of the earlier file; None to take what its header says.
        face_px: Corners of the face in px of the earlier file, (n, 2); None to look for them.
        face_mm: Recorded width and height of the face; None if they are not known.
        no_face: Why there is no outline to look for, as part of a sentence; empty if there is.
        station_floor: See `compare_pair`.
        warnings: What is said beside what the files themselves contradict.
        measuring: With these the targets in both files are read; None if they have been already.

    Returns:
        The comparison, the density of the earlier file it was told in, and notes.

    Raises:
        RefusedError: Something is wrong with the files or the request; says what.
    """
    structures = _structure(before), _structure(after)
    density, notes = _density(px_per_mm, structures[0], before.name)
    maps = tools.limits.maps
    lights = _light(before, maps, reading), _light(after, maps, reading)
    if matrix is None:
        matrix = _aligned(*lights, tools.alignment)
    used: list[SetUp] = []
    said = list(warnings)
    traits = (Traits(), Traits())
    if measuring is not None and technique in WITH_TARGETS:
        known: Any = {"px_per_mm": density, "tools": measuring, "limits": reading}
        traits = (
            read_traits(before, technique, **known),
            read_traits(after, technique, **known),
        )
        pair = pair_by(technique, *traits, pair)
    for which, typed, structure, shown in zip(
        ("before", "after"), set_ups, structures, traits, strict=True
    ):
        found, contradictions = take_measured(
            replace(typed, px_per_mm=typed.px_per_mm or None),
            _measured(structure, set_up_by(technique, shown)),
            limits=tools.limits.grades,
            which=which,
        )
        used.append(found)
        said += [each for each in contradictions if each not in said]
    corners: NDArray[np.float64] | str | None = no_face or face_px
    if corners is None:
        corners = find_corners(
            lights, matrix=matrix, px_per_mm=density, size_mm=face_mm, limits=maps
        )
    charts = compare_charts(*lights, tools.editions) if technique in VISIBLE else None
    try:
        compared = compare_pair(
            technique,
            *lights,
            matrix=matrix,
            set_ups=(used[0], used[1]),
            pair=pair,
            limits=tools.limits,
            px_per_mm=density,
            charts=charts,
            face=corners
            if isinstance(corners, str)
            else face_of(corners, lights[0], px_per_mm=density, limits=maps),
            station_floor=station_floor,
            warnings=tuple(said),
            is_vouched=is_vouched,
        )
    except ValueError as problem:
        raise RefusedError(str(problem)) from None
    return compared, density, notes


def _structure(path: Path) -> Structure:
    try:
        found = read_structure(path)
    except OSError as problem:
        raise RefusedError(f"{path} cannot be read: {problem.strerror}.") from None
    if isinstance(found, Unreadable):
        raise RefusedError(found.sentence)
    return found


def _light(path: Path, maps: MapLimits, reading: ReadingLimits) -> Light:
    found = read_light(path, most_pixels=maps.most_pixels, limits=reading)
    if isinstance(found, Unreadable):
        raise RefusedError(found.sentence)
    return found


def _aligned(before: Light, after: Light, limits: AlignmentLimits) -> Matrix:
    """Find how the later picture lies over the earlier one, in px of the files."""
    try:
        pictures = [picture_of(np.sqrt(np.maximum(each.luminance, 0))) for each in (before, after)]
    except UnfitError as problem:
        raise RefusedError(str(problem)) from None
    found = align(*pictures, limits=limits)
    if found.matrix is None:
        raise RefusedError(
            f"The two pictures could not be laid over each other. {found.reason}",
            is_alignment=True,
        )
    return as_matrix(before.to_file() @ found.matrix @ np.linalg.inv(after.to_file()))


def _density(given: float | None, structure: Structure, name: str) -> tuple[float, tuple[str, ...]]:
    if given is not None:
        if not 0 < given < float("inf"):
            raise RefusedError("--px-per-mm must be a number above zero.")
        return given, ()
    stated = structure.resolution_px_per_mm
    if stated is None or not 0 < stated[0] < float("inf"):
        raise RefusedError(
            f"{name} does not say how many pixels make a millimetre. Give --px-per-mm, measured on "
            "a scale in the picture."
        )
    return stated[0], (
        f"Millimetres rest on the {stated[0]:.3g} px/mm in the header of {name}, which is often a "
        "default and not a measurement. Give --px-per-mm to be sure.",
    )


def _measured(structure: Structure, by_targets: SetUp) -> SetUp:
    exif = structure.exif
    if exif is None:
        return by_targets
    return replace(
        by_targets,
        camera=exif.model,
        camera_serial=exif.body_serial,
        lens=exif.lens_model,
        lens_serial=exif.lens_serial,
        aperture=exif.f_number,
    )


def read_matrix(text: str) -> Matrix:
    """Read a matrix: nine numbers, JSON, the path of a JSON file, or "identity".

    A JSON object is taken by its key ``matrix``. Raises ``RefusedError``.
    """
    if text.strip().lower() == IDENTITY:
        return as_matrix(np.eye(3))
    try:
        return as_matrix(_rows(text))
    except ValueError as problem:
        raise RefusedError(f"--matrix cannot be used. {problem}") from None


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
        notes.append(legend_of(found.map, found.no_face))
    is_raking = found.grading.technique == RAKING
    return sheet(
        panels,
        found.grading.sentence,
        notes=notes,
        lamp_from_deg=lamp_from_deg if is_raking else None,
    )
