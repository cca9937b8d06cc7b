"""Compare pictures in any light with the visible reference of their face, by their structure.

What is compared are the patterns that are kept with frames: of a bracket the exposure that tells
most, of tiles the part of the reference where they lie. A job may go further and lay the pictures
themselves over each other.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

import numpy as np

from imaging_requests.deliverables import registering
from imaging_requests.deliverables.models import Deliverable, Registration
from imaging_requests.deliverables.reference_faces import (
    SIDES,
    Faces,
    Source,
    faces_of,
    small_face,
)
from imaging_requests.imaging.alignment.align import align
from imaging_requests.imaging.alignment.pictures import UnfitError
from imaging_requests.imaging.files.data_values import take_number, take_whole
from imaging_requests.imaging.likeness.pattern import Grey, Region, read_pattern, tile_region
from imaging_requests.imaging.likeness.structure import (
    SIZES,
    Structure,
    best_exposed,
    structure_likeness,
)
from imaging_requests.imaging.recognition import (
    Recognised,
    Recognition,
    describe,
    judge_structure,
    kind_of,
    likeness,
)
from imaging_requests.intake.limits import (
    RECOGNITION,
    placing_limits,
    read_data,
    structure_limits,
)
from imaging_requests.intake.models import FrameLook
from imaging_requests.requesting.words import numbers_of

UNIT = "likeness of structure"
AS_LARGE = (1.0,)


@dataclass(frozen=True, slots=True)
class Answer:
    """What rule G12 says of a picture."""

    verdict: Recognised
    sentence: str
    value: str = "not compared"
    unit: str = ""
    limit: str = ""


@dataclass(frozen=True, slots=True)
class _Numbers:
    alike: float
    worth_laying: float
    most_laid: int


@lru_cache(maxsize=1)
def _numbers() -> _Numbers:
    data = read_data(RECOGNITION)
    return _Numbers(
        alike=take_number(data, "structure.alike"),
        worth_laying=take_number(data, "structure.worth_laying"),
        most_laid=take_whole(data, "structure.most_laid"),
    )


def not_compared(number: str, because: str) -> str:
    """Say that it cannot be told whether a picture shows its object."""
    return f"Cannot tell: nobody compared this with {number}, because {because}. Look at it."


def by_structure(row: Deliverable, *, most_others: int, is_thorough: bool) -> Answer:
    """Say whether a picture shows its object; so many other objects are looked at."""
    number = numbers_of([row.object_id])[row.object_id]
    if _is_laid(row):
        return Answer(
            Recognised.PASS,
            f"This shows {number}: its structure lies on that of the visible picture.",
            value="lies on it",
        )
    because = _not_comparable(row)
    if because:
        return Answer(Recognised.CANNOT_TELL, not_compared(number, because))
    tiles = _tiles(row)
    if not tiles:
        return Answer(Recognised.CANNOT_TELL, not_compared(number, "it has no small picture yet"))
    faces = faces_of(row.object_id, row.face, most_others=most_others)
    own = faces.structures.get(row.object_id)
    looked = [(Structure(pattern), region) for pattern, region in tiles]
    fits = None if own is None else _fit(looked, own)
    if own is not None and fits is None:
        return Answer(
            Recognised.CANNOT_TELL, not_compared(number, "its structure is too faint or too small")
        )
    limits = structure_limits()[kind_of(row.technique, row.face, is_tiled=len(looked) > 1)]
    others = {
        pk: face
        for pk, face in faces.structures.items()
        if pk != row.object_id
        and (own is None or fits is None or fits < limits.surely or _are_alike(face, own))
    }
    likes = {
        pk: like for pk, other in others.items() if (like := _fit_other(looked, other)) is not None
    }
    names = numbers_of(likes)
    named = {names.get(pk, "another object"): like for pk, like in likes.items()}
    found = judge_structure(fits, named, limits)
    if is_thorough and found.verdict in (Recognised.CANNOT_TELL, Recognised.WARN):
        found = _lay(row, found, faces, likes, names)
    return Answer(
        found.verdict,
        _sentence(row, found, number, faces.why),
        value=_value(found),
        unit=UNIT,
        limit=f"own ≥ {limits.surely:g} and {limits.lead:g} over others",
    )


def _is_laid(row: Deliverable) -> bool:
    """Whether the picture lies on the visible reference of its face, as found by its job."""
    return (
        Registration.objects.filter(
            deliverable=row,
            frame=row.cover_id,
            code_version=registering.CODE_VERSION,
            means=Registration.Means.REFERENCE,
            px_to_face_mm__isnull=False,
        )
        .exclude(reference=None)
        .exclude(verdict=Registration.Verdict.CANNOT_TELL)
        .exists()
    )


def _not_comparable(row: Deliverable) -> str:
    if row.technique == registering.X_RAY:
        return "an X-ray shows what lies behind the paint and was not laid on the visible picture"
    if row.face == "E":
        return "edges have no reference picture"
    if row.face not in SIDES:
        return "pictures taken through the object have no reference picture"
    return "it shows a part of the face only" if row.detail_mm else ""


def _patterns(frame_ids: Iterable[int]) -> dict[int, Grey]:
    looks = FrameLook.objects.filter(frame__in=set(frame_ids)).exclude(pattern="")
    return {pk: read_pattern(text) for pk, text in looks.values_list("frame", "pattern")}


def _tiles(row: Deliverable) -> list[tuple[Grey, Region]]:
    """Return the best exposed pattern of each tile with the part of the face where it lies."""
    seats = list(row.deliverable_frames.all())
    known = _patterns(seat.frame_id for seat in seats)
    by_place: dict[tuple[int, int], list[Grey]] = defaultdict(list)
    for seat in seats:
        if seat.frame_id in known:
            by_place[seat.tile_x, seat.tile_y].append(known[seat.frame_id])
    line = row.shot_line
    across = line.tiles_across if line is not None else 1 + max((x for x, _ in by_place), default=0)
    down = line.tiles_down if line is not None else 1 + max((y for _, y in by_place), default=0)
    overlap = placing_limits().picture.overlap
    found = []
    for (x, y), patterns in by_place.items():
        best = best_exposed(patterns)
        if best is not None and x < across and y < down:
            found.append((best, tile_region(x, y, across, down, overlap)))
    return found


def _fit(
    tiles: Iterable[tuple[Structure, Region]], face: Structure, sizes: Sequence[float] = SIZES
) -> float | None:
    likes = [
        like
        for tile, region in tiles
        if (like := structure_likeness(tile, face, region, sizes=sizes)) is not None
    ]
    return median(likes) if likes else None


def _fit_other(tiles: Sequence[tuple[Structure, Region]], face: Structure) -> float | None:
    """Fit another object's face at one size, and at all only if it may be the one that is shown."""
    at_once = _fit(tiles, face, AS_LARGE)
    if at_once is None or at_once < _numbers().worth_laying:
        return at_once
    return _fit(tiles, face)


def _are_alike(one: Structure, other: Structure) -> bool:
    """Whether two references could be mistaken for each other, as companion pieces and copies."""
    return likeness(describe(one.pattern), describe(other.pattern)) >= _numbers().alike


def _lay(
    row: Deliverable,
    found: Recognition,
    faces: Faces,
    likes: Mapping[int, float],
    names: Mapping[int, str],
) -> Recognition:
    """Lay a picture over its own reference, then over those that it looks most like.

    Only what surely fits counts. A face that is kept as tiles is laid together for it; a picture
    that lies on no joined one has no map of its own that would say so.
    """
    numbers = _numbers()
    ordered = sorted(likes, key=lambda pk: -likes[pk])[: numbers.most_laid]
    wanted = [pk for pk in ordered if likes[pk] >= numbers.worth_laying]
    own = faces.sources[row.object_id] if row.object_id in faces.structures else None
    is_doubted = found.verdict is Recognised.CANNOT_TELL
    if row.kind not in registering.WHOLE or row.cover_id is None or not (own or wanted):
        return found
    size = registering.numbers().longest_px // 2
    moving = registering.small_copy(row.cover_id, size)
    if moving is None:
        return found
    lies_on_own = _lies_on_face(own, moving, size) if own is not None else None
    if lies_on_own and is_doubted:
        return Recognition(Recognised.PASS, found.own, found.best_other, found.other)
    was_refused = lies_on_own is False or _was_refused(row)
    for pk in wanted:
        if not _lies_on_face(faces.sources[pk], moving, size):
            continue
        surely = was_refused and found.own is not None and found.own < likes[pk]
        verdict = Recognised.FAIL if surely else Recognised.WARN
        return Recognition(verdict, found.own, likes[pk], names.get(pk, "another object"))
    return found


def _was_refused(row: Deliverable) -> bool:
    return Registration.objects.filter(
        deliverable=row,
        frame=row.cover_id,
        code_version=registering.CODE_VERSION,
        verdict=Registration.Verdict.CANNOT_TELL,
        reference__isnull=False,
    ).exists()


def _lies_on_face(source: Source, moving: registering.Small, size: int) -> bool | None:
    """Tell whether a picture lies on a known face; None if that cannot be read at present."""
    fixed = small_face(source, size)
    return None if fixed is None else _lies_on(fixed, moving)


def _lies_on(fixed: registering.Small, moving: registering.Small) -> bool:
    try:
        found = align(fixed.picture(), moving.picture(), limits=registering.numbers().alignment)
    except UnfitError:
        return False
    return found.matrix is not None and float(np.linalg.det(found.matrix[:2, :2])) > 0


def _value(found: Recognition) -> str:
    own = "no reference" if found.own is None else f"{found.own:.2f}"
    other = "none" if found.best_other is None else f"{found.best_other:.2f} ({found.other})"
    return f"{own}; others {other}"[:120]


def _sentence(row: Deliverable, found: Recognition, number: str, why: str) -> str:
    side = SIDES[row.face]
    if found.verdict is Recognised.PASS:
        return f"This shows {number}: its structure is that of the visible picture of its {side}."
    if found.verdict is Recognised.FAIL:
        return (
            f"This shows {found.other}, not {number}: it fits the visible picture of "
            f"{found.other} and not that of {number}. If the frames were shot for the other "
            "object, take them back on the sorting table and place them there."
        )
    if found.own is None:
        if found.verdict is Recognised.CANNOT_TELL:
            return not_compared(number, why)
        return (
            f"Nobody could compare this with {number}, because {why}; but it looks like "
            f"{found.other}. Look whether it is a companion piece or a version of it, or the "
            "wrong object."
        )
    if found.verdict is Recognised.WARN:
        return f"This may show {number}, but {found.other} fits nearly as well. Look at it."
    return (
        f"Cannot tell: it fits the visible picture of {number} too little, and that of no other "
        f"known object surely. Look whether it shows {number} before it is accepted."
    )
