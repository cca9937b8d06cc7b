"""How often is it told rightly whether a picture shows its object? Prints counts; no test runs it.

    .venv/bin/python -m tests.benchmarks.recognising --paintings 48

Every second painting has one size, as the fronts and backs of a series have. Each is taken from
slightly wrong places in all kinds of light, front and back, and judged by its structure against the
visible reference of its own and of all others (a right picture); as if it were the next painting's,
with its true object among the others (a stranger, known) and without it (a stranger, unknown).
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from pathlib import Path

import cv2
import numpy as np

from imaging_requests.imaging.likeness.pattern import pattern_of
from imaging_requests.imaging.likeness.structure import Structure, structure_likeness
from imaging_requests.imaging.recognition import StructureLimits, judge_structure, kind_of
from imaging_requests.imaging.synthesis import (
    Direction,
    Face,
    PaintingSpec,
    Pose,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    build_painting,
    capture,
)
from imaging_requests.imaging.synthesis.shot import picture_extent

ONE_SIZE_MM = (600, 800)
SUPPORTS = (Support.CANVAS, Support.PANEL, Support.COPPER)
LIGHTS = ("VC", "RK", "UV", "IR")


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def taken(seed: int, megapixels: float) -> dict[tuple[str, str], Structure]:
    """Return the structures of one painting by light and face; VF is the reference."""
    rng = np.random.default_rng(seed)
    width, height = (int(each) for each in rng.integers(250, 1300, 2)) if seed % 2 else ONE_SIZE_MM
    spec = PaintingSpec(
        seed=seed,
        width_mm=width,
        height_mm=height,
        support=SUPPORTS[seed % 3],
        subject=list(Subject)[seed % len(Subject)],
    )
    density = float(np.sqrt(megapixels * 1e6 / ((width + 40) * (height + 100))))
    scene = Scene(build_painting(spec, px_per_mm=density))
    found = {}
    for face in ("F", "B"):
        for light in ("VF", *LIGHTS):
            shift_x, shift_y, turn, scale, slant = rng.uniform(-1, 1, 5)
            exposure = capture(
                scene,
                Shot(
                    technique=Technique(light),
                    face=Face(face),
                    direction=Direction.LEFT if light == "RK" else None,
                    tile=picture_extent(spec, Technique(light), Face(face)),
                    px_per_mm=density,
                    pose=Pose(
                        shift_x_mm=5 * shift_x,
                        shift_y_mm=5 * shift_y,
                        rotation_deg=1.5 * turn,
                        scale=1 + 0.02 * scale,
                        keystone=0.01 * slant,
                    ),
                    noise_seed=seed,
                ),
            )
            grey = exposure.pixels.astype(np.float32) / 256
            if grey.ndim == 3:
                grey = cv2.cvtColor(np.ascontiguousarray(grey[..., :3]), cv2.COLOR_RGB2GRAY)
            found[light, face] = Structure(pattern_of(np.clip(grey, 0, 255).astype(np.uint8)))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--paintings", type=int, default=48)
    parser.add_argument("--megapixels", type=float, default=0.12)
    options = parser.parse_args()
    data = json.loads(Path("fixtures/checks/recognition-2.json").read_text("utf-8"))
    paintings = [taken(seed, options.megapixels) for seed in range(options.paintings)]
    started, asked = time.process_time(), 0
    for face in ("F", "B"):
        for light in LIGHTS:
            limits = StructureLimits.from_settings(data, kind_of(light, face, is_tiled=False))
            counts: Counter[tuple[str, str]] = Counter()
            for number, painting in enumerate(paintings):
                likes = [
                    structure_likeness(painting[light, face], other["VF", face])
                    for other in paintings
                ]
                asked += len(likes)
                claimed = (number + 2) % len(paintings)
                for case, own, hidden in (
                    ("right", number, None),
                    ("stranger, known", claimed, None),
                    ("stranger, unknown", claimed, number),
                ):
                    others = {
                        str(other): like
                        for other, like in enumerate(likes)
                        if like is not None and other not in (own, hidden)
                    }
                    verdict = judge_structure(likes[own], others, limits).verdict.value
                    counts[case, verdict] += 1
            for (case, verdict), count in sorted(counts.items()):
                say(f"{face} {light} {case}: {verdict} {count}")
    say(f"{1000 * (time.process_time() - started) / asked:.1f} ms of processor time a comparison")


if __name__ == "__main__":
    main()
