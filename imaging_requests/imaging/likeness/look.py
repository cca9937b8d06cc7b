"""The guarded process looks at a small picture: is there a slate in it, and what is its pattern."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np

from imaging_requests.imaging.likeness.pattern import pattern_of, pattern_text
from imaging_requests.imaging.slate.payload import slate_text
from imaging_requests.imaging.slate.reading import find_slate


def look(arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Return the text of a slate's code in the picture at ``path``, and the picture's pattern.

    Both are empty if the picture cannot be opened; that is for others to say.
    """
    cv2.setNumThreads(1)
    grey = cv2.imread(str(arguments["path"]), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        return {"slate": "", "pattern": ""}
    picture = np.asarray(grey, np.uint8)
    slate = find_slate(picture)
    return {
        "slate": slate_text(slate) if slate is not None else "",
        "pattern": pattern_text(pattern_of(picture)),
    }
