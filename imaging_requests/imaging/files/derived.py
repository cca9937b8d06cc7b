"""The result of a full decode, as plain values, and how to find it again on the disk."""

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from imaging_requests.imaging.files.levels import ChannelLevels
from imaging_requests.imaging.files.recipe import report_name


@dataclass(frozen=True, slots=True)
class DerivedFile:
    """A derived file in the output folder: its kind, name, size in px and length in bytes."""

    kind: str
    name: str
    width_px: int
    height_px: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Derived:
    """The result of a full decode.

    ``levels``: per channel, empty for 8-bit pictures without transparency (nothing to find there).
    ``alpha_is_opaque``: None without transparency. ``turned_from``: the orientation flag of the
    master; the derived pictures stand upright. ``timings_ms``: by phase.
    """

    key: str
    source_sha256: str
    width_px: int
    height_px: int
    files: tuple[DerivedFile, ...]
    is_tone_stretched: bool
    window: tuple[int, int] | None
    colour_source: str
    levels: tuple[ChannelLevels, ...]
    alpha_is_opaque: bool | None
    turned_from: int
    decoder: str
    timings_ms: dict[str, float]
    was_there: bool = False

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        data = asdict(self)
        for name in ("files", "levels"):
            data[name] = list(data[name])
        data["window"] = list(self.window) if self.window else None
        return data

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> "Derived":
        """Rebuild a result from ``as_data``, also after a round trip through JSON."""
        values = dict(data)
        values["files"] = tuple(DerivedFile(**item) for item in values["files"])
        values["levels"] = tuple(ChannelLevels(**item) for item in values["levels"])
        values["window"] = tuple(values["window"]) if values["window"] else None
        return cls(**values)


def read_report(out_dir: Path, key: str) -> Derived | None:
    """Return the report of an earlier run if every file it names is there in full."""
    try:
        data = json.loads((out_dir / report_name(key)).read_text(encoding="utf-8"))
        derived = Derived.from_data(data)
        for item in derived.files:
            if (out_dir / item.name).stat().st_size != item.size_bytes:
                return None
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return replace(derived, was_there=True)
