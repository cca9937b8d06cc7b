"""A set-up as it was used, and what is known of a pair of pictures beyond their set-ups."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class SupportChange(StrEnum):
    """What happened to the support between two pictures."""

    NONE = "none"
    RETENSIONED = "retensioned"
    FLATTENED = "flattened"
    FORMAT = "format changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """A set-up as used for one picture; None and empty mean "not recorded".

    Attributes:
        camera, lens: Models; ``camera_serial`` and ``lens_serial`` name the items.
        px_per_mm: Density on the object.
        tilt_deg: Easel against the camera, degrees.
        aperture, focus_mm: Aperture number; lens to object.
        light: "flash", "continuous" or another word for the kind of light.
        lamps: One text for each, with its serial: "flash head A, serial 3311".
        azimuths_deg, elevation_deg: Clock angle of each lamp; height above the face.
        polarisation: "none", "crossed", "parallel" …
        lamp_filter, barrier_filter: Filters of ultraviolet pictures; "none" for no filter.
        band_nm, sensor: Infrared band and kind of sensor.
        voltage_kv, charge_mas: X-ray.
        polarity: "positive", "negative" or empty.
        is_framed: Whether the object was in its frame.
    """

    camera: str = ""
    camera_serial: str = ""
    lens: str = ""
    lens_serial: str = ""
    px_per_mm: float | None = None
    tilt_deg: float | None = None
    aperture: float | None = None
    focus_mm: float | None = None
    light: str = ""
    lamps: tuple[str, ...] = ()
    azimuths_deg: tuple[float, ...] = ()
    elevation_deg: float | None = None
    polarisation: str = ""
    lamp_filter: str = ""
    barrier_filter: str = ""
    band_nm: tuple[float, float] | None = None
    sensor: str = ""
    voltage_kv: float | None = None
    charge_mas: float | None = None
    polarity: str = ""
    is_framed: bool | None = None

    @property
    def lamp_types(self) -> tuple[str, ...]:
        """The lamps without what tells two of a kind apart, in order of the alphabet."""
        return tuple(sorted(lamp_type(lamp) for lamp in self.lamps))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """What is known of two pictures together.

    Attributes:
        chart_delta_e: Mean ΔE00 between the chart's patches in both; None: not compared yet.
        has_chart: False when one of the pictures has no chart.
        patch_percent: Difference of the reference patch's light in the files, %; None: unknown.
        has_patch: False when one of the pictures has no reference patch.
        ink_points: Difference of what is left of iron-gall ink in infrared, in percentage points of
            carbon ink's contrast; None: not measured.
        support: What happened to the support in between; None: not known.
        support_words: The same in words, for the sentence.
        tilt_deg: Difference of tilt as fitted from the two files; None: not fitted.
        px_per_mm_ratio: The later density over the earlier as fitted from the files.
    """

    chart_delta_e: float | None = None
    has_chart: bool | None = None
    patch_percent: float | None = None
    has_patch: bool | None = None
    ink_points: float | None = None
    support: SupportChange | None = None
    support_words: str = ""
    tilt_deg: float | None = None
    px_per_mm_ratio: float | None = None


_SERIALS = re.compile(r",?\s*\bserials?\b.*$", re.IGNORECASE)
_LETTER = re.compile(r"\s+(?:[A-Z]|\d{1,2})$")


def lamp_type(lamp: str) -> str:
    """The kind of a lamp: its text without the serial and without the letter that follows it.

    >>> lamp_type("flash head A, serial 3311"), lamp_type("365 nm pair, serials 61 and 62")
    ('flash head', '365 nm pair')
    """
    return _LETTER.sub("", _SERIALS.sub("", lamp.strip())).strip().lower()


def angle_between(one_deg: float, other_deg: float) -> float:
    """Smallest angle between two directions, 0 to 180 degrees.

    >>> angle_between(350, 20), angle_between(-5, 5), angle_between(0, 180)
    (30.0, 10.0, 180.0)
    """
    return abs((float(one_deg) - other_deg + 180) % 360 - 180)


def widest_turn(before: Iterable[float], after: Iterable[float]) -> float | None:
    """Largest angle by which one of several lamps was moved, in the kindest pairing.

    None if the numbers of lamps differ. Both lists are ordered round the clock and turned against
    each other; for lamps on a circle one of these pairings is the kindest.

    >>> widest_turn((300, 60), (62, 297)), widest_turn((300,), (300, 60)) is None
    (3.0, True)
    """
    one = sorted(float(a) % 360 for a in before)
    other = sorted(float(a) % 360 for a in after)
    if len(one) != len(other):
        return None
    if not one:
        return 0.0
    turns = (other[start:] + other[:start] for start in range(len(other)))
    return min(max(map(angle_between, one, turned)) for turned in turns)
