"""Rules of several frames together: brackets, ambient light, warm-up.

A bracket is a list of frames of one tile with the offset that each was meant to have. Its steps are
measured between neighbours, so a frame that is too dark or too light for itself still counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.bracket import shift_between, step_ev
from imaging_requests.imaging.measure.checks import with_until
from imaging_requests.imaging.measure.delta_e import lightness
from imaging_requests.imaging.measure.finding import Finding, Rules
from imaging_requests.imaging.measure.fluorescence import mean_light
from imaging_requests.imaging.measure.frame import Frame
from imaging_requests.imaging.measure.outline import Outline
from imaging_requests.imaging.measure.plan import Plan, Sight, Tools
from imaging_requests.imaging.measure.sampling import luminance

STEP_RULE = {"RK": "R1", "UV": "U3"}
SHIFT_RULE = {"RK": "R2", "UV": "U7"}
SIDE_WORDS = {"L": "left", "R": "right", "T": "top", "B": "bottom"}


def check_bracket(
    frames: Sequence[tuple[float, Frame]],
    plan: Plan,
    tools: Tools,
    *,
    wanted_ev: Sequence[float] = (),
) -> list[Finding]:
    """Apply the rules of a bracket.

    Args:
        frames: Offset that each frame was meant to have, in EV, and the frame; any order.
        plan: What was meant; raking and ultraviolet have rules for brackets, others none.
        tools: Limits.
        wanted_ev: Offsets that were ordered; what lacks is named.

    Returns:
        Findings; empty for a technique without brackets or fewer than two frames and none wanted.
    """
    if plan.technique not in STEP_RULE or (len(frames) < 2 and len(wanted_ev) < 2):
        return []
    ordered = sorted(frames, key=lambda each: each[0])
    found = _steps(ordered, plan, tools, wanted_ev)
    if len(ordered) >= 2:
        found.append(_movement(ordered, plan, tools))
    if plan.technique == "RK" and ordered:
        found += _both_ends(ordered, plan, tools)
    return with_until(found, plan.until)


def check_ambient(ambient: Frame, lit: Frame, tools: Tools, *, longer_ev: float = 0.0) -> Finding:
    """U2: mean of a frame with the lamps off as a share of one with the lamps on.

    Args:
        ambient, lit: Lamps off and on.
        tools: Limits.
        longer_ev: By how much more the lit frame was exposed, in EV; taken off its light.
    """
    off = None if ambient.light is None else mean_light(ambient.light)
    on = None if lit.light is None else mean_light(lit.light)
    if off is None or on is None or on <= 0:
        because = "One of the frames has no profile or no light, so they cannot be compared."
        return tools.rules.unknown("U2", because)
    percent = 100 * off / on * 2.0**longer_ev
    return tools.rules.found(
        "U2",
        percent,
        good=f"The room is dark ({percent:.1f} % of the lamp-on frame).",
        bad=f"The room is not dark: without lamps there is still {percent:.1f} % of the light. "
        "Cover windows, screens and pilot lamps, and shoot again.",
    )


def check_lamps_off(
    ambient: Sequence[tuple[float, Frame]], lit: Sequence[tuple[float, Frame]], tools: Tools
) -> list[Finding]:
    """U2 of each frame with the lamps off against the lit frame of the nearest exposure.

    Both are given with their offset in the bracket, in EV.
    """
    found = []
    for ev, frame in ambient:
        nearest = min(lit, key=lambda each: (abs(each[0] - ev), each[0]), default=None)
        if nearest is not None:
            found.append(check_ambient(frame, nearest[1], tools, longer_ev=nearest[0] - ev))
    return found


def check_warm_up(first: float, last: float, rules: Rules) -> Finding:
    """U8: change of the glowing patch from the first to the last tile, from its two levels."""
    if first <= 0 or last <= 0:
        return rules.unknown("U8", "The glowing patch is dark in one of the tiles.")
    percent = 100 * (last / first - 1)
    return rules.found(
        "U8",
        percent,
        good=f"The lamps kept their level ({percent:+.1f} %).",
        bad=f"The lamps changed by {percent:+.1f} % from the first to the last tile: they were not "
        "warm. Let them burn for 20 minutes, then shoot the tiles again.",
    )


def check_warm_up_ev(first_ev: float, last_ev: float, rules: Rules) -> Finding:
    """U8 from the levels of both tiles in EV off the target level, as U4 gives them."""
    return check_warm_up(1.0, 2.0 ** (last_ev - first_ev), rules)


def _steps(
    ordered: Sequence[tuple[float, Frame]], plan: Plan, tools: Tools, wanted: Sequence[float]
) -> list[Finding]:
    rule, rules = STEP_RULE[plan.technique], tools.rules
    have = [ev for ev, _ in ordered]
    lacking = sorted(set(wanted) - set(have))
    if lacking:
        limit = rules.rule(rule).band.fail_limit
        names = " and ".join(_ev(ev) for ev in lacking)
        held = " and ".join(_ev(ev) for ev in have) or "none"
        plural = "s" if len(lacking) > 1 else ""
        sentence = (
            f"Exposure{plural} {names} {'are' if plural else 'is'} missing (have {held}). Shoot "
            f"{'them' if plural else 'it'} now; do not move the lamp."
        )
        worst = max(limit + 1.0, max(abs(ev) for ev in lacking))
        return [rules.found(rule, worst, good="", bad=sentence)]
    worst_off, worst_pair, unknown = 0.0, "", []
    for (ev, one), (next_ev, other) in pairwise(ordered):
        pair = f"{_ev(ev)} to {_ev(next_ev)}"
        step = None
        if one.light is not None and other.light is not None:
            step = step_ev(one.light, other.light)
        if step is None:
            unknown.append(pair)
            continue
        off = step - (next_ev - ev)
        if abs(off) > abs(worst_off):
            worst_off, worst_pair = off, pair
    if unknown:
        because = f"From {unknown[0]} too little can be read in both frames to tell the step."
        return [rules.unknown(rule, because)]
    return [
        rules.found(
            rule,
            worst_off,
            good=f"The exposures are in steps (within {abs(worst_off):.2f} EV).",
            bad=f"From {worst_pair} the step is {worst_off:+.2f} EV off: an exposure is missing, "
            "doubled or in the wrong place. Look at the order of the files, or shoot the bracket "
            "again without moving the lamp.",
        )
    ]


def _movement(ordered: Sequence[tuple[float, Frame]], plan: Plan, tools: Tools) -> Finding:
    """Largest shift between neighbours, in px of the frames, from their sample parts."""
    rule, rules = SHIFT_RULE[plan.technique], tools.rules
    worst = None
    for one, other in pairwise([_samples(frame) for _, frame in ordered]):
        lengths = []
        for first, second in zip(one, other, strict=False):
            shift = shift_between(first, second)
            if shift is not None:
                lengths.append(shift.length_px)
        if not lengths:
            because = "The frames have too little in common to tell whether anything moved."
            return rules.unknown(rule, because)
        worst = max(worst or 0.0, float(np.median(lengths)))
    assert worst is not None
    return rules.found(
        rule,
        worst,
        good=f"Nothing moved inside the bracket ({worst:.2f} px).",
        bad=f"Object or camera moved by {worst:.1f} px inside the bracket. Wait until the easel "
        "stands still, and shoot the whole bracket again.",
    )


def _samples(frame: Frame) -> list[NDArray[Any]]:
    encoding = frame.encoding
    if encoding is None:
        return []
    return [encoding.to_luminance(part).astype(np.float32) for part in frame.samples()]


def _both_ends(ordered: Sequence[tuple[float, Frame]], plan: Plan, tools: Tools) -> list[Finding]:
    """R5 in the darkest and R6 in the lightest frame."""
    rules = tools.rules
    darkest, lightest = ordered[0][1], ordered[-1][1]
    sight = Sight(lightest, plan, tools)
    outline = sight.outline
    if not isinstance(outline, Outline):
        outline = Sight(darkest, plan, tools).outline
    if not isinstance(outline, Outline) or plan.direction not in SIDE_WORDS:
        because = "The outline of the face or the side of the lamp is not known."
        return [rules.unknown("R5", because), rules.unknown("R6", because)]
    near = _side_mask(outline, darkest.share.shape[:2], plan.direction, 0.5)
    opposite = {"L": "R", "R": "L", "T": "B", "B": "T"}[plan.direction]
    depth = rules.number("raking.far_side_share")
    far = _side_mask(outline, lightest.share.shape[:2], opposite, depth)
    found = []
    if darkest.high_map is not None and near.any():
        percent = 100 * float(darkest.high_map[near].mean())
        found.append(
            rules.found(
                "R5",
                percent,
                good=f"The side of the lamp is not clipped in the darkest frame ({percent:.2f} %).",
                bad=f"Even in the darkest frame {percent:.1f} % of the lamp's side is clipped. Add "
                "an exposure one stop darker; do not move the lamp.",
            )
        )
    light = lightest.light
    if light is not None and far.any():
        level = lightness(cv2.blur(luminance(light), (3, 3))[far])
        percent = 100 * float((level > rules.number("raking.readable_l")).mean())
        found.append(
            rules.found(
                "R6",
                percent,
                good=f"The far side can be read in the lightest frame ({percent:.1f} %).",
                bad=f"In the lightest frame only {percent:.0f} % of the far side can be read. Add "
                "an exposure one stop lighter; do not move the lamp.",
            )
        )
    return found


def _side_mask(
    outline: Outline, shape: tuple[int, int], side: str, depth: float
) -> NDArray[np.bool_]:
    """The part of the face that lies within ``depth`` (share of the face) of one side."""
    corners = outline.corners
    a, b, c, d = {"L": (0, 3, 1, 2), "R": (1, 2, 0, 3), "T": (0, 1, 3, 2), "B": (3, 2, 0, 1)}[side]
    inner = [corners[b] + depth * (corners[d] - corners[b]), corners[a]]
    inner[1] = corners[a] + depth * (corners[c] - corners[a])
    field = np.zeros(shape, np.uint8)
    points = np.array([corners[a], corners[b], inner[0], inner[1]])
    cv2.fillConvexPoly(field, np.round(points).astype(np.int32), 1)
    return field > 0


def _ev(ev: float) -> str:
    return "0" if ev == 0 else f"{ev:+g}".replace("-", "−")
