"""Find the code of a slate in a picture, and read it.

The picture is looked at small first, since nearly every picture holds no slate; only where the
three corner marks of a code are found is it read, at full size, with a few remedies for dim light,
blur and slant. Not finding a code is an answer and not an error.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.slate.payload import Slate, read_slate_text

LOOKED_AT_PX = 512
READ_AT_PX = (1024, 1536)
CODE_PX = 480
LEAST_PX = 64
"""A code of 33 modules within its quiet zone of 8 cannot be told in fewer pixels."""
LEAST_SIDES = 0.35
"""Shortest side of a code over its longest: held at 60 degrees it is a half."""
MARK_MODULES = 7
MARK_SIDES = (25, 29, 33, 37, 41)
"""Modules on a side of the codes whose corner marks are looked for."""
LEAST_MARK = 0.5
"""Correlation from which a corner mark is one: codes that can be read have 0.6, paint below 0.4."""
MARKS = 3
Grey = NDArray[np.uint8]


def find_slate(grey: Grey) -> Slate | None:
    """Return what a photographed slate says, or None if no slate can be read.

    Args:
        grey: Picture, (rows, columns), 0 to 255; about 1,024 px on the longer side is enough if
            the code takes at least a fifth of the picture's width. It is not changed.

    Raises:
        ValueError: The picture is not two-dimensional or has no pixel.

    >>> find_slate(np.full((300, 400), 128, np.uint8)) is None
    True
    """
    if grey.ndim != 2 or not grey.size:
        raise ValueError(f"A grey picture is needed, got shape {grey.shape}.")
    if min(grey.shape) < LEAST_PX:
        return None
    detector = cv2.QRCodeDetector()
    small = _sized(grey, LOOKED_AT_PX)
    for looked_at in (small, _stretched(small)):
        found, corners = detector.detect(looked_at)
        if found and corners is not None:
            at = corners[0] * (max(grey.shape) / max(looked_at.shape))
            return _read(grey, detector, at) if _may_be_code(grey, at) else None
    return None


def _may_be_code(grey: Grey, corners: NDArray[np.float32]) -> bool:
    """Whether a code may lie there: a shape that one can have, with three corner marks.

    Paint has many places that look like marks; reading each in vain takes far longer than this.
    """
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    if sides.min() < LEAST_SIDES * sides.max():
        return False
    upright = _upright(grey, corners)
    return any(_count_marks(upright, side) >= MARKS for side in MARK_SIDES)


def _count_marks(upright: Grey, side: int) -> int:
    """How many corners of a code turned upright hold a mark, if it has so many modules a side."""
    edge = CODE_PX // 8
    mark = _mark(round((CODE_PX - 2 * edge) * MARK_MODULES / side))
    reach = 2 * edge + len(mark) - edge // 2
    near = slice(0, reach), slice(CODE_PX - reach, CODE_PX)
    return sum(
        float(cv2.matchTemplate(upright[down, across], mark, cv2.TM_CCOEFF_NORMED).max())
        >= LEAST_MARK
        for down in near
        for across in near
    )


def _mark(size_px: int) -> Grey:
    """A corner mark: a dark square in a light ring in a dark one, 3, 5 and 7 modules wide."""
    modules = np.zeros((MARK_MODULES, MARK_MODULES), np.uint8)
    modules[1:-1, 1:-1] = 255
    modules[2:-2, 2:-2] = 0
    drawn = cv2.resize(modules, (size_px, size_px), interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.GaussianBlur(drawn, (0, 0), size_px / 30), np.uint8)


def _read(grey: Grey, detector: cv2.QRCodeDetector, corners: NDArray[np.float32]) -> Slate | None:
    for candidate in _candidates(grey, corners):
        try:
            text = detector.detectAndDecode(candidate)[0]
        except cv2.error:
            continue
        slate = read_slate_text(text) if text else None
        if slate is not None:
            return slate
    return None


def _candidates(grey: Grey, corners: NDArray[np.float32]) -> Iterator[Grey]:
    """Yield the picture as it is, then the code turned upright, lightened and sharpened."""
    for size in READ_AT_PX:
        yield _sized(grey, size)
    upright = _upright(grey, corners)
    lightened = _stretched(upright)
    yield upright
    yield lightened
    for sigma in (1.5, 3.0, 5.0):
        blurred = cv2.GaussianBlur(lightened, (0, 0), sigma)
        sharp = cv2.addWeighted(lightened, 2.5, blurred, -1.5, 0)
        yield np.asarray(sharp, np.uint8)
    _, two_valued = cv2.threshold(lightened, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    yield np.asarray(two_valued, np.uint8)


def _upright(grey: Grey, corners: NDArray[np.float32]) -> Grey:
    """Map the four corners of the code onto a square with a quiet zone of an eighth."""
    edge = CODE_PX / 8
    far = CODE_PX - edge
    square = np.array([(edge, edge), (far, edge), (far, far), (edge, far)], np.float32)
    turn = cv2.getPerspectiveTransform(np.asarray(corners, np.float32), square)
    found = cv2.warpPerspective(
        grey, turn, (CODE_PX, CODE_PX), flags=cv2.INTER_CUBIC, borderValue=255
    )
    return np.asarray(found, np.uint8)


def _sized(grey: Grey, longer_px: int) -> Grey:
    factor = longer_px / max(grey.shape)
    if factor == 1:
        return grey
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    rows, columns = (max(1, round(length * factor)) for length in grey.shape)
    return np.asarray(cv2.resize(grey, (columns, rows), interpolation=how), np.uint8)


def _stretched(grey: Grey) -> Grey:
    """Spread the values from the 1st to the 99th percentile over the whole range."""
    low, high = np.percentile(grey, (1, 99))
    if high - low < 1:
        return grey
    spread = (grey.astype(np.float32) - low) * (255 / (high - low))
    return np.asarray(np.clip(spread, 0, 255), np.uint8)
