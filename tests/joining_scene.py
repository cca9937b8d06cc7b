"""Tiles with known truth, cut from an invented texture or from a real radiograph.

Fractional places are sampled with a windowed sinc of eight taps computed in float64, an
interpolation that shares no code with the program's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pydicom
import pyvips
from pydicom.data import get_testdata_file

from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.joining.settings import JoinSettings

CHECKS = Path(__file__).parents[1] / "fixtures" / "checks"
SETTINGS = JoinSettings.from_settings(json.loads((CHECKS / "joining-1.json").read_text()))
LIMITS = Limits.from_settings(json.loads((CHECKS / "reading-limits-1.json").read_text()))
LEVELS = 65_535
MARGIN_PX = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How tiles are cut. Shares of the tile for overlap, of the level for gain and noise."""

    columns: int
    rows: int
    tile_px: tuple[int, int]
    overlap: float
    slip_px: float = 2.0
    turn_deg: float = 0.0
    gain: float = 0.0
    noise: float = 0.0
    is_whole: bool = False


def texture(height: int, width: int, *, seed: int) -> np.ndarray:
    """Invented structure from brushwork to large forms, levels 0.1 to 0.9."""
    rng = np.random.default_rng(seed)
    made = np.zeros((height, width), np.float32)
    for size, strength in ((1.2, 0.15), (2.5, 0.25), (6, 0.4), (20, 0.8), (80, 1.5)):
        shape = (int(height / size) + 4, int(width / size) + 4)
        grain = rng.standard_normal(shape).astype(np.float32)
        made += strength * cv2.resize(grain, (width, height), interpolation=cv2.INTER_CUBIC)
    made -= made.min()
    return made / made.max() * np.float32(0.8) + np.float32(0.1)


def radiograph() -> np.ndarray:
    """The radiograph RG1_UNCR of pydicom-data 1.0.0 (MIT), 1955 × 1841, levels 0 to 1."""
    path = get_testdata_file("RG1_UNCR.dcm", download=False)
    return pydicom.dcmread(path).pixel_array.astype(np.float32) / np.float32(32_767)


def sampled(scene: np.ndarray, matrix: np.ndarray, width: int, height: int) -> np.ndarray:
    """The scene at ``matrix`` times tile px."""
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    u = matrix[0, 0] * x + matrix[0, 1] * y + matrix[0, 2]
    v = matrix[1, 0] * x + matrix[1, 1] * y + matrix[1, 2]
    left, top = np.floor(u).astype(int), np.floor(v).astype(int)
    across = [_sinc(u - left - tap) for tap in range(-3, 5)]
    down = [_sinc(v - top - tap) for tap in range(-3, 5)]
    rows, columns = scene.shape
    total = np.zeros((height, width), np.float32)
    for j in range(8):
        at_row = np.clip(top + j - 3, 0, rows - 1)
        line = np.zeros((height, width), np.float32)
        for i in range(8):
            line += across[i] * scene[at_row, np.clip(left + i - 3, 0, columns - 1)]
        total += down[j] * line
    return total / (sum(across) * sum(down))


def _sinc(t: np.ndarray) -> np.ndarray:
    return ((np.sinc(t) * np.sinc(t / 4)) * (np.abs(t) < 4)).astype(np.float32)


def scene_size(cut: Cut) -> tuple[int, int]:
    """Height and width of the scene that such a cut needs."""
    width, height = cut.tile_px
    spare = 2 * MARGIN_PX + int(np.ceil(np.radians(cut.turn_deg) * max(width, height))) + 8
    return (
        int(height + (cut.rows - 1) * height * (1 - cut.overlap)) + spare,
        int(width + (cut.columns - 1) * width * (1 - cut.overlap)) + spare,
    )


def cut_tiles(
    scene: np.ndarray, cut: Cut, *, seed: int
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Return tiles of 16 bits, row by row, and their true matrices, tile px → scene px."""
    rng = np.random.default_rng(seed)
    width, height = cut.tile_px
    start = MARGIN_PX + np.radians(cut.turn_deg) * max(width, height) / 2
    tiles, truth = [], []
    for row in range(cut.rows):
        for column in range(cut.columns):
            x = start + column * width * (1 - cut.overlap) + rng.uniform(-1, 1) * cut.slip_px
            y = start + row * height * (1 - cut.overlap) + rng.uniform(-1, 1) * cut.slip_px
            if cut.is_whole:
                x, y = round(x), round(y)
            angle = np.radians(rng.uniform(-1, 1) * cut.turn_deg)
            turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
            middle = np.array([(width - 1) / 2, (height - 1) / 2])
            matrix = np.eye(3)
            matrix[:2, :2] = turn
            matrix[:2, 2] = middle + np.array([x, y]) - turn @ middle
            if cut.is_whole and not cut.turn_deg:
                seen = scene[int(y) : int(y) + height, int(x) : int(x) + width]
            else:
                seen = sampled(scene, matrix, width, height)
            seen = seen * (1 + rng.uniform(-1, 1) * cut.gain)
            if cut.noise:
                seen = seen + rng.standard_normal(seen.shape).astype(np.float32) * cut.noise
            tiles.append(np.clip(np.rint(seen * LEVELS), 0, LEVELS).astype(np.uint16))
            truth.append(matrix)
    return tiles, truth


def write_tiles(folder: Path, tiles: Sequence[np.ndarray]) -> list[Path]:
    """Write tiles as 16-bit TIFFs."""
    paths = []
    for number, pixels in enumerate(tiles, 1):
        path = folder / f"plate-{number:02d}.tif"
        kind = "rgb16" if pixels.ndim == 3 else "grey16"
        kind = kind if pixels.dtype == np.uint16 else "srgb" if pixels.ndim == 3 else "b-w"
        image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
        image.copy(interpretation=kind).tiffsave(str(path))
        paths.append(path)
    return paths


def true_error_px(
    found: Mapping[int, np.ndarray], truth: Mapping[int, np.ndarray], tile_px: tuple[int, int]
) -> tuple[float, float]:
    """Root mean square and largest error of all tile corners, after one common move and turn.

    Where the picture lies on its canvas is a free choice; the scale is not, and is not removed.
    """
    width, height = tile_px
    corners = np.array([[x, y, 1.0] for x in (0, width - 1) for y in (0, height - 1)])
    p = np.concatenate([(corners @ matrix.T)[:, :2] for matrix in found.values()])
    q = np.concatenate([(corners @ truth[index].T)[:, :2] for index in found])
    one = (p - p.mean(0)) @ (1, 1j)
    other = (q - q.mean(0)) @ (1, 1j)
    turn = np.vdot(one, other)
    rest = np.abs(turn / abs(turn) * one - other)
    return float(np.sqrt(np.mean(rest**2))), float(rest.max())
