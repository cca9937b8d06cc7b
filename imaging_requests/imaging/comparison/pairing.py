"""Two pictures from files to one comparison: laid over, normalised, graded, mapped where honest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .change import ChangeMap, change_map, combined_floor
from .chart import ChartPair
from .face import Face
from .fit import Fit, fit_of
from .grading import Grading, grade_pair, may_map
from .laying import Matrix, lay_over
from .limits import GradeLimits, MapLimits
from .reading import Light
from .set_up import Pair, SetUp
from .terms import INFRARED, RAKING, ULTRAVIOLET, VISIBLE, Comparability

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """Everything that is said about a pair.

    Attributes:
        grading: Grade, rows, sentence.
        fit: How well the pictures lie over each other; None when they were not laid.
        charts: Both charts; None outside visible light.
        map: The change map; None where none can be computed, see ``no_map``.
        may_show: Whether the map may be shown and exported: grade and technique allow it.
        no_map: Why there is no map, or why it may not be shown; empty if it may.
        no_face: Why the place of the face is not known and shares are of the picture; empty if it
            is.
        before, after: Light on one raster, ``after`` laid over and normalised.
    """

    grading: Grading
    fit: Fit | None
    charts: ChartPair | None
    map: ChangeMap | None
    may_show: bool
    no_map: str
    no_face: str
    before: NDArray[np.float32]
    after: NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of the grade and numbers of the map."""

    grades: GradeLimits
    maps: MapLimits


def compare_pair(
    technique: str,
    before: Light,
    after: Light,
    *,
    matrix: Matrix,
    set_ups: tuple[SetUp, SetUp],
    pair: Pair,
    limits: Limits,
    px_per_mm: float,
    face: Face | str,
    charts: ChartPair | None = None,
    station_floor: float | None = None,
    warnings: tuple[str, ...] = (),
    is_vouched: bool = False,
) -> Comparison:
    """Compare two pictures of one view.

    Args:
        before, after: Reduced light of both files.
        matrix: px of the later file → px of the earlier file.
        px_per_mm: Density of the earlier file.
        charts: From ``compare_charts``; their greys normalise and their disagreement widens the
            floor. Without them ultraviolet and infrared are scaled by the reference patch, if
            ``pair`` says what it differs by, and nothing else is normalised.
        face: The face on the raster of ``before``; or why its place is not known, which takes all
            that both show.
        is_vouched: See ``grade_pair``.
        station_floor: ``noise_floor`` of the station's test and retest pair; None if there is none.

    Raises:
        ValueError: One picture has colour and the other has not.
    """
    if before.is_grey != after.is_grey:
        raise ValueError("One picture is in colour and the other is grey; they show other things.")
    small = np.linalg.inv(before.to_file()) @ matrix @ after.to_file()
    laid, known = lay_over(after.values, small, before.values.shape[:2])
    inside = known if isinstance(face, str) else known & face.inner
    fit = fit_of(before.luminance, _luminance(laid), inside)
    is_saturated = _is_saturated(before.luminance, limits.maps)
    is_saturated |= _is_saturated(_luminance(laid), limits.maps)
    floor, disagreement = _station_floor(technique, station_floor, limits.maps), 0.0
    is_scaled = False
    if charts is not None and charts.gain is not None:
        laid = np.asarray(laid * np.asarray(charts.gain, np.float32), np.float32)
        is_scaled = True
        disagreement = charts.after_gain or 0.0
    elif (scale := _patch_scale(technique, pair)) is not None:
        laid = np.asarray(laid * np.float32(scale), np.float32)
        is_scaled = True
    floor = combined_floor(floor, disagreement)
    pair = _with_measured(pair, matrix, charts)
    grading = grade_pair(
        technique,
        *set_ups,
        pair,
        limits=limits.grades,
        floor=floor_words(technique, floor),
        warnings=warnings,
        is_vouched=is_vouched,
    )
    reason = _why_no_map(grading, fit, inside, limits.grades)
    found = None
    if grading.grade is not Comparability.N and technique != RAKING and fit.residual_px is not None:
        found = change_map(
            _mapped(technique, before.values),
            _mapped(technique, laid),
            inside=inside,
            residual_px=fit.residual_px,
            px_per_mm=px_per_mm / before.step,
            floor=floor,
            limits=limits.maps,
            face=None if isinstance(face, str) else face.whole,
            saturated=is_saturated,
        )
        reason = reason or ("" if is_scaled else _why_unscaled(found))
    return Comparison(
        grading=grading,
        fit=fit,
        charts=charts,
        map=found,
        may_show=found is not None and not reason,
        no_map=reason,
        no_face=face if isinstance(face, str) else "",
        before=before.values,
        after=laid,
    )


def _patch_scale(technique: str, pair: Pair) -> float | None:
    """Factor that brings the later picture to the light of the earlier by the reference patch.

    >>> _patch_scale("UV", Pair(patch_percent=-20)), _patch_scale("XR", Pair(patch_percent=-20))
    (1.25, None)
    """
    if technique not in (ULTRAVIOLET, INFRARED) or pair.patch_percent is None:
        return None
    share = 1 + pair.patch_percent / 100
    return 1 / share if share > 0 else None


def _is_saturated(light: NDArray[np.float32], limits: MapLimits) -> Mask:
    return np.asarray(light >= limits.saturated_level, bool)


def _why_unscaled(found: ChangeMap) -> str:
    """Why pictures whose light nothing scaled make no map: more than half of it differs."""
    known = found.change.size[found.inside & np.isfinite(found.change.size)]
    if known.size == 0 or float(np.median(known)) <= found.floor:
        return ""
    return (
        "More than half of the picture differs, and no chart or patch that both pictures show "
        "scales their light: this is the lamp or the exposure before it is the object. Compare "
        "them side by side, or hand in what the patches differ by."
    )


def _mapped(technique: str, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """What a map rests on: colour in visible light, else the luminance alone."""
    return values if technique in VISIBLE else _luminance(values)


def _luminance(values: NDArray[np.float32]) -> NDArray[np.float32]:
    return values if values.ndim == 2 else values[..., 1]


def _with_measured(pair: Pair, matrix: Matrix, charts: ChartPair | None) -> Pair:
    """What the files show of the pair overrides what was handed in."""
    scale = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))
    pair = replace(pair, px_per_mm_ratio=1 / scale)
    if charts is None or charts.has_both is None:
        return pair
    return replace(pair, has_chart=charts.has_both, chart_delta_e=charts.mean_delta_e)


def _station_floor(technique: str, measured: float | None, limits: MapLimits) -> float:
    is_colour = technique in VISIBLE
    least = limits.least_floor_delta_e if is_colour else limits.least_floor_percent
    return max(least, measured or 0.0)


def floor_words(technique: str, floor: float) -> str:
    """Say what cannot be told apart; empty where no map is made.

    >>> floor_words("VF", 2.4), floor_words("UV", 10), floor_words("RK", 1)
    ('colour differences under 2.4 ΔE00', 'differences under 10 % of the light', '')
    """
    if technique in VISIBLE:
        return f"colour differences under {floor:.1f} ΔE00"
    return "" if technique == RAKING else f"differences under {floor:.0f} % of the light"


def _why_no_map(grading: Grading, fit: Fit, inside: Mask, limits: GradeLimits) -> str:
    """Why a map is not made or not shown; empty if it may be shown."""
    if grading.technique == RAKING:
        return "Raking pictures are compared side by side; shadows make no map."
    if grading.grade is Comparability.N:
        return "Pictures of grade N are not compared."
    if not inside.any():
        return "The matrix lays the later picture beside the earlier one; nothing lies over it."
    if fit.residual_px is None or fit.agreeing < limits.least_inliers:
        return (
            f"Only {100 * fit.agreeing:.0f} % of the parts of the two pictures lie over each other "
            f"({100 * limits.least_inliers:.0f} % are needed), so a map cannot be told. Align them "
            "again, or check that they show the same face."
        )
    if not may_map(grading.technique, grading.grade):
        return f"At grade {grading.grade.value} the pictures are shown side by side only."
    return ""
