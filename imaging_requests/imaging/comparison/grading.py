"""The grade of a pair: the worst row of its technique decides, and one sentence says why."""

from __future__ import annotations

from dataclasses import dataclass, replace

from . import rows_camera, rows_light
from .limits import GradeLimits
from .set_up import Pair, SetUp
from .terms import (
    INFRARED,
    RAKING,
    TECHNIQUES,
    ULTRAVIOLET,
    VISIBLE,
    X_RAY,
    Comparability,
    Finding,
    worst,
)

#: Rows that no memory of a set-up replaces.
SHOWN_BY_FILES = ("chart", "patch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Grading:
    """How far a pair can be compared.

    Attributes:
        technique: Of both pictures.
        grade: The worst of ``findings``.
        findings: Every row of the table for this technique, in its order.
        warnings: Contradictions between what was recorded and what the files show.
        sentence: What stands under the pictures and inside an exported one.
    """

    technique: str
    grade: Comparability
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...] = ()
    sentence: str = ""

    @property
    def deciding(self) -> tuple[Finding, ...]:
        """The rows that are as bad as the grade."""
        return tuple(finding for finding in self.findings if finding.grade is self.grade)


def grade_pair(
    technique: str,
    before: SetUp,
    after: SetUp,
    pair: Pair,
    *,
    limits: GradeLimits,
    floor: str = "",
    warnings: tuple[str, ...] = (),
    is_vouched: bool = False,
) -> Grading:
    """Grade two pictures of one view in one technique.

    Args:
        technique: Code of the technique: VF, VC, RK, UV, IR or XR.
        floor: What cannot be told apart, in words ("colour differences under 1.5 ΔE00"); empty
            leaves that part of the sentence out.
        warnings: Contradictions found before, see ``measured.take_measured``.
        is_vouched: Somebody vouches that what was not recorded was the same: such rows count as B,
            never as A, and the sentence says so. What only the files can show, chart and reference
            patch, nobody can vouch for.

    Raises:
        ValueError: The technique is not known.

    >>> import json, pathlib
    >>> data = json.loads(pathlib.Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
    >>> limits = GradeLimits.from_settings(data)
    >>> nothing = grade_pair("VF", SetUp(), SetUp(), Pair(has_chart=False), limits=limits)
    >>> nothing.sentence
    'Grade N, not compared: one of the pictures has no colour chart.'
    """
    findings = _findings(technique, before, after, pair, limits)
    if is_vouched:
        findings = tuple(vouched(finding) for finding in findings)
    grade = worst([finding.grade for finding in findings])
    return Grading(
        technique=technique,
        grade=grade,
        findings=findings,
        warnings=warnings,
        sentence=sentence_of(technique, grade, findings, floor),
    )


def vouched(finding: Finding) -> Finding:
    """A row that nobody recorded but somebody vouches for: visible comparison, never measurable.

    >>> row = Finding(row="tilt", grade=Comparability.C, reason="the tilt …", is_known=False)
    >>> vouched(row).reason
    'the tilt … and is only vouched for'
    """
    if finding.is_known or finding.row in SHOWN_BY_FILES:
        return finding
    return replace(
        finding, grade=Comparability.B, reason=f"{finding.reason} and is only vouched for"
    )


def _findings(
    technique: str, before: SetUp, after: SetUp, pair: Pair, limits: GradeLimits
) -> tuple[Finding, ...]:
    if technique not in TECHNIQUES:
        raise ValueError(f"Unknown technique {technique}; one of {', '.join(TECHNIQUES)} is meant.")
    place = rows_camera.density(before, after, pair, limits)
    support = rows_camera.support(before, after, pair)
    if technique == X_RAY:
        return (rows_light.x_ray_exposure(before, after, limits), place, support)
    camera = (
        rows_camera.camera_and_lens(before, after),
        place,
        rows_camera.tilt(before, after, pair, limits),
        rows_camera.aperture_and_focus(before, after, limits),
    )
    light: tuple[Finding, ...]
    if technique in VISIBLE:
        light = (rows_light.visible_lamps(before, after, limits), rows_light.chart(pair, limits))
    elif technique == RAKING:
        light = (rows_light.raking(before, after, limits),)
    elif technique == ULTRAVIOLET:
        light = (
            rows_light.ultraviolet_items(before, after),
            rows_light.ultraviolet_patch(pair, limits),
        )
    else:
        light = (rows_light.infrared_band(before, after, pair, limits),)
    return (*camera, *light, support)


def sentence_of(
    technique: str, grade: Comparability, findings: tuple[Finding, ...], floor: str
) -> str:
    """One sentence with the grade, the rows that decided it, and what follows.

    >>> row = Finding(row="chart", grade=Comparability.B, reason="the charts differ by 1.6 ΔE00")
    >>> sentence_of("VF", Comparability.B, (row,), "colour differences under 2.2 ΔE00")
    'Grade B: the charts differ by 1.6 ΔE00; colour differences under 2.2 ΔE00 cannot be told \
from the set-up.'
    """
    reason = "; ".join(finding.reason for finding in findings if finding.grade is grade)
    if grade is Comparability.N:
        return f"Grade N, not compared: {reason}."
    if grade is Comparability.C:
        return f"Grade C: {reason}; only side by side, differences may come from the set-up."
    opening = (
        "Grade A: the set-up was repeated" if grade is Comparability.A else f"Grade B: {reason}"
    )
    return f"{opening}{_consequence(technique, grade, floor)}."


def _consequence(technique: str, grade: Comparability, floor: str) -> str:
    if technique == RAKING:
        return "; shadows are compared side by side, never as a map"
    if technique == X_RAY and grade is not Comparability.A:
        return "; shown side by side, a map needs grade A"
    return f"; {floor} cannot be told from the set-up" if floor else ""


def may_map(technique: str, grade: Comparability) -> bool:
    """Whether a change map may be made: never for raking light, X-ray only at grade A.

    >>> may_map("VF", Comparability.B), may_map("RK", Comparability.A)
    (True, False)
    """
    if technique == RAKING:
        return False
    if technique == X_RAY:
        return grade is Comparability.A
    return technique in (*VISIBLE, ULTRAVIOLET, INFRARED) and grade in (
        Comparability.A,
        Comparability.B,
    )
