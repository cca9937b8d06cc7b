"""What is derived from a master, and the names that the results get."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from imaging_requests.imaging.files.data_values import (
    DataError,
    take_list,
    take_number,
    take_version,
    take_whole,
)

CODE_VERSION = 2
"""Raised whenever the same recipe would give other bytes; old results are then made anew."""


class Tone(StrEnum):
    """How levels become visible: ``AUTO`` stretches grey pictures of more than 8 bits only."""

    AUTO = "auto"
    MANAGED = "managed"
    STRETCHED = "stretched"


@dataclass(frozen=True, slots=True)
class Recipe:
    """Parameters of the derived pictures; sizes in px, qualities 0 to 100, window in percent."""

    version: int
    tile_px: int
    pyramid_quality: int
    thumbnail_sizes_px: tuple[int, ...]
    thumbnail_quality: int
    window_low_percent: float
    window_high_percent: float
    tone: Tone = Tone.AUTO

    @classmethod
    def from_settings(cls, data: Mapping[str, Any], *, tone: Tone = Tone.AUTO) -> "Recipe":
        """Read the recipe from versioned data; raises ``DataError`` if a value is missing."""
        recipe = cls(
            version=take_version(data),
            tile_px=take_whole(data, "pyramid.tile_px"),
            pyramid_quality=take_whole(data, "pyramid.jpeg_quality"),
            thumbnail_sizes_px=take_list(data, "thumbnail.sizes_px", int),
            thumbnail_quality=take_whole(data, "thumbnail.jpeg_quality"),
            window_low_percent=take_number(data, "window.low_percent"),
            window_high_percent=take_number(data, "window.high_percent"),
            tone=tone,
        )
        if recipe.tile_px < 16 or recipe.tile_px % 16:
            raise DataError("The value of pyramid.tile_px must be a multiple of 16.")
        if not recipe.thumbnail_sizes_px or min(recipe.thumbnail_sizes_px) < 1:
            raise DataError("The value of thumbnail.sizes_px must hold sizes above 0.")
        return recipe

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        return asdict(self) | {
            "tone": self.tone.value,
            "thumbnail_sizes_px": list(self.thumbnail_sizes_px),
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> "Recipe":
        """Rebuild a recipe from ``as_data``."""
        values = dict(data)
        values["thumbnail_sizes_px"] = tuple(values["thumbnail_sizes_px"])
        values["tone"] = Tone(values["tone"])
        return cls(**values)

    def key(self, source_sha256: str) -> str:
        """Return the 20 digits that name the results: recipe, code version and source together.

        >>> recipe = Recipe(1, 512, 88, (1024, 256), 85, 0.5, 99.5)
        >>> recipe.key("a" * 64) == recipe.key("b" * 64)
        False
        """
        what = {"recipe": self.as_data(), "code": CODE_VERSION, "source": source_sha256}
        text = json.dumps(what, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:20]


def pyramid_name(key: str) -> str:
    """Return the file name of the tile pyramid."""
    return f"pyramid-{key}.tif"


def thumbnail_name(key: str, size_px: int) -> str:
    """Return the file name of a thumbnail whose longer side is ``size_px``."""
    return f"thumbnail-{size_px}-{key}.jpg"


def report_name(key: str) -> str:
    """Return the file name of the report; it is written last and says that the rest is there."""
    return f"derived-{key}.json"
