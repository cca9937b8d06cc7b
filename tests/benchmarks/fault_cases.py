"""Clean material and faults of known strength, one case for each rule.

Strength: 1.5 × the fail limit of the rule, in the rule's own unit, on top of clean material. Where
a value must not fall below a share of something whole, the part that lacks is 1.5 × what may lack.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from imaging_requests.imaging.files.verdicts import Outcome
from tests.benchmarks import faults_lamps as lamps
from tests.benchmarks import faults_plates as plates
from tests.benchmarks import faults_visible as visible
from tests.pure.measure_samples import tools

RULES = tools().rules


@dataclass(frozen=True)
class Case:
    """``value``: what the rule measures of one case, None if it cannot tell. ``fault``: strength
    of the fault where it is not 1.5 × the limit.
    """

    rule: str
    words: str
    value: Callable[[np.random.Generator, float], float | None]
    clean: float = 0.0
    fault: float | None = None

    def run(self, seed: int, is_faulty: bool) -> Outcome:
        """Judge one case; a fault has 1.5 × the strength of the fail limit."""
        limit = RULES.rule(self.rule).band.fail_limit
        strength = self.clean
        if is_faulty:
            kind = RULES.rule(self.rule).band.kind
            strength = limit / 1.5 if kind == "at_least" and limit > 0 else 1.5 * limit
            strength = strength if self.fault is None else self.fault
        rng = np.random.default_rng([seed, int(is_faulty), sum(map(ord, self.rule))])
        found = self.value(rng, strength)
        return Outcome.CANNOT_TELL if found is None else RULES.rule(self.rule).band.judge(found)


CASES = (
    Case("G3", "8 bits in a container of 16", visible.upgraded_depth),
    Case("G6", "camera farther away", visible.density),
    Case("G10", "face near the rim", visible.coverage),
    Case("G13", "constant, black, white, repeated rows", visible.broken_transfer),
    Case("V1", "all patches off", visible.mean_colour),
    Case("V2", "one patch off", visible.worst_colour),
    Case("V3", "one grey too light or dark", visible.grey_lightness),
    Case("V4", "all greys tinted", visible.grey_tint),
    Case("V5", "noise", visible.chart_noise),
    Case("V6", "light slopes", visible.flat_field),
    Case("V7", "clipped pixels", visible.clipped),
    Case("V8", "blur", visible.baseline_sharpness),
    Case("V9", "sharpening", visible.sharpening),
    Case("V10", "one tile softer", visible.tile_sharpness),
    Case("V11", "one tile lighter or darker", visible.exposure_tiles),
    Case("V13", "mains flicker", visible.flicker),
    Case("V14", "keystone", visible.keystone),
    Case("R1", "wrong step", lamps.bracket_step),
    Case("R2", "movement", lamps.movement),
    Case("R3", "lamp on the other side", lamps.direction),
    Case("R4", "lamp too high", lamps.elevation),
    Case("R5", "clipped at the side of the lamp", lamps.lamp_side_clipped),
    Case("R6", "far side too dark", lamps.far_side_unreadable, fault=98.5),
    Case("R7", "light from elsewhere", lamps.leak),
    Case("U1", "light past the filter, three colours", lamps.slip),
    Case("U2", "room light", lamps.room_light),
    Case("U3", "wrong step, dim", lamps.dim_step),
    Case("U4", "glow too light or dark", lamps.level),
    Case("U5", "uneven lamps", lamps.lamp_evenness),
    Case("U6", "hot pixels", lamps.hot),
    Case("U7", "movement, dim", lamps.dim_movement),
    Case("U8", "lamps grow lighter or darker", lamps.warm_up),
    Case("I1", "saturated pixels", lamps.saturated),
    Case("I2", "dead pixels", lamps.dead),
    Case("I3", "light slopes", lamps.infrared_field),
    Case("I4", "tone curve", lamps.curve),
    Case("I5", "step at a seam", plates.seam),
    Case("I6", "iron-gall ink still there", lamps.band),
    Case("X1", "polarity stated wrongly", plates.polarity),
    Case("X2", "noise", plates.plate_noise),
    Case("X3", "ends of the scale", plates.plate_ends),
    Case("X4", "step between plates", plates.plate_seam),
    Case("X5", "dead line", plates.dead_line),
    Case("X6", "one pixel not inverted", plates.inverted),
    Case("X7", "scale", plates.magnified),
    Case("B1", "another outline", plates.silhouette),
)
