"""Reading a facts document (FACTS.json) into object facts, refusing in full sentences.

The shape of the document is fixed by ``imaging_requests/reckoning/schemas/facts.json``.
"""

import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from imaging_requests.reckoning.shots.checking import refuse_facts
from imaging_requests.reckoning.shots.facts import ObjectFacts, Point
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.shots.words import BACK, FACE_NAMES, FRONT

_YES_NO = frozenset(
    (
        "framed",
        "glazed",
        "sealed",
        "flash_allowed",
        "uv_allowed",
        "on_display",
        "rolled",
        "engaged_frame",
        "heat_sensitive",
        "wax_lined",
        "loose_keys",
        "metal_leaf",
        "toxic_dust_on_back",
        "frame_stays_on",
    )
)
_NUMBERS = frozenset(
    (
        "height_mm",
        "width_mm",
        "depth_mm",
        "warp_mm",
        "weight_kg",
        "frame_height_mm",
        "frame_width_mm",
        "loan_departure_in_days",
        "uv_cap_min",
        "light_used_lxh",
    )
)
_CODES = frozenset(("support", "light_class", "kind", "flaking", "size_is"))
_TEXTS = frozenset(("object_number", "title"))
_ALIASES = {"object": "object_number", "outline_mm": "outlines_mm", "outline": "outlines_mm"}
_FACE_WORDS = {name.upper(): code for code, name in FACE_NAMES.items()}
_KNOWN = frozenset(f.name for f in fields(ObjectFacts)) | frozenset(_ALIASES)


class _RefusedError(ValueError):
    """One value that cannot be read; the sentence is meant for the person who typed it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactsReading:
    """What came out of a facts document.

    ``facts`` is None if anything was refused; ``refusals`` then holds every sentence at once.
    ``remarks`` names values that were not understood and left aside.
    """

    facts: ObjectFacts | None
    refusals: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def read_facts(document: object, *, settings: StudioSettings) -> FactsReading:
    """Read object facts from parsed JSON.

    A missing value, or ``null``, stays unknown. Text for a number, a number for yes or no, values
    out of range or out of the list are refused, each in one sentence saying what is wrong and who
    can say better.
    """
    if not isinstance(document, Mapping):
        return FactsReading(
            facts=None,
            refusals=("The facts must be one JSON object with named values such as height_mm.",),
        )
    values: dict[str, Any] = {}
    refusals: list[str] = []
    remarks: list[str] = []
    for key, value in document.items():
        given = str(key)
        if given not in _KNOWN:
            remarks.append(_unknown(given))
            continue
        name = _ALIASES.get(given, given)
        if value is None:
            continue
        try:
            values[name] = _read_value(given, name, value)
        except _RefusedError as problem:
            refusals.append(str(problem))
    if values.get("support") == "frame":
        values.setdefault("kind", "frame")
    facts = ObjectFacts(**values)
    refusals += refuse_facts(facts, settings=settings)
    if refusals:
        return FactsReading(facts=None, refusals=tuple(refusals), remarks=tuple(remarks))
    return FactsReading(facts=facts, remarks=tuple(remarks))


def _unknown(given: str) -> str:
    close = difflib.get_close_matches(given, sorted(_KNOWN), n=1)
    hint = f" Did you mean {close[0]}?" if close else ""
    return f"“{given}” is not an object fact and was left aside.{hint}"


def _read_value(given: str, name: str, value: Any) -> Any:
    if name in _YES_NO:
        if not isinstance(value, bool):
            raise _RefusedError(f"{given} is {value!r}, but must be true or false.")
        return value
    if name in _NUMBERS:
        return _number(given, value)
    if name in _CODES:
        return _text(given, value).strip().lower().replace(" ", "_")
    if name in _TEXTS:
        return _text(given, value).strip()
    if name == "painted_faces":
        return _faces(value)
    if name == "pinned_px_per_mm":
        return _densities(value)
    return _outlines(given, value)


def _number(given: str, value: Any) -> float:
    if isinstance(value, str):
        raise _RefusedError(f"{given} is the text “{value}”, but must be a number without a unit.")
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _RefusedError(f"{given} is {value!r}, but must be a number.")
    try:
        float(value)
    except OverflowError:
        raise _RefusedError(
            f"{given} has {len(str(abs(value)))} digits: check the unit and the digits."
        ) from None
    return value


def _text(given: str, value: Any) -> str:
    if not isinstance(value, str):
        raise _RefusedError(f"{given} is {value!r}, but must be text.")
    return value


def _faces(value: Any) -> tuple[str, ...]:
    if isinstance(value, str) or not isinstance(value, Sequence):
        raise _RefusedError(f"painted_faces is {value!r}, but must be a list such as [“F”, “B”].")
    given = (str(face).strip().upper() for face in value)
    faces = tuple(_FACE_WORDS.get(face, face) for face in given)
    return tuple(sorted(set(faces), key=lambda face: (face != FRONT, face != BACK, face)))


def _densities(value: Any) -> dict[str, float]:
    if not isinstance(value, Mapping):
        raise _RefusedError(
            "pinned_px_per_mm must name a density for each rule, such as {“vis”: 12, “ir”: 8}."
        )
    return {
        str(key).strip().lower(): _number(f"pinned_px_per_mm for {key}", density)
        for key, density in value.items()
    }


def _outlines(given: str, value: Any) -> dict[str, tuple[Point, ...]]:
    faces = value if isinstance(value, Mapping) else {FRONT: value}
    return {str(face).upper(): _outline(given, points) for face, points in faces.items()}


def _outline(given: str, points: Any) -> tuple[Point, ...]:
    sentence = (
        f"{given} must be a list of at least three points, each [x, y] in millimetres from the "
        f"top left corner of the face."
    )
    if isinstance(points, str) or not isinstance(points, Sequence) or len(points) < 3:
        raise _RefusedError(sentence)
    read: list[Point] = []
    for point in points:
        if isinstance(point, str) or not isinstance(point, Sequence) or len(point) != 2:
            raise _RefusedError(sentence)
        read.append((_number(given, point[0]), _number(given, point[1])))
    if not all(math.isfinite(value) for point in read for value in point):
        raise _RefusedError(sentence)
    return tuple(read)
