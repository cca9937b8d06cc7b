"""First guesses: where a moving picture may lie on the reference, to about one part in a hundred.

Three ways, from the cheap and expected to the general. `grid_starts` tries turns of a few degrees
and scales around an expected one by correlating whole pictures at small size through the Fourier
transform. `feature_starts` finds corresponding points on slopes and on values (SIFT, Lowe 2004)
and keeps maps on which many agree (MAGSAC++, Barath et al. 2020). `spectrum_starts` finds turn
and scale from the log-polar spectra (Reddy and Chatterji 1996).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .features import Channels, Grey, describe, noise_floor, slopes
from .matrices import Matrix, inverse, normalise, similarity
from .pictures import Picture

COARSE_PX = 112
LEAST_OVERLAP = 0.35
TURNS_DEG = (-8.0, -4.0, 0.0, 4.0, 8.0)
SCALES = tuple(float(1.07**step) for step in range(-3, 4))
FEATURE_PX = 560
SIFT_POINTS = 1000
RATIO = 0.85
LEAST_INLIERS = 8
SPECTRUM_PX = 256


@dataclass(frozen=True, eq=False)
class Start:
    """A first map from moving px to reference px, and how well it fits, -1 to 1."""

    matrix: Matrix
    score: float
    found_by: str


def expected_scales(
    reference: Picture, moving: Picture, hint: float | None = None
) -> tuple[float, ...]:
    """Return likely ratios reference px over moving px: a hint, whole on whole, and 1."""
    whole = max(reference.width_px, reference.height_px) / max(moving.width_px, moving.height_px)
    kept: list[float] = []
    for ratio in ([hint] if hint else []) + [whole, 1.0]:
        if all(abs(np.log(ratio / other)) > 0.12 for other in kept):
            kept.append(float(ratio))
    return tuple(kept)


class Plane:
    """The reference at small size, prepared for correlation at every shift."""

    def __init__(
        self, reference: Picture, longest_px: float = COARSE_PX, *, room_px: int = 0
    ) -> None:
        """Prepare the reference.

        Args:
            room_px: Longest side of what will be correlated, px of the plane; the plane's own if
                that is longer.
        """
        small, self.to_small = reference.reduced(longest_px)
        self.rows, self.columns = small.shape
        longest = max(small.shape)
        self.side = cv2.getOptimalDFTSize(longest + max(longest, room_px))
        channels = describe(small, floor=noise_floor(small))
        self._spectra = self._transform(_centred(channels, None))
        self._energy = self._transform_plane(
            np.asarray(np.sum(_centred(channels, None) ** 2, axis=2), np.float32)
        )
        self._mask = self._transform_plane(np.ones(small.shape, np.float32))

    def _transform_plane(self, plane: Grey) -> NDArray[np.complex64]:
        return np.asarray(
            np.fft.rfft2(plane, (self.side, self.side)).astype(np.complex64), np.complex64
        )

    def _transform(self, channels: Channels) -> NDArray[np.complex64]:
        return np.stack([self._transform_plane(channels[..., k]) for k in range(4)])

    def correlate(
        self, small: Grey, inside: Grey, least: float = LEAST_OVERLAP
    ) -> tuple[float, float, float]:
        """Return the best normalised correlation over all shifts, and that shift in px.

        Args:
            small: Moving picture at the scale of the plane.
            inside: 1 where `small` shows the picture, 0 where it was filled.
            least: Least overlap, as a share of the smaller area.
        """
        score = self.surface(small, inside, least)
        y, x = np.unravel_index(int(np.argmax(score)), score.shape)
        return float(score[y, x]), self.shift_of(int(x)), self.shift_of(int(y))

    def shift_of(self, index: int) -> float:
        """Return the shift in px that a column or row of the surface stands for."""
        return float(index - self.side if index > self.side // 2 else index)

    def surface(
        self, small: Grey, inside: Grey, least: float = LEAST_OVERLAP
    ) -> NDArray[np.float64]:
        """Return the normalised correlation at every shift, (side, side); see `correlate`.

        Columns and rows beyond half the side stand for negative shifts; -1 where too little
        overlaps.
        """
        channels = _centred(describe(small, floor=noise_floor(small)), inside)
        side = self.side
        cross = np.zeros((side, side // 2 + 1), np.complex64)
        for k in range(4):
            cross += self._spectra[k] * np.conj(self._transform_plane(channels[..., k]))
        energy = np.asarray(np.sum(channels * channels, axis=2), np.float32)
        mask = np.conj(self._transform_plane(inside))
        product = np.fft.irfft2(cross, (side, side))
        one = np.fft.irfft2(self._energy * mask, (side, side))
        other = np.fft.irfft2(self._mask * np.conj(self._transform_plane(energy)), (side, side))
        area = np.fft.irfft2(self._mask * mask, (side, side))
        needed = least * min(float(inside.sum()), float(self.rows * self.columns))
        allowed = area >= max(needed, 1.0)
        return np.asarray(
            np.where(
                allowed, product / np.sqrt(np.maximum(one, 1e-3) * np.maximum(other, 1e-3)), -1.0
            ),
            np.float64,
        )


def _centred(channels: Channels, inside: Grey | None) -> Channels:
    """Take the mean of each channel off, and the rim away, so that shifts compare fairly."""
    kept = channels if inside is None else channels * inside[..., None]
    count = (
        float(inside.sum()) if inside is not None else float(channels.shape[0] * channels.shape[1])
    )
    centred = channels - kept.sum(axis=(0, 1)) / max(count, 1.0)
    if inside is not None:
        centred = centred * inside[..., None]
    return np.asarray(centred, np.float32)


def placed(moving: Picture, turn: Matrix, scale: float) -> tuple[Grey, Grey, Matrix]:
    """Return the moving picture turned and scaled, what of it is picture, and the matrix used.

    Args:
        turn: 2 x 2 part in a 3 x 3 matrix, without scale.
        scale: px of the result over px of the moving picture.
    """
    longest = max(moving.width_px, moving.height_px) * scale
    small, to_small = moving.reduced(max(24.0, longest))
    inner = turn @ inverse(to_small)
    inner = similarity(scale=scale) @ inner
    rows, columns = small.shape
    box = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]], float)
    mapped = box @ inner[:2, :2].T + inner[:2, 2]
    low = mapped.min(axis=0)
    size = np.maximum(np.ceil(mapped.max(axis=0) - low).astype(int) + 1, 16)
    shift = similarity(shift=(-float(low[0]), -float(low[1])))
    matrix = shift @ inner
    values = cv2.warpPerspective(
        small, matrix, (int(size[0]), int(size[1])), borderMode=cv2.BORDER_REPLICATE
    )
    inside = cv2.warpPerspective(np.ones_like(small), matrix, (int(size[0]), int(size[1])))
    inside = cv2.erode((inside > 0.99).astype(np.float32), np.ones((5, 5), np.uint8), borderValue=0)
    return np.asarray(values, np.float32), np.asarray(inside, np.float32), matrix @ to_small


def grid_starts(
    plane: Plane,
    moving: Picture,
    *,
    scales: Sequence[float],
    turns_deg: Sequence[float] = TURNS_DEG,
    steps: Sequence[float] = SCALES,
    keep: int = 2,
) -> list[Start]:
    """Try turns and scales around the expected ones; return the best, best first."""
    found: list[Start] = []
    to_small = float(plane.to_small[0, 0])
    for expected in scales:
        for step in steps:
            scale = expected * step * to_small
            longest = max(moving.width_px, moving.height_px) * scale
            if not 20 <= longest <= plane.side * 0.6:
                continue
            for turn in turns_deg:
                values, inside, matrix = placed(moving, similarity(rotation_deg=turn), scale)
                if max(values.shape) > plane.side or inside.sum() < 100:
                    continue
                score, dx, dy = plane.correlate(values, inside)
                whole = inverse(plane.to_small) @ similarity(shift=(dx, dy)) @ matrix
                found.append(Start(normalise(whole), score, "grid"))
    found.sort(key=lambda start: -start.score)
    return found[:keep]


def feature_starts(reference: Picture, moving: Picture, *, on_slopes: bool) -> list[Start]:
    """Find points on both pictures that look alike, and the maps on which many agree."""
    seen = [_points(picture, on_slopes=on_slopes) for picture in (reference, moving)]
    (points_r, described_r), (points_m, described_m) = seen
    if min(len(points_r), len(points_m)) < LEAST_INLIERS:
        return []
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(described_m, described_r, k=2)
    good = [one[0] for one in pairs if len(one) == 2 and one[0].distance < RATIO * one[1].distance]
    if len(good) < LEAST_INLIERS:
        return []
    source = np.array([points_m[each.queryIdx] for each in good], np.float64)
    target = np.array([points_r[each.trainIdx] for each in good], np.float64)
    reach = 3.0 * max(reference.width_px, reference.height_px) / FEATURE_PX
    found = []
    affine, kept = cv2.estimateAffinePartial2D(
        source, target, method=cv2.RANSAC, ransacReprojThreshold=reach, maxIters=2000
    )
    if affine is not None and int(kept.sum()) >= LEAST_INLIERS:
        found.append(Start(np.vstack((affine, [0, 0, 1])), float(kept.mean()), "points"))
    whole, kept = cv2.findHomography(source, target, cv2.USAC_MAGSAC, reach, maxIters=2000)
    if whole is not None and int(kept.sum()) >= LEAST_INLIERS + 4:
        found.append(Start(normalise(np.asarray(whole)), float(kept.mean()), "points"))
    return found


def _points(
    picture: Picture, *, on_slopes: bool
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    small, to_small = picture.reduced(FEATURE_PX)
    if on_slopes:
        gx, gy = slopes(np.asarray(cv2.GaussianBlur(small, (0, 0), 1.0), np.float32))
        small = np.sqrt(np.hypot(gx, gy))
    low, high = np.quantile(small, (0.005, 0.995))
    eight = np.clip((small - low) * (255 / max(float(high - low), 1e-9)), 0, 255).astype(np.uint8)
    sift = cv2.SIFT.create(nfeatures=SIFT_POINTS, contrastThreshold=0.02)
    points, described = sift.detectAndCompute(eight, None)
    if described is None or not points:
        return np.empty((0, 2)), np.empty((0, 128), np.float32)
    at = np.array([point.pt for point in points], np.float64)
    back = inverse(to_small)
    return at @ back[:2, :2].T + back[:2, 2], np.asarray(described, np.float32)


def spectrum_starts(
    plane: Plane, reference: Picture, moving: Picture, *, keep: int = 2
) -> list[Start]:
    """Find turn and scale from the spectra of the slopes, then the shift by correlation."""
    one, to_one = _log_polar(reference)
    other, to_other = _log_polar(moving)
    steps, rings = one.shape
    cross = np.fft.fft2(one) * np.conj(np.fft.fft2(other))
    surface = np.fft.ifft2(cross / (np.abs(cross) + 1e-9)).real
    surface = np.asarray(cv2.GaussianBlur(surface.astype(np.float32), (0, 0), 1.0), np.float64)
    found: list[Start] = []
    base = float(np.log(SPECTRUM_PX / 2) / rings)
    for _ in range(keep):
        row, column = np.unravel_index(int(np.argmax(surface)), surface.shape)
        turn = 180.0 * (row if row <= steps // 2 else row - steps) / steps
        ring = column if column <= rings // 2 else column - rings
        shrink = float(np.exp(base * ring))
        ratio = to_other / to_one / shrink
        surface[max(0, row - 4) : row + 5, max(0, column - 4) : column + 5] = -1
        if not 0.1 < ratio * to_one / to_other < 10:
            continue
        found += grid_starts(
            plane, moving, scales=[ratio], steps=[1.0], turns_deg=[turn, turn + 180.0], keep=2
        )
    found.sort(key=lambda start: -start.score)
    return [Start(start.matrix, start.score, "spectrum") for start in found[:keep]]


def _log_polar(picture: Picture) -> tuple[NDArray[np.float64], float]:
    """Return the log-polar spectrum of a picture's slopes, and px of it over px of the picture."""
    small, to_small = picture.reduced(SPECTRUM_PX)
    gx, gy = slopes(small)
    strength = np.sqrt(np.hypot(gx, gy))
    strength -= float(strength.mean())
    rows, columns = strength.shape
    window = np.outer(np.hanning(rows), np.hanning(columns))
    spectrum = np.abs(np.fft.fftshift(np.fft.fft2(strength * window, (SPECTRUM_PX, SPECTRUM_PX))))
    spectrum = np.log1p(spectrum)
    middle = SPECTRUM_PX / 2
    polar = cv2.warpPolar(
        spectrum.astype(np.float32),
        (SPECTRUM_PX, 2 * SPECTRUM_PX),
        (middle, middle),
        middle,
        cv2.WARP_POLAR_LOG | cv2.INTER_LINEAR,
    )[:SPECTRUM_PX]
    polar = polar - cv2.GaussianBlur(polar, (0, 0), 12)
    polar[:, : SPECTRUM_PX // 4] = 0
    return np.asarray(polar, np.float64), float(to_small[0, 0])
