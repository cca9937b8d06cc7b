"""Reference colours of charts: each edition with its layout, its greys and its source.

Editions of one chart differ visibly (CIEDE2000 of 0.8 on average between two makings of the
24-patch chart), so the edition is a setting and is named in every report.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.files.data_values import DataError


@dataclass(frozen=True, slots=True)
class Edition:
    """One making of a chart.

    ``lab``: CIELAB (D50, 2°), row by row from the upper left patch, shape (columns · rows, 3).
    ``greys``: numbers of the neutral patches, counted from 0.
    """

    id: str
    title: str
    columns: int
    rows: int
    greys: tuple[int, ...]
    lab: NDArray[np.float64]
    source: str

    @property
    def patches(self) -> int:
        """How many patches it has."""
        return self.columns * self.rows

    def cell(self, patch: int) -> tuple[int, int]:
        """Column and row of a patch, counted from 0."""
        return patch % self.columns, patch // self.columns


def read_editions(data: Mapping[str, Any]) -> dict[str, Edition]:
    """Read the editions of a data file; raises ``DataError`` for one that is not whole."""
    editions: dict[str, Edition] = {}
    for item in data.get("editions", []):
        lab = np.array(item.get("lab", []), np.float64)
        columns, rows = item.get("columns", 0), item.get("rows", 0)
        if lab.shape != (columns * rows, 3) or not len(lab) or not item.get("source"):
            raise DataError(f"The chart {item.get('id')} is not whole.")
        greys = tuple(int(number) for number in item["greys"])
        if any(not 0 <= number < len(lab) for number in greys):
            raise DataError(f"The chart {item['id']} names a grey that it has not.")
        editions[item["id"]] = Edition(
            item["id"], item["title"], columns, rows, greys, lab, item["source"]
        )
    if not editions:
        raise DataError("The data has no chart.")
    return editions
