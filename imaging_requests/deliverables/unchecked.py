"""What the program does not check on a picture, and what that would need: said, not left out."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from imaging_requests.deliverables.models import Deliverable
from imaging_requests.deliverables.recognising import RULE
from imaging_requests.deliverables.registering import TURN_RULE
from imaging_requests.imaging.files.data_values import take
from imaging_requests.intake.limits import read_data
from imaging_requests.intake.models import FileCheck

DATA = "checks/unchecked-1.json"
NOT_TURNED = (
    f"Not mirrored, not turned ({TURN_RULE}): not held against a visible picture of this face; "
    "needs a person who compares it with the object."
)
NOT_ASKED = "Cannot tell: nobody compared this with its object, because it was never asked for."


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


def unchecked(row: Deliverable, checks: Sequence[FileCheck]) -> list[str]:
    """Return a sentence for everything that nobody but a person checks on such a picture.

    `checks`: what was found on its frames; whether it shows its object is told or said here.
    """
    about = [check for check in checks if check.rule == RULE]
    told = [check for check in about if check.verdict != FileCheck.Verdict.CANNOT_TELL]
    untold = [check.sentence for check in about] or [NOT_ASKED]
    is_held = row.face not in "FB" or any(check.rule == TURN_RULE for check in checks)
    return [
        *([] if told else [f"The right object ({RULE}): {' '.join(untold)}"]),
        *([] if is_held else [NOT_TURNED]),
        *(
            sentence
            for techniques, faces, sentence in _lines()
            if row.technique in techniques and row.face in faces
        ),
    ]
