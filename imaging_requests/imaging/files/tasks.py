"""What the guarded process can be asked to do: one function per task, plain values in and out."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pyvips

from imaging_requests.imaging.files.derive import build_derivatives
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.recipe import Recipe
from imaging_requests.imaging.files.refusals import Unreadable


def derive(arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Run ``build_derivatives``; the answer holds either ``derived`` or ``refused``.

    The decoder's memory of earlier calls is switched off: it goes by file name and would answer
    with the content that a name had before.
    """
    pyvips.cache_set_max(0)
    result = build_derivatives(
        Path(arguments["path"]),
        Path(arguments["out_dir"]),
        Recipe.from_data(arguments["recipe"]),
        source_sha256=arguments["source_sha256"],
        limits=Limits(**arguments["limits"]),
        scratch=Path(arguments["scratch"]),
    )
    if isinstance(result, Unreadable):
        return {"refused": result.as_data()}
    return {"derived": result.as_data()}
