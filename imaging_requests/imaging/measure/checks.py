"""All rules of one frame, by technique."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.frame import Frame
from imaging_requests.imaging.measure.plan import Plan, Sight, Tools
from imaging_requests.imaging.measure.rules_every import (
    check_clipping,
    check_density,
    check_depth,
    check_geometry,
    check_transfer,
)
from imaging_requests.imaging.measure.rules_light import check_fluorescence, check_raking
from imaging_requests.imaging.measure.rules_rays import check_infrared, check_x_ray
from imaging_requests.imaging.measure.rules_visible import (
    check_banding,
    check_colour,
    check_flat_field,
    check_sharpness,
)

Check = Callable[[Sight], list[Finding]]

TECHNIQUES = ("VF", "VC", "RK", "UV", "IR", "XR")
ALWAYS: tuple[Check, ...] = (check_depth, check_transfer)
SIZED: tuple[Check, ...] = (check_density, check_geometry)
VIEWS: dict[str, tuple[Check, ...]] = {
    "VF": (check_colour, check_clipping, check_sharpness, *SIZED),
    "VC": (check_colour, check_clipping, check_banding, check_sharpness, *SIZED),
    "RK": (check_raking, *SIZED),
    "UV": (check_fluorescence,),
    "IR": (check_infrared,),
    "XR": (check_x_ray,),
}
ROLES: dict[str, tuple[Check, ...]] = {
    "flat": (check_flat_field,),
    "target": (check_colour, check_sharpness),
    "dark": (),
    "ambient": (),
    "slate": (),
}


def check_frame(frame: Frame, plan: Plan, tools: Tools) -> list[Finding]:
    """Apply every rule that one frame of a technique can answer.

    Args:
        frame: What was read.
        plan: What was meant; its technique must be one of ``TECHNIQUES``.
        tools: Limits, charts and strip.

    Returns:
        Findings in the order of the rules; rules without a question (no planned density, say) are
        left out, those without an answer say "cannot tell". Never raises because of the picture.

    Raises:
        ValueError: The technique is unknown.
    """
    return check_sight(Sight(frame, plan, tools))


def check_sight(sight: Sight) -> list[Finding]:
    """Apply every rule to a frame that has been looked at; see ``check_frame``."""
    plan = sight.plan
    if plan.technique not in TECHNIQUES:
        raise ValueError(f"{plan.technique} is no technique; known are {', '.join(TECHNIQUES)}.")
    checks = ROLES.get(plan.role, VIEWS[plan.technique])
    return with_until([found for check in (*ALWAYS, *checks) for found in check(sight)], plan.until)


def with_until(findings: Sequence[Finding], until: str) -> list[Finding]:
    """Put behind what failed until when it can be done again."""
    if not until:
        return list(findings)
    return [
        replace(found, sentence=f"{found.sentence} {until}")
        if found.outcome is Outcome.FAIL
        else found
        for found in findings
    ]
