"""Joining as the guarded process can be asked for it: plain values in and out."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pyvips

from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.joining.join import JoinRequest, join_tiles
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.tile_rules import check_joined, unknown
from imaging_requests.imaging.joining.tiles import open_tiles
from imaging_requests.imaging.joining.words import Place, Turn, Unjoined
from imaging_requests.imaging.measure.finding import Rules

X_RAY = "XR"
RULES_NAME = "measurements-1.json"


def join(arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Run ``join_tiles``; the answer holds either ``report`` or ``refused``, and ``findings``.

    ``plates``: one [column, row, quarter turns, is mirrored] per path. ``is_fixed``: a person
    decided these; otherwise they are the plan. ``findings``: what the rules that need more than
    one tile say, each with the number of the tile it is said of.
    """
    pyvips.cache_set_max(0)
    places = [Place(column, row) for column, row, _, _ in arguments["plates"]]
    turns = [Turn(quarters, mirrored) for _, _, quarters, mirrored in arguments["plates"]]
    by_place = {place: index for index, place in enumerate(places)}
    inverted = Path(arguments["inverted"]) if arguments["inverted"] else None
    request = JoinRequest(
        grid=tuple(arguments["grid"]),
        given=by_place,
        fixed={place: (index, turns[index]) for place, index in by_place.items()}
        if arguments["is_fixed"]
        else None,
        px_per_mm=arguments["px_per_mm"],
        is_xray=arguments["technique"] == X_RAY,
        inverted=inverted,
        # the store writes the joined file anew and synced; the inverted one can be made again
        is_synced=False,
    )
    paths = [Path(path) for path in arguments["paths"]]
    target, technique = Path(arguments["target"]), arguments["technique"]
    limits = Limits(**arguments["limits"])
    rules = Rules.from_settings(
        json.loads((Path(arguments["data_folder"]) / RULES_NAME).read_text(encoding="utf-8"))
    )
    answer = join_tiles(
        paths, target, request, settings=JoinSettings(**arguments["settings"]), limits=limits
    )
    if isinstance(answer, Unjoined):
        because = f"The tiles were not joined, so they cannot be compared. {answer.sentence}"
        findings = unknown(technique, because, rules)
        return {
            "refused": answer.as_data(),
            "findings": [each.as_data() for each in findings],
        }
    report = answer.as_data()
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".look-") as scratch:
        tiles = open_tiles(paths, limits=limits, scratch=Path(scratch))
        if isinstance(tiles, Unjoined):
            findings = unknown(technique, tiles.sentence, rules)
        else:
            findings = check_joined(
                tiles,
                report,
                technique=technique,
                rules=rules,
                target=target,
                inverted=inverted,
            )
    return {"report": report, "findings": [each.as_data() for each in findings]}
