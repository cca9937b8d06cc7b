"""What every frame shares: pose, truth, evenness; and the slate that shows the time."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from .noise import encode
from .shot import Shot, Truth
from .vocabulary import Face, Map, Matrix, front_azimuth_deg


def pose_matrix(shot: Shot) -> NDArray[np.float64]:
    """3 x 3, from the square and true picture's px to those of the picture as it was taken."""
    rows, columns = shot.size_px
    centre = np.array([[1, 0, (columns - 1) / 2], [0, 1, (rows - 1) / 2], [0, 0, 1]], float)
    angle = np.deg2rad(shot.pose.rotation_deg)
    cos, sin = np.cos(angle) * shot.pose.scale, np.sin(angle) * shot.pose.scale
    shift_x = -shot.pose.shift_x_mm * shot.px_per_mm
    shift_y = -shot.pose.shift_y_mm * shot.px_per_mm
    turn = np.array([[cos, -sin, shift_x], [sin, cos, shift_y], [0, 0, 1]], float)
    lean = np.eye(3)
    lean[2, 1] = -shot.pose.keystone / max(rows, 1)
    return np.asarray(centre @ turn @ lean @ np.linalg.inv(centre))


def px_to_face_mm(shot: Shot) -> Matrix:
    """3 x 3, from px of the picture as it was taken to face mm."""
    step = 1 / shot.px_per_mm
    ideal = np.array(
        [[step, 0, shot.tile.x + step / 2], [0, step, shot.tile.y + step / 2], [0, 0, 1]]
    )
    total = ideal @ np.linalg.inv(pose_matrix(shot))
    total /= total[2, 2]
    a, b, c = (tuple(float(v) for v in row) for row in total)
    return ((a[0], a[1], a[2]), (b[0], b[1], b[2]), (c[0], c[1], c[2]))


def truth_of(shot: Shot) -> Truth:
    """The record of a shot."""
    azimuth = shot.azimuth_deg
    seen_from_front = front_azimuth_deg(azimuth) if shot.face is Face.BACK else azimuth
    return Truth(
        technique=shot.technique,
        face=shot.face,
        role=shot.role,
        direction=shot.direction,
        ev=shot.ev,
        tile=shot.tile,
        px_per_mm=shot.px_per_mm,
        px_to_face_mm=px_to_face_mm(shot),
        azimuth_deg=azimuth,
        azimuth_from_front_deg=seen_from_front,
        elevation_deg=shot.lamp.elevation_deg,
        distance_mm=shot.lamp.distance_mm,
        has_barrier_filter=shot.has_barrier_filter,
        room_light=shot.room_light,
        unevenness=shot.unevenness,
        blur_px=shot.blur_px,
        noise_seed=shot.noise_seed,
        is_detector_polarity=shot.is_detector_polarity,
        plate=shot.plate,
    )


def evenness(shape: tuple[int, ...], unevenness: float) -> Map:
    """Share of light over the picture: 1 in the middle, 1 - unevenness in the corners."""
    rows, columns = shape[:2]
    u = np.linspace(-1, 1, columns, dtype=np.float32)[None, :]
    v = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    field = 1 - np.float32(unevenness) * (u * u + v * v) / 2
    return field[..., None] if len(shape) == 3 else field


def capture_slate(
    lines: tuple[str, ...], *, code: str, size_px: tuple[int, int] = (600, 900), seed: int = 0
) -> NDArray[np.uint16]:
    """A slate with the studio clock's time, and the same as a square code.

    Args:
        lines: What is written on it; the first, the time, is the largest.
        code: Text of the square code, up to 120 characters.
        size_px: Rows, columns.

    Returns:
        uint16 colour frame, (rows, columns, 3).
    """
    rows, columns = size_px
    board = np.full((rows, columns), 20, np.uint8)
    square = cv2.QRCodeEncoder.create().encode(code)
    side = max(square.shape[0], int(rows * 0.5) // square.shape[0] * square.shape[0])
    big = cv2.resize(square, (side, side), interpolation=cv2.INTER_NEAREST)
    quiet = side // 12
    big = cv2.copyMakeBorder(big, *(quiet,) * 4, cv2.BORDER_CONSTANT, value=255)
    top, left = rows - big.shape[0] - rows // 20, columns - big.shape[1] - rows // 20
    board[top : top + big.shape[0], left : left + big.shape[1]] = big
    y = rows * 0.14
    for number, line in enumerate(lines):
        scale = rows / (300.0 if number == 0 else 520.0)
        cv2.putText(
            board,
            line,
            (rows // 16, round(y)),
            cv2.FONT_HERSHEY_SIMPLEX,
            scale,
            235,
            max(1, round(scale * 2)),
            cv2.LINE_AA,
        )
        y += rows * (0.15 if number == 0 else 0.09)
    light = (board.astype(np.float32) / 255) ** 2 * 0.85
    return encode(np.dstack([light] * 3), seed=seed, strength=0.002, is_linear=False)
