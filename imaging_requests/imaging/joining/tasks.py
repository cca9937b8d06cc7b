"""Joining as the guarded process can be asked for it: plain values in and out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pyvips

from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.joining.join import JoinRequest, join_tiles
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.words import Place, Turn, Unjoined


def join(arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Run ``join_tiles``; the answer holds either ``report`` or ``refused``.

    ``plates``: one [column, row, quarter turns, is mirrored] per path. ``is_fixed``: a person
    decided these; otherwise they are the plan.
    """
    pyvips.cache_set_max(0)
    places = [Place(column, row) for column, row, _, _ in arguments["plates"]]
    turns = [Turn(quarters, mirrored) for _, _, quarters, mirrored in arguments["plates"]]
    by_place = {place: index for index, place in enumerate(places)}
    inverted = arguments["inverted"]
    request = JoinRequest(
        grid=tuple(arguments["grid"]),
        given=by_place,
        fixed={place: (index, turns[index]) for place, index in by_place.items()}
        if arguments["is_fixed"]
        else None,
        px_per_mm=arguments["px_per_mm"],
        inverted=Path(inverted) if inverted else None,
        # the store writes the joined file anew and synced; the inverted one can be made again
        is_synced=False,
    )
    answer = join_tiles(
        [Path(path) for path in arguments["paths"]],
        Path(arguments["target"]),
        request,
        settings=JoinSettings(**arguments["settings"]),
        limits=Limits(**arguments["limits"]),
    )
    if isinstance(answer, Unjoined):
        return {"refused": answer.as_data()}
    return {"report": answer.as_data()}
