"""Read what a request asks for: region, size, rotation, quality and format, made exact in pixels.

After the IIIF Image API 3.0, sections 4 and 4.7 (https://iiif.io/api/image/3.0/). Pixel
coordinates: x to the right, y down, from the picture's upper left corner.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

MEDIA_TYPES = {"jpg": "image/jpeg", "png": "image/png"}
QUALITIES = ("default", "color", "gray", "bitonal")
FULL_TURN_DEG = 360
PERCENT = 100
_WHOLE = re.compile(r"[0-9]{1,9}")
_DECIMAL = re.compile(r"[0-9]{1,9}(\.[0-9]{1,12})?|\.[0-9]{1,12}")


class WrongRequestError(ValueError):
    """A request that cannot be answered as it is written; the text says why and what would do."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What one answer may be at most, in pixels."""

    max_area_px: int
    max_side_px: int

    def fit(self, width_px: int, height_px: int, *, may_enlarge: bool = False) -> tuple[int, int]:
        """Return the largest size of the same shape within the limits.

        >>> Limits(max_area_px=1_000_000, max_side_px=2_000).fit(4_000, 1_000)
        (2000, 500)
        """
        scale = min(
            math.sqrt(self.max_area_px / (width_px * height_px)),
            self.max_side_px / max(width_px, height_px),
        )
        if scale >= 1 and not may_enlarge:
            return width_px, height_px
        return max(1, int(width_px * scale)), max(1, int(height_px * scale))

    def allow(self, width_px: int, height_px: int) -> bool:
        """Tell whether a picture of this size may be sent."""
        return (
            max(width_px, height_px) <= self.max_side_px
            and width_px * height_px <= self.max_area_px
        )


@dataclass(frozen=True, slots=True)
class Asked:
    """One request in pixels of the full picture: what to cut out and how to give it.

    ``rotation_deg``: clockwise, 0 to 360, after the mirroring. ``out_…``: size before the rotation.
    """

    x_px: int
    y_px: int
    width_px: int
    height_px: int
    out_width_px: int
    out_height_px: int
    is_mirrored: bool
    rotation_deg: float
    quality: str
    format: str
    is_full: bool
    is_max: bool

    @property
    def scale(self) -> float:
        """Pixels of the answer per pixel of the region, the larger of both directions."""
        return max(self.out_width_px / self.width_px, self.out_height_px / self.height_px)

    @property
    def is_upright(self) -> bool:
        """Neither turned nor mirrored."""
        return not self.is_mirrored and self.rotation_deg % FULL_TURN_DEG == 0

    def canonical(self, *, default_quality: str) -> str:
        """Return the one spelling of this request (section 4.7), below the picture's address.

        >>> asked = read_request(
        ...     ("0,0,300,200", "300,", "0", "color", "jpg"), size_px=(300, 200),
        ...     limits=Limits(max_area_px=10**6, max_side_px=1000))
        >>> asked.canonical(default_quality="color")
        'full/max/0/default.jpg'
        """
        region = (
            "full" if self.is_full else f"{self.x_px},{self.y_px},{self.width_px},{self.height_px}"
        )
        size = "max" if self.is_max else f"{self.out_width_px},{self.out_height_px}"
        if self.out_width_px > self.width_px or self.out_height_px > self.height_px:
            size = f"^{size}"
        turn = f"{'!' if self.is_mirrored else ''}{self.rotation_deg:.12g}"
        quality = "default" if self.quality == default_quality else self.quality
        return f"{region}/{size}/{turn}/{quality}.{self.format}"


def read_request(
    parts: tuple[str, str, str, str, str], *, size_px: tuple[int, int], limits: Limits
) -> Asked:
    """Make a request exact for a picture of ``size_px`` (width, height).

    ``parts``: region, size, rotation, quality, format, each as it stands in the address. Raises
    ``WrongRequestError`` with a sentence. The specification's own examples:

    >>> limits = Limits(max_area_px=10**6, max_side_px=1000)
    >>> asked = read_request(
    ...     ("125,15,200,200", "max", "0", "default", "jpg"), size_px=(300, 200), limits=limits)
    >>> (asked.out_width_px, asked.out_height_px)
    (175, 185)
    >>> asked = read_request(
    ...     ("full", "!225,100", "0", "default", "jpg"), size_px=(300, 200), limits=limits)
    >>> (asked.out_width_px, asked.out_height_px)
    (150, 100)
    """
    region, size, rotation, quality, suffix = parts
    if suffix not in MEDIA_TYPES:
        raise WrongRequestError(
            f"Pictures are given as {' or '.join(MEDIA_TYPES)}, not as the format asked for."
        )
    if quality not in QUALITIES:
        raise WrongRequestError(f"The quality must be one of {', '.join(QUALITIES)}.")
    is_mirrored, rotation_deg = _rotation(rotation)
    x_px, y_px, width_px, height_px = _region(region, *size_px)
    out_px = _size(size, width_px, height_px, limits)
    return Asked(
        x_px=x_px,
        y_px=y_px,
        width_px=width_px,
        height_px=height_px,
        out_width_px=out_px[0],
        out_height_px=out_px[1],
        is_mirrored=is_mirrored,
        rotation_deg=rotation_deg,
        quality=quality,
        format=suffix,
        is_full=(x_px, y_px, width_px, height_px) == (0, 0, *size_px),
        is_max=out_px in (limits.fit(width_px, height_px), _enlarged(width_px, height_px, limits)),
    )


def _rotation(text: str) -> tuple[bool, float]:
    is_mirrored = text.startswith("!")
    number = text[1:] if is_mirrored else text
    if not _DECIMAL.fullmatch(number) or float(number) > FULL_TURN_DEG:
        raise WrongRequestError(
            "The rotation must be degrees from 0 to 360, with ! before it to mirror first."
        )
    return is_mirrored, float(number)


def _region(text: str, width_px: int, height_px: int) -> tuple[int, int, int, int]:
    if text == "full":
        return 0, 0, width_px, height_px
    if text == "square":
        side = min(width_px, height_px)
        return (width_px - side) // 2, (height_px - side) // 2, side, side
    if text.startswith("pct:"):
        x, y, w, h = _decimals(text[4:], count=4, what="region")
        left, top = round(x * width_px / PERCENT), round(y * height_px / PERCENT)
        wide, high = round(w * width_px / PERCENT), round(h * height_px / PERCENT)
        wide, high = max(wide, int(w > 0)), max(high, int(h > 0))
    else:
        numbers = text.split(",")
        if len(numbers) != 4 or not all(_WHOLE.fullmatch(number) for number in numbers):
            raise WrongRequestError(
                "The region must be full, square, x,y,width,height in whole pixels, or "
                "pct:x,y,width,height in percent."
            )
        left, top, wide, high = (int(number) for number in numbers)
    if wide < 1 or high < 1:
        raise WrongRequestError("The region has no width or no height.")
    if left >= width_px or top >= height_px:
        raise WrongRequestError(
            f"The region lies outside the picture, which is {width_px} × {height_px} pixels."
        )
    return left, top, min(wide, width_px - left), min(high, height_px - top)


def _size(text: str, width_px: int, height_px: int, limits: Limits) -> tuple[int, int]:
    may_enlarge = text.startswith("^")
    plain = text[1:] if may_enlarge else text
    if plain == "max":
        return limits.fit(width_px, height_px, may_enlarge=may_enlarge)
    if plain.startswith("pct:"):
        (percent,) = _decimals(plain[4:], count=1, what="size")
        wide, high = round(width_px * percent / PERCENT), round(height_px * percent / PERCENT)
        wide, high = max(wide, int(percent > 0)), max(high, int(percent > 0))
        is_larger = percent > PERCENT
    else:
        wide, high = _sides(plain, width_px, height_px)
        is_larger = wide > width_px or high > height_px
    if wide < 1 or high < 1:
        raise WrongRequestError("The size asked for has no width or no height.")
    if is_larger and not may_enlarge:
        raise WrongRequestError(
            f"The size asked for is larger than the region, which is {width_px} × {height_px} "
            "pixels. Write ^ before the size if it shall be enlarged."
        )
    if not limits.allow(wide, high):
        if plain.startswith("!"):
            return limits.fit(wide, high)
        raise WrongRequestError(
            f"The answer would be {wide} × {high} pixels; the most is {limits.max_area_px} pixels "
            f"and {limits.max_side_px} on a side. Ask for a smaller size or region."
        )
    return wide, high


def _enlarged(width_px: int, height_px: int, limits: Limits) -> tuple[int, int]:
    return limits.fit(width_px, height_px, may_enlarge=True)


def _sides(text: str, width_px: int, height_px: int) -> tuple[int, int]:
    is_within = text.startswith("!")
    numbers = (text[1:] if is_within else text).split(",")
    is_readable = len(numbers) == 2 and all(not each or _WHOLE.fullmatch(each) for each in numbers)
    if not is_readable or not any(numbers) or (is_within and not all(numbers)):
        raise WrongRequestError(
            "The size must be max, width, or ,height or width,height in whole pixels, "
            "!width,height for the largest that fits, or pct:n."
        )
    wide, high = (int(each) if each else 0 for each in numbers)
    if is_within:
        scale = min(wide / width_px, high / height_px)
        return _scaled(width_px, scale, wide), _scaled(height_px, scale, high)
    if not numbers[1]:
        high = _scaled(height_px, wide / width_px)
    elif not numbers[0]:
        wide = _scaled(width_px, high / height_px)
    return wide, high


def _scaled(length_px: int, scale: float, most: int | None = None) -> int:
    """Return a scaled side: at least one pixel where there is any size at all."""
    found = max(round(length_px * scale), int(scale > 0))
    return found if most is None else min(found, most)


def _decimals(text: str, *, count: int, what: str) -> list[float]:
    numbers = text.split(",")
    if len(numbers) != count or not all(_DECIMAL.fullmatch(number) for number in numbers):
        raise WrongRequestError(f"The {what} in percent needs {count} number(s) after pct:.")
    return [float(number) for number in numbers]
