"""Where does a picture lie on its face, and is it the right way round? Computed, never typed.

A visible picture is laid on the face by its outline and the recorded size; every other one by the
visible picture of the same face. X-rays, taken through the object, lie on the front. All of it is
computed on the program's own small copies; masters are not opened.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from django.conf import settings
from django.db.models import Case, IntegerField, Value, When
from django.utils import timezone

from imaging_requests.collection.queries import facts_now
from imaging_requests.deliverables import joined
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableKind,
    DeliverableState,
    Join,
    Registration,
)
from imaging_requests.imaging.alignment.align import Alignment, align
from imaging_requests.imaging.alignment.face_map import map_outline, mm_per_px
from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.matrices import Matrix, inverse, normalise, scaling
from imaging_requests.imaging.alignment.pictures import Picture, UnfitError, picture_of
from imaging_requests.imaging.files.data_values import take_number, take_whole
from imaging_requests.imaging.measure.outline import NoOutline, find_outline
from imaging_requests.imaging.measure.scale import check_enlargement
from imaging_requests.imaging.orientation.limits import Limits as TurnLimits
from imaging_requests.imaging.orientation.turns import Answer, Orientation, Turn, find_turn
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.limits import measurement_rules, read_data
from imaging_requests.intake.models import Derivative, FileCheck, Frame

#: Raised whenever the same pictures may give another map; old maps are then made again.
CODE_VERSION = 2
VISIBLE = ("VF", "VC")
WHOLE = (DeliverableKind.SINGLE, DeliverableKind.BRACKET)
USED = (DeliverableState.ACCEPTED, DeliverableState.TO_REVIEW, DeliverableState.BUILDING)
OPEN = (DeliverableState.BUILDING, DeliverableState.TO_REVIEW)
TURN_RULE, SCALE_RULE = "G11", "X7"
X_RAY = "XR"
Verdict = Registration.Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """The numbers of registration, from versioned data."""

    pass_mm: float
    warn_mm: float
    longest_px: int
    outline_error_px: float
    proportion_percent: float
    batch: int
    alignment: Limits
    turns: TurnLimits


@lru_cache(maxsize=1)
def numbers() -> Numbers:
    """Read the numbers once."""
    data = read_data("checks/registration-1.json")
    return Numbers(
        pass_mm=take_number(data, "registration.pass_mm"),
        warn_mm=take_number(data, "registration.warn_mm"),
        longest_px=take_whole(data, "registration.longest_px"),
        outline_error_px=take_number(data, "registration.outline_error_px"),
        proportion_percent=take_number(data, "registration.proportion_percent"),
        batch=take_whole(data, "registration.batch"),
        alignment=Limits.from_settings(read_data("checks/alignment-1.json")),
        turns=TurnLimits.from_settings(read_data("checks/orientation-1.json")),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Small:
    """A small copy in memory: values of 0 to 255, and the map to px of the shown picture.

    `join`: the joining of tiles it was made from, if it was not made from one frame.
    """

    values: np.ndarray
    to_full: Matrix
    width_px: int
    height_px: int
    join: Join | None = None

    def picture(self) -> Picture:
        """Return it ready to be aligned; raises `UnfitError` with a sentence."""
        return picture_of(self.values)


@dataclass(frozen=True, kw_only=True, eq=False)
class Registered:
    """A row to keep, unsaved, and what the check G11 found on the way."""

    row: Registration
    checks: tuple[FileCheck, ...]


def reference_of(row: Deliverable) -> Registration | None:
    """Return the map of the visible picture that others of this face are laid over."""
    face = "F" if row.face == "T" else row.face
    accepted_first = Case(
        When(deliverable__state=DeliverableState.ACCEPTED, then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    return (
        Registration.objects.filter(
            code_version=CODE_VERSION,
            means=Registration.Means.OUTLINE,
            verdict__in=(Verdict.PASS, Verdict.WARN),
            deliverable__object=row.object_id,
            deliverable__face=face,
            deliverable__technique__in=VISIBLE,
            deliverable__state__in=USED,
        )
        .exclude(deliverable=row.pk)
        .select_related("deliverable", "frame", "join")
        .order_by(accepted_first, "-deliverable__technique", "-deliverable__captured_at")
        .first()
    )


def small_copy(frame_id: int, longest_px: int) -> Small | None:
    """Read the picture made for the screen, reduced; None if there is none that can be read."""
    found = Derivative.objects.filter(frame=frame_id, kind=PYRAMID).first()
    if found is None:
        return None
    path = Path(settings.DERIVED_DIR) / found.path
    return _small(joined.JoinedFile(path, found.width_px, found.height_px), longest_px)


def small_joined(join: Join, longest_px: int) -> Small | None:
    """Read a joined picture, reduced; None if there is none that can be read."""
    found = joined.pyramid_of(join)
    small = _small(found, longest_px) if found is not None else None
    return replace(small, join=join) if small is not None else None


def _small(file: joined.JoinedFile, longest_px: int) -> Small | None:
    try:
        image = pyvips.Image.thumbnail(str(file.path), longest_px, height=longest_px, size="down")
        values = np.asarray(image.numpy())
    except pyvips.Error:
        return None
    back = scaling(file.width_px / values.shape[1], file.height_px / values.shape[0])
    return Small(values=values, to_full=back, width_px=file.width_px, height_px=file.height_px)


def register_picture(row: Deliverable) -> Registered | None:
    """Compute where a picture lies; None if it has no frame that is shown, so nothing to say."""
    if row.cover_id is None:
        return None
    join = joined.standing_join(row)
    longest_px = numbers().longest_px
    small = small_copy(row.cover_id, longest_px) if join is None else small_joined(join, longest_px)
    if small is None:
        return None
    if row.detail_mm or row.face == "E" or (row.kind not in WHOLE and join is None):
        why = (
            "It shows a part of the face only."
            if row.detail_mm
            else "Edges have no face of their own to lie on."
            if row.face == "E"
            else "It is made of several tiles that are not joined to one picture."
        )
        nothing = _nothing(row, small, why)
        is_scaled = row.technique == X_RAY and row.state in OPEN
        checks: tuple[FileCheck, ...] = (_scale_check(row, nothing, small),) if is_scaled else ()
        return Registered(row=nothing, checks=checks)
    reference = reference_of(row)
    checks = ()
    laid = _by_outline(row, small) if row.technique in VISIBLE else None
    if reference is not None and (laid is None or row.state in OPEN):
        by_reference, checks = _by_reference(row, small, reference)
        if laid is None or (laid.verdict == Verdict.CANNOT_TELL):
            laid = by_reference
    if laid is None:
        laid = _nothing(
            row, small, "There is no visible picture of this face yet that lies on its outline."
        )
    if row.technique == X_RAY:
        checks = (*checks, _scale_check(row, laid, small))
    return Registered(row=laid, checks=checks if row.state in OPEN else ())


def _scale_check(row: Deliverable, laid: Registration, small: Small) -> FileCheck:
    """X7: by where an X-ray lies on the face, its scale against the distances of the card."""
    rules = measurement_rules()
    if laid.px_to_face_mm is None or laid.residual_mm is None:
        because = f"Not checked: needs the X-ray laid on the visible picture. {laid.reason}"
        found = rules.unknown(SCALE_RULE, because)
    else:
        to_face = np.array(laid.px_to_face_mm, np.float64)
        size_mm = mm_per_px(to_face, small.width_px, small.height_px)
        reach_mm = float(np.hypot(small.width_px, small.height_px)) / 2 * size_mm
        card = None if row.shot_line is None else row.shot_line.setup_card
        values = {} if card is None else card.values
        found = check_enlargement(
            1 / size_mm,
            row.px_per_mm,
            source_detector_mm=_distance(values, "source_detector_mm"),
            object_detector_mm=_distance(values, "object_detector_mm"),
            error_percent=100 * laid.residual_mm / reach_mm,
            rules=rules,
        )
    return FileCheck(
        frame=_cover(row),
        rule=found.rule_id,
        rule_version=found.rule_version,
        value="" if found.value is None else f"{found.value:g}",
        unit=found.unit,
        limit=found.limit,
        verdict=found.outcome.value,
        sentence=found.sentence,
    )


def _distance(values: Mapping[str, Any], name: str) -> float | None:
    value = values.get(name)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and value is not None and math.isfinite(value) else None


def _cover(row: Deliverable) -> Frame:
    assert row.cover is not None, "only a picture with a cover is registered"
    return row.cover


def _row(row: Deliverable, small: Small) -> Registration:
    return Registration(
        deliverable=row,
        frame=_cover(row),
        join=small.join,
        code_version=CODE_VERSION,
        width_px=small.width_px,
        height_px=small.height_px,
    )


def _nothing(
    row: Deliverable, small: Small, why: str, reference: Registration | None = None
) -> Registration:
    made = _row(row, small)
    made.verdict, made.reason = Verdict.CANNOT_TELL, why
    made.reference = None if reference is None else reference.deliverable
    return made


def _judged(made: Registration, matrix: Matrix, residual_mm: float, remark: str) -> Registration:
    made.px_to_face_mm = normalise(matrix).tolist()
    made.residual_mm = round(residual_mm, 3)
    limits = numbers()
    if residual_mm > limits.warn_mm:
        made.verdict = Verdict.FAIL
        made.reason = (
            f"It may lie {residual_mm:.1f} mm off, which is more than {limits.warn_mm:g} mm: "
            "the same spot is only roughly the same."
        )
    elif residual_mm > limits.pass_mm or remark:
        made.verdict = Verdict.WARN
        made.reason = remark or f"It may lie {residual_mm:.1f} mm off."
    else:
        made.verdict = Verdict.PASS
    return made


def _by_outline(row: Deliverable, small: Small) -> Registration:
    facts = facts_now(row.object_id, timezone.now())
    if facts is None or not facts.width_mm or not facts.height_mm:
        return _nothing(row, small, "The size of the object is not recorded.")
    light = (small.values.astype(np.float32) / 255) ** 2
    found = find_outline(light)
    if isinstance(found, NoOutline):
        return _nothing(row, small, f"The outline of the face was not found. {found.because}")
    limits = numbers()
    laid = map_outline(
        found.corners,
        width_mm=facts.width_mm,
        height_mm=facts.height_mm,
        error_px=limits.outline_error_px,
    )
    if abs(laid.proportion_percent) > limits.proportion_percent:
        return _nothing(
            row,
            small,
            f"The outline is {abs(laid.proportion_percent):.1f} % too "
            f"{'wide' if laid.proportion_percent > 0 else 'high'} for the recorded size: a frame "
            "left on, a wrong size, or another object.",
        )
    made = _row(row, small)
    made.means = Registration.Means.OUTLINE
    return _judged(made, laid.px_to_face_mm @ inverse(small.to_full), laid.residual_mm, "")


def _by_reference(
    row: Deliverable, small: Small, reference: Registration
) -> tuple[Registration, tuple[FileCheck, ...]]:
    """Lay a picture over the visible one, and say on the way which way round it is."""
    limits = numbers()
    fixed = (
        small_copy(reference.frame_id, limits.longest_px)
        if reference.join is None
        else small_joined(reference.join, limits.longest_px)
    )
    if fixed is None:
        return _nothing(row, small, "The visible picture cannot be read at present."), ()
    try:
        still, other = fixed.picture(), small.picture()
    except UnfitError as error:
        return _nothing(row, small, str(error), reference), ()
    found = align(still, other, limits=limits.alignment)
    turn = _turn(still, other, found)
    checks = [_turn_check(row, turn)]
    upright = found.matrix is not None and turn.turn is Turn.NONE
    if found.matrix is None or found.residual_px is None or not upright:
        why = found.reason if turn.turn in (None, Turn.NONE) else _turned_words(row, turn)
        return _nothing(row, small, why, reference), tuple(checks)
    to_face = np.array(reference.px_to_face_mm, np.float64) @ fixed.to_full
    size_mm = mm_per_px(to_face, still.width_px, still.height_px)
    residual = float(np.hypot(found.residual_px * size_mm, reference.residual_mm or 0.0))
    made = _row(row, small)
    made.means, made.reference = Registration.Means.REFERENCE, reference.deliverable
    remark = (
        "Parts behind the paint, as bars and cradles, lie enlarged and cannot fit."
        if row.technique == X_RAY
        else ""
    )
    matrix = to_face @ found.matrix @ inverse(small.to_full)
    made = _judged(made, matrix, residual, "")
    made.reason = f"{made.reason} {remark}".strip()
    return made, tuple(checks)


def _turn(still: Picture, other: Picture, found: Alignment) -> Orientation:
    """Read the turn from a map that was found, or try all eight."""
    if found.matrix is not None:
        inner = found.matrix[:2, :2]
        angle = np.degrees(np.arctan2(inner[1, 0] - inner[0, 1], inner[0, 0] + inner[1, 1]))
        if np.linalg.det(inner) > 0 and abs(float(angle)) < 45:
            return Orientation(
                answer=Answer.CLEAR, turn=Turn.NONE, correlation=1.0, margin=1.0, reason=""
            )
    limits = numbers()
    return find_turn(still, other, limits=limits.turns, alignment=limits.alignment)


def _turned_words(row: Deliverable, turn: Orientation) -> str:
    assert turn.turn is not None
    side = {"B": "back", "F": "front", "T": "X-ray"}.get(row.face, "picture")
    if turn.turn.is_mirrored:
        return (
            f"This {side} looks mirrored: it fits the visible picture only when it is flipped. "
            "Nothing is changed in your file. Export it again the right way round, or say why it "
            "is right as it is."
        )
    return (
        f"This {side} looks {turn.turn.value}. Nothing is changed in your file. Export it again "
        "the right way round, or say why it is right as it is."
    )


def _turn_check(row: Deliverable, turn: Orientation) -> FileCheck:
    limits = numbers().turns
    if turn.turn is None:
        verdict, words = FileCheck.Verdict.CANNOT_TELL, f"{turn.reason} Look at it."
    elif turn.turn is not Turn.NONE:
        verdict, words = FileCheck.Verdict.FAIL, _turned_words(row, turn)
    elif turn.answer is Answer.CLEAR:
        verdict, words = FileCheck.Verdict.PASS, "It is neither turned nor mirrored."
    else:
        verdict = FileCheck.Verdict.WARN
        words = "It seems to be the right way round, but only just. Look at it."
    return FileCheck(
        frame=_cover(row),
        rule=TURN_RULE,
        rule_version=limits.version,
        value="cannot tell" if turn.turn is None else turn.turn.value,
        unit="",
        limit=f"lead over the next of eight ≥ {limits.clear_margin:g}",
        verdict=verdict,
        sentence=words,
    )
