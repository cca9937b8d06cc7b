"""What the program does not check on a picture, and what that would need: said, not left out."""

from __future__ import annotations

from functools import lru_cache

from imaging_requests.deliverables.models import Deliverable
from imaging_requests.imaging.files.data_values import take
from imaging_requests.intake.limits import read_data

DATA = "checks/unchecked-1.json"


@lru_cache(maxsize=1)
def _lines() -> tuple[tuple[frozenset[str], frozenset[str], str], ...]:
    data = read_data(DATA)
    values = [take(data, name) for name in data["values"]]
    return tuple(
        (
            frozenset(each["techniques"]),
            frozenset(each["faces"]),
            f"{each['what'][:1].upper()}{each['what'][1:]}: needs {each['needs']}.",
        )
        for each in values
    )


def unchecked(row: Deliverable) -> list[str]:
    """Return a sentence for everything that nobody but a person checks on such a picture."""
    return [
        sentence
        for techniques, faces, sentence in _lines()
        if row.technique in techniques and row.face in faces
    ]
