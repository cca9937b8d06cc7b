"""Small true masters as a camera writes them; for tests that know no database as well."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from imaging_requests.imaging.synthesis.writer import CameraNotes, tiff_bytes

ZONE = ZoneInfo("Europe/London")


def pixels(seed: int = 1, *, width: int = 96, height: int = 64, bands: int = 3) -> Any:
    """Noise with more than 256 levels, so that 16 bits are really used."""
    shape = (height, width, bands) if bands > 1 else (height, width)
    return np.random.default_rng(seed).integers(500, 60_000, shape, dtype=np.uint16)


def tiff(
    seed: int = 1,
    *,
    at: datetime,
    exposure_s: float = 1 / 60,
    f_number: float = 8,
    iso: int = 100,
    picture: Any = None,
    has_profile: bool = True,
    **notes: Any,
) -> bytes:
    """A master as a camera writes it, taken at an instant."""
    parts = tiff_bytes(
        pixels(seed) if picture is None else picture,
        px_per_mm=6,
        notes=CameraNotes(
            taken_at=at.astimezone(ZONE),
            exposure_s=exposure_s,
            f_number=f_number,
            iso=iso,
            **notes,
        ),
        has_profile=has_profile,
    )
    return b"".join(bytes(part) for part in parts)
