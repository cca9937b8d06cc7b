"""The pictures that could meet a view, looked at once each, the newest first.

>>> from datetime import UTC, datetime
>>> day = datetime(2026, 4, 1, tzinfo=UTC)
>>> view = OwedView(key="v", recorded_at=day, surface="F.1", technique="UV", px_per_mm=12.0,
...                 tolerance=0.05, min_coverage=0.995)
>>> def shot(px): return Picture(chain="c", version=1, recorded_at=day, surface="F.1",
...                              technique="UV", captured_at=day, px_per_mm=px)
>>> is_dense_enough(view, shot(11.4)), is_dense_enough(view, shot(11.3))
(True, False)
"""

from __future__ import annotations

from dataclasses import dataclass

from .carry import Carried, carry
from .facts import OwedView, Picture
from .moment import Moment, Standing
from .stateline import Point
from .terms import Carry, Verdict, Why

_ROUNDING = 1e-9


@dataclass(slots=True)
class Scan:
    """What one pass over the matching pictures found; each field holds the newest such one."""

    filed: Standing | None = None
    accepted: Standing | None = None
    undecided: tuple[Standing, Carried] | None = None
    out: tuple[Standing, Carried] | None = None
    too_coarse: Standing | None = None
    candidate: Standing | None = None
    recalled: bool = False
    pending: bool = False


def scan_pictures(moment: Moment, view: OwedView, point: Point, *, made_later: bool = True) -> Scan:
    """Look at every matching picture once, the newest first; one that is filed settles it.

    Without those ``made_later``, a picture that was made after the anchor's state and waits for a
    decision whether it still shows it is left out.
    """
    scan = Scan()
    for standing in moment.pictures.get((view.surface, view.technique, view.variant), ()):
        carried = carry(moment, standing, point) if point.reached else Carried(Carry.OUT)
        verdict = carried.verdict
        if not made_later and verdict is Carry.UNDECIDED and standing.state > point.last:
            continue
        accepted = standing.verdict is Verdict.ACCEPTED
        meets = accepted and _meets_spec(view, standing.picture)
        if verdict is not Carry.OUT:
            if scan.candidate is None:
                scan.candidate = standing
            if not accepted and (standing.verdict is None or standing.frames_good):
                scan.pending = True
            if accepted and not meets and scan.too_coarse is None:
                scan.too_coarse = standing
        if standing.verdict is Verdict.RECALLED:
            scan.recalled = True
        if not meets:
            continue
        if verdict is Carry.OK:
            if standing.is_filed:
                scan.filed = standing
                break
            scan.accepted = scan.accepted or standing
        elif verdict is Carry.UNDECIDED:
            scan.undecided = scan.undecided or (standing, carried)
        elif scan.out is None and point.reached:
            scan.out = (standing, carried)
    return scan


def either(preferred: Scan, present: Scan) -> Scan:
    """What two anchors found together, where a picture of either will do.

    The preferred one goes first; why a picture is out of date is told of the present one.
    """
    return Scan(
        filed=preferred.filed or present.filed,
        accepted=preferred.accepted or present.accepted,
        undecided=preferred.undecided or present.undecided,
        out=present.out,
        too_coarse=_newer(preferred.too_coarse, present.too_coarse),
        candidate=_newer(preferred.candidate, present.candidate),
        recalled=preferred.recalled or present.recalled,
        pending=preferred.pending or present.pending,
    )


def _newer(one: Standing | None, other: Standing | None) -> Standing | None:
    found = [standing for standing in (one, other) if standing is not None]
    return max(found, key=lambda s: (s.picture.captured_at, s.picture.version), default=None)


def why_of(scan: Scan) -> Why:
    """Why a view that no picture meets is (still, or again) owed."""
    if scan.undecided is not None:
        return Why.UNDECIDED
    if scan.out is not None:
        return Why.OUT_OF_DATE
    if scan.recalled:
        return Why.RECALLED
    if scan.too_coarse is not None:
        return Why.SPEC_RAISED
    return Why.NEVER_MADE


def is_dense_enough(view: OwedView, picture: Picture) -> bool:
    """``px/mm >= (1 - tolerance) * required``, computed without losing exact limits to rounding."""
    return picture.px_per_mm >= view.px_per_mm * (1.0 - view.tolerance) * (1.0 - _ROUNDING)


def _meets_spec(view: OwedView, picture: Picture) -> bool:
    return (
        picture.complete
        and picture.coverage >= view.min_coverage
        and is_dense_enough(view, picture)
    )
