"""The task of the guarded process: compare two files, plain values in and out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from PIL import Image

from imaging_requests.imaging.files.limits import Limits as ReadingLimits
from imaging_requests.imaging.measure.task import read_tools as read_measuring

from .answer import as_data
from .change import noise_floor
from .files import RefusedError, Tools, compare_files, draw, read_tools
from .pairing import Comparison
from .set_up import Pair, SetUp
from .set_up_data import read_set_ups
from .terms import Comparability


def set_ups_as_data(before: SetUp, after: SetUp, pair: Pair) -> dict[str, Any]:
    """Return plain values that fit into JSON and that `read_set_ups` reads again.

    >>> data = set_ups_as_data(SetUp(lamps=("flash head A",)), SetUp(), Pair())
    >>> read_set_ups(data)[0].lamps
    ('flash head A',)
    """
    parts = {"before": asdict(before), "after": asdict(after), "pair": asdict(pair)}
    return {
        name: {
            key: list(value) if isinstance(value, tuple) else value for key, value in part.items()
        }
        for name, part in parts.items()
    }


def compare(arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Compare two files and write the comparison as PNG, if asked to.

    Args:
        arguments: `data_folder`, `limits`, `technique`, `before`, `after`, `set_ups`, `is_vouched`;
            `matrix`, `px_per_mm`, `face_px`, `face_mm`, `no_face`, `station_floor`, `output`,
            `captions` may be None; `reads_targets` if what targets show in the files is not in the
            set-ups already.

    Returns:
        `answer` (see the schema compare.json), `notes` and `noise_floor`, the floor that this pair
        would give if nothing was done between; or `refused`, a sentence.
    """
    pyvips.cache_set_max(0)
    before, after, pair = read_set_ups(arguments["set_ups"])
    matrix, corners = arguments.get("matrix"), arguments.get("face_px")
    size = arguments.get("face_mm")
    tools = read_tools(arguments["data_folder"])
    try:
        found, density, notes = compare_files(
            arguments["technique"],
            Path(arguments["before"]),
            Path(arguments["after"]),
            tools=tools,
            reading=ReadingLimits(**arguments["limits"]),
            matrix=None if matrix is None else np.array(matrix, np.float64),
            px_per_mm=arguments.get("px_per_mm"),
            set_ups=(before, after),
            pair=pair,
            is_vouched=bool(arguments.get("is_vouched")),
            face_px=None if corners is None else np.array(corners, np.float64),
            face_mm=None if size is None else (float(size[0]), float(size[1])),
            no_face=arguments.get("no_face") or "",
            station_floor=arguments.get("station_floor"),
            warnings=tuple(arguments.get("warnings") or ()),
            measuring=read_measuring(arguments["data_folder"])
            if arguments.get("reads_targets")
            else None,
        )
    except RefusedError as refusal:
        return {"refused": str(refusal), "is_alignment": refusal.is_alignment}
    output = arguments.get("output")
    written = None
    if output is not None and found.grading.grade is not Comparability.N:
        azimuths = after.azimuths_deg
        one, other = arguments.get("captions") or ("Before", "After")
        sheet = draw(found, captions=(one, other), lamp_from_deg=azimuths[0] if azimuths else None)
        Image.fromarray(sheet).save(output, "PNG")
        written = str(output)
    return {
        "answer": as_data(found, px_per_mm=density, output=written),
        "notes": list(notes),
        "noise_floor": _noise(found, tools),
    }


def _noise(found: Comparison, tools: Tools) -> float | None:
    """What a map of this pair would call noise; None where no map can be made."""
    if found.map is None:
        return None
    try:
        return noise_floor(found.map.change, found.map.inside, limits=tools.limits.maps)
    except ValueError:
        return None
