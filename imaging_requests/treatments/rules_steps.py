"""Pure decisions about what is said of a step before it begins: direction, area, what is on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from imaging_requests.people.errors import DomainError
from imaging_requests.reckoning.truth.fitting import LINING, Misfit
from imaging_requests.reckoning.truth.terms import Effect
from imaging_requests.reckoning.truth.triggers import Row, home_face
from imaging_requests.treatments.rules import FACES

DIRECTIONS = {"on": "put on", "off": "taken off"}
MM2_PER_CM2 = 100
NO_DIRECTION = "does not apply"


@dataclass(frozen=True, slots=True)
class FaceSize:
    """How large a treated face is, in mm; what is not measured is the largest that is believed."""

    height_mm: float
    width_mm: float
    is_measured: bool

    @property
    def area_cm2(self) -> float:
        """The whole face, in cm²."""
        return self.height_mm * self.width_mm / MM2_PER_CM2


def demand_direction(row: Row, direction: str) -> None:
    """Refuse a step that must say whether it puts on or takes off and does not, and the reverse."""
    if row.has_two_directions and direction not in DIRECTIONS:
        raise DomainError(
            f"“{row.name}” stands for two steps that change pictures in opposite ways, and this "
            "one does not say which it is.",
            code="treatments.direction_missing",
            next_step="Say whether it is put on or taken off.",
            data={"field": "direction"},
        )
    if direction and not row.has_two_directions:
        raise DomainError(
            f"“{row.name}” says by itself what is done, so “{DIRECTIONS.get(direction, direction)}”"
            " beside it would mean nothing.",
            code="treatments.direction_idle",
            next_step=f"Choose “{NO_DIRECTION}”, or another kind of step if this one is wrong.",
            data={"field": "direction"},
        )


def settled_face(row: Row, said: str, *, two_sided: bool) -> str:
    """Return the face a step is recorded for: the one that was said, else that of its kind.

    A lining, a facing or a board lies where its kind says, and a kind that changes nothing on one
    face of a painting is done to the other; on an object with two painted faces the kind does not
    tell, so the face must be said.
    """
    if said not in FACES:
        if two_sided:
            raise DomainError(
                "Both faces of this object are painted, so the kind of step does not tell which "
                "one is treated.",
                code="treatments.face_missing",
                next_step="Choose the treated face.",
                data={"field": "face"},
            )
        return home_face(row)
    own = home_face(row)
    if not two_sided and said != own and (row.act is not None or not _changes(row, said)):
        raise DomainError(
            f"“{row.name}” is done to the {FACES[own]} of a painting, not to the {FACES[said]}.",
            code="treatments.face_of_other_kind",
            next_step=f"Choose the {FACES[own]}, or another kind of step.",
            data={"field": "face"},
        )
    return said


def _changes(row: Row, face: str) -> bool:
    """Whether a kind of step changes any picture of a face, or leaves both as they are."""
    cells = {side: [c for n, c in row.cells.items() if n.endswith(f"-{side}")] for side in FACES}
    if all(cell is Effect.VALID for side in cells.values() for cell in side):
        return True
    return any(cell is not Effect.VALID for cell in cells[face])


def demand_area(
    area_cm2: float | None, area_percent: float | None, *, face: str, size: FaceSize | None
) -> None:
    """Refuse a treated area that is none, or larger than the face it lies on."""
    if area_percent is not None and not 0 < area_percent <= 100:
        raise DomainError(
            f"A treated area of {area_percent:g} % of the face cannot be.",
            code="treatments.area_percent_impossible",
            next_step="Give a share above 0 and up to 100 %, or leave it empty.",
            data={"field": "area_percent"},
        )
    if area_cm2 is None:
        return
    if not 0 < area_cm2 < math.inf:
        raise DomainError(
            f"A treated area of {area_cm2:g} cm² cannot be.",
            code="treatments.area_impossible",
            next_step="Give the area in square centimetres, or leave it empty.",
            data={"field": "area_cm2"},
        )
    if size is None:
        return
    if area_cm2 <= size.area_cm2 or math.isclose(area_cm2, size.area_cm2):
        if size.is_measured and area_percent is not None:
            _demand_agreeing(area_cm2, area_percent, face=face, size=size)
        return
    side = FACES.get(face, face)
    whole = f"{size.height_mm:,.6g} × {size.width_mm:,.6g} mm, that is {size.area_cm2:,.10g} cm²"
    if size.is_measured:
        why = f"the whole {side} of this object, {whole}"
        then = "If the object is larger than recorded, correct its facts first."
    else:
        why = f"the {side} of any object here ({whole} at most)"
        then = "The size of this object is not fully known yet: record it, then give the area."
    raise DomainError(
        f"The treated area of {area_cm2:,.10g} cm² is larger than {why}.",
        code="treatments.area_larger_than_face",
        next_step=f"Check the unit: areas are in square centimetres. {then}",
        data={"field": "area_cm2"},
    )


def _demand_agreeing(area_cm2: float, area_percent: float, *, face: str, size: FaceSize) -> None:
    """Refuse an area and a share of the face that cannot both be right, as they are rounded."""
    spread_cm2, spread_percent = _last_place(area_cm2), _last_place(area_percent)
    least = (area_cm2 - spread_cm2) / size.area_cm2 * 100 - spread_percent
    most = (area_cm2 + spread_cm2) / size.area_cm2 * 100 + spread_percent
    if least <= area_percent <= most:
        return
    raise DomainError(
        f"The treated area of {area_cm2:,.10g} cm² is {area_cm2 / size.area_cm2 * 100:.2g} % of "
        f"the {FACES.get(face, face)} of this object ({size.height_mm:,.6g} × "
        f"{size.width_mm:,.6g} mm), and {area_percent:,.10g} % is typed beside it.",
        code="treatments.areas_disagree",
        next_step="Correct the wrong one, or leave the share empty: it then follows from the area.",
        data={"field": "area_percent"},
    )


def _last_place(number: float) -> float:
    """One unit in the last place that a number was typed with, at most 1.

    >>> _last_place(24.0), _last_place(0.1), _last_place(5.56)
    (1.0, 0.1, 0.01)
    """
    exponent = Decimal(repr(number)).normalize().as_tuple().exponent
    return 10.0 ** min(int(exponent), 0)


def demand_fit(found: Misfit | None, *, put_on_by: str) -> None:
    """Refuse to take off what no record puts on, or to put on a second of the same.

    `put_on_by` says which step put on the one there is; it is empty if none did.
    """
    if found is None:
        return
    side = FACES.get(found.face, found.face)
    if found.is_on:
        since = f" ({put_on_by})" if put_on_by else " since the beginning"
        raise DomainError(
            f"A {found.thing} is on the {side} of this object already{since}, so a second one "
            "cannot be put on.",
            code="treatments.on_already",
            next_step="Plan first that it is taken off, or choose another kind of step.",
            data={"field": "type_row"},
        )
    then = (
        "If the object came with one, tick “Lined” in its facts"
        if found.thing == LINING
        else "If the object has one, record first the step that put it on, with its day"
    )
    raise DomainError(
        f"No {found.thing} is on the {side} of this object: the records show none that was put "
        "on and not taken off since. So none can be taken off.",
        code="treatments.none_on",
        next_step=f"{then}; else choose another kind of step.",
        data={"field": "type_row"},
    )
