"""Which comparison of two pictures is honest: a grade and a sentence, or what is not known."""

from __future__ import annotations

from dataclasses import dataclass

from imaging_requests.deliverables.comparability import grade_of
from imaging_requests.imaging.comparison.terms import Comparability
from imaging_requests.progress.look.shown_pictures import Picture

ALL_TOGETHER = ("fade", "split", "blink", "side")
#: What each grade leaves open: an indicative pair stands side by side, one that may not be
#: compared is shown one picture at a time.
MODES_OF = {
    Comparability.A: ALL_TOGETHER,
    Comparability.B: ALL_TOGETHER,
    Comparability.C: ("side",),
    Comparability.N: (),
}


@dataclass(frozen=True, kw_only=True)
class Pair:
    """What may be done with two pictures, and the words under them."""

    grade: str
    sentence: str
    modes: tuple[str, ...] = ALL_TOGETHER
    #: Whether both show one view, so that what changed can be asked for.
    is_one_view: bool = False


def pair_of(one: Picture, two: Picture) -> Pair:
    """Say what a comparison of two pictures is worth."""
    if one.row.pk == two.row.pk:
        return Pair(grade="", sentence="One picture twice: there is nothing to compare.")
    if one.plane != two.plane:
        return Pair(
            grade="",
            sentence="Front and back: the same spot seen from both sides, no comparison of change.",
        )
    if one.row.technique != two.row.technique:
        return Pair(
            grade="",
            sentence="Two techniques: the same spot in both, no comparison of change.",
        )
    if one.row.variant != two.row.variant:
        return Pair(
            grade="",
            sentence="Light from two directions: relief in both, no comparison of change.",
        )
    if one.row.detail_mm != two.row.detail_mm:
        return Pair(
            grade="",
            sentence="A detail and another part: the same spot in both, no comparison of change.",
        )
    found = grade_of(one.row, two.row)
    return Pair(
        grade=found.grade.value,
        sentence=" ".join([found.sentence, *found.warnings]),
        modes=MODES_OF[found.grade],
        is_one_view=True,
    )
