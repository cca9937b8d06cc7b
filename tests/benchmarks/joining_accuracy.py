"""Join many sets of tiles with known truth and print errors and verdicts; see docs/joining.md.

``python -m tests.benchmarks.joining_accuracy [places] [order] [--cases N] [--first N]``. Orders are
numbered, each number is one set; ``--first`` begins at a later one, so that a long run can be cut.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

from imaging_requests.imaging.joining.canvas import lay_out
from imaging_requests.imaging.joining.join import JoinRequest, overlap_widths
from imaging_requests.imaging.joining.judge import judge
from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.levels import Levels
from imaging_requests.imaging.joining.register import register
from imaging_requests.imaging.joining.report import JoinReport, Verdict
from imaging_requests.imaging.joining.tiles import open_tiles
from imaging_requests.imaging.joining.words import ALL_TURNS, Place, Unjoined
from tests.joining_scene import (
    LIMITS,
    SETTINGS,
    Cut,
    cut_tiles,
    radiograph,
    scene_size,
    texture,
    true_error_px,
    write_tiles,
)

GRIDS = ((2, 1), (3, 2), (4, 3), (6, 4), (12, 7))
ORDER_TILE_PX, ORDER_OVERLAP = (256, 312), 0.09
KINDS = {
    "whole shifts, 10 %": Cut(columns=0, rows=0, tile_px=(0, 0), overlap=0.10, is_whole=True),
    "shifts, 10 %": Cut(columns=0, rows=0, tile_px=(0, 0), overlap=0.10),
    "shifts, 3 %": Cut(columns=0, rows=0, tile_px=(0, 0), overlap=0.03),
    "turn 1°, gain 5 %, noise 1 %, 10 %": Cut(
        columns=0, rows=0, tile_px=(0, 0), overlap=0.10, turn_deg=1, gain=0.05, noise=0.01
    ),
    "turn 1°, gain 5 %, noise 1 %, 3 %": Cut(
        columns=0, rows=0, tile_px=(0, 0), overlap=0.03, turn_deg=1, gain=0.05, noise=0.01
    ),
}


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def report_on(paths: list[Path], grid: tuple[int, int], folder: Path) -> JoinReport | Unjoined:
    """Register and judge without writing the picture."""
    planned = {Place(n % grid[0], n // grid[0]): n for n in range(len(paths))}
    tiles = open_tiles(paths, limits=LIMITS, scratch=folder)
    if isinstance(tiles, Unjoined):
        return tiles
    with Lanes(LIMITS.threads) as lanes:
        found = register(tiles, settings=SETTINGS, grid=grid, planned=planned, lanes=lanes)
    if isinstance(found, Unjoined):
        return found
    overlaps = overlap_widths(found)
    canvas = lay_out(found.matrices, found.sizes, found.boxes, feather_px=24, least_overlap_px=24)
    none = Levels("none", {}, {}, (), 1.0)
    return judge(tiles, found, none, canvas, overlaps, JoinRequest(), planned, 1.0, SETTINGS)


def places(cases: int) -> None:
    """Print the true error over grids and kinds."""
    say(f"{'tiles':22} {'kind':36} {'rms px':>8} {'largest':>8} {'said':>8}  model, verdict")
    for grid in GRIDS:
        for name, kind in KINDS.items():
            side = 640 if grid[0] > 6 else 800
            _place("texture", grid, (side, side * 5 // 4), name, kind, cases)
    for name, kind in KINDS.items():
        _place("radiograph", (3, 3), (0, 0), name, kind, cases)


def _place(
    scene_name: str,
    grid: tuple[int, int],
    tile_px: tuple[int, int],
    name: str,
    kind: Cut,
    cases: int,
) -> None:
    for seed in range(cases):
        columns, rows = grid
        if scene_name == "radiograph":
            scene = radiograph()
            spare = 60 if kind.turn_deg else 20
            height, width = scene.shape
            tile_px = (
                int((width - spare) / (columns - (columns - 1) * kind.overlap)),
                int((height - spare) / (rows - (rows - 1) * kind.overlap)),
            )
        made = {f: getattr(kind, f) for f in kind.__slots__}
        cut = Cut(**(made | {"columns": columns, "rows": rows, "tile_px": tile_px}))
        if scene_name == "texture":
            scene = texture(*scene_size(cut), seed=seed)
        tiles, truth = cut_tiles(scene, cut, seed=seed + 100)
        with tempfile.TemporaryDirectory() as folder:
            report = report_on(write_tiles(Path(folder), tiles), grid, Path(folder))
        label = f"{scene_name} {columns} × {rows}"
        if isinstance(report, Unjoined):
            say(f"{label:22} {name:36} {report.sentence}")
            continue
        matrices = {tile.number - 1: np.array(tile.matrix) for tile in report.tiles if tile.matrix}
        rms, worst = true_error_px(matrices, dict(enumerate(truth)), tile_px)
        say(
            f"{label:22} {name:36} {rms:8.4f} {worst:8.4f} {report.rms_px:8.4f}  "
            f"{report.model}, {report.verdict} {' '.join(report.reasons)[:90]}",
        )


def order(first: int, cases: int) -> None:
    """Print how many orders with 0 to 4 swaps or turns come out right, and whether it is said."""
    counts: Counter[str] = Counter()
    for case in range(first, first + cases):
        rng = np.random.default_rng(1000 + case)
        columns, rows = (12, 7) if case % 28 == 27 else [(3, 4), (4, 3), (5, 4), (6, 5)][case % 4]
        cut = Cut(
            columns=columns,
            rows=rows,
            tile_px=ORDER_TILE_PX,
            overlap=ORDER_OVERLAP,
            gain=0.05,
            noise=0.01,
            turn_deg=0.3 * (case % 2),
            is_whole=case % 2 == 0,
        )
        tiles, _ = cut_tiles(texture(*scene_size(cut), seed=case), cut, seed=case)
        faults = int(rng.integers(0, 5))
        at = list(range(len(tiles)))
        turns = [0] * len(tiles)
        for _ in range(faults):
            a, b = rng.choice(len(tiles), 2, replace=False)
            if rng.random() < 0.5:
                at[a], at[b] = at[b], at[a]
            else:
                turns[at[a]] = int(rng.choice([2, 4, 6]))  # upside down, mirrored, or both
        given = [_lying(tiles[index], turns[index]) for index in at]
        with tempfile.TemporaryDirectory() as folder:
            report = report_on(write_tiles(Path(folder), given), (columns, rows), Path(folder))
        is_right = not isinstance(report, Unjoined) and all(
            tile.place == Place(at[n] % columns, at[n] // columns)
            and tile.turn == ALL_TURNS[turns[at[n]]]
            for n, tile in enumerate(report.tiles)
        )
        is_sure = not isinstance(report, Unjoined) and report.verdict is Verdict.JOINED
        counts[f"{'right' if is_right else 'wrong'} and {'sure' if is_sure else 'uncertain'}"] += 1
        said = report.sentence if isinstance(report, Unjoined) else " ".join(report.reasons)
        say(
            f"{case:3} {columns} × {rows}, {faults} faults: "
            f"{'right' if is_right else 'wrong'}, {'sure' if is_sure else 'uncertain'}. {said[:99]}"
        )
    say(str(dict(counts)))


def _lying(tile: np.ndarray, turn: int) -> np.ndarray:
    """Return the file in which the tile lies so that ``ALL_TURNS[turn]`` puts it right."""
    wanted = ALL_TURNS[turn]
    lying = np.rot90(tile, wanted.quarters)
    return lying[:, ::-1] if wanted.is_mirrored else lying


def main() -> int:
    """Run what is named, or both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", nargs="*", choices=["places", "order", []], default=[])
    parser.add_argument("--cases", type=int, help="sets of each kind, 1; or orders, 112")
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    if not options.what or "places" in options.what:
        places(options.cases or 1)
    if not options.what or "order" in options.what:
        order(options.first, options.cases or 112)
    return 0


if __name__ == "__main__":
    sys.exit(main())
