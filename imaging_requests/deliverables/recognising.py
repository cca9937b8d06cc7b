"""Rule G12: is this the object? Every picture is asked, and what cannot be told says why.

A visible front is compared by its lightness with the reference pictures of its own and other
objects; what that does not tell, and every other picture, by its structure (`recognising_light`).
What was not compared says so and is never shown as passed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from functools import lru_cache
from pathlib import Path

import numpy as np
from django.conf import settings
from django.db.models import Q
from PIL import Image

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables.models import Deliverable, DeliverableKind, DeliverableState
from imaging_requests.deliverables.recognising_exposures import strange_exposure
from imaging_requests.deliverables.recognising_light import Answer, by_structure, not_compared
from imaging_requests.deliverables.reference_faces import faces_near
from imaging_requests.imaging.files.data_values import take_number, take_whole
from imaging_requests.imaging.recognition import (
    Description,
    Recognised,
    Recognition,
    RecognitionLimits,
    describe,
    recognise,
)
from imaging_requests.intake.limits import RECOGNITION, read_data
from imaging_requests.intake.models import Derivative, FileCheck
from imaging_requests.intake.references import Known, Shown
from imaging_requests.requesting.words import numbers_of

RULE = "G12"
SMALL = "256"
COMPARED = ("VF", "VC")
WHOLE = ("F", "B")
WHOLE_FACE = (DeliverableKind.SINGLE, DeliverableKind.BRACKET)


@lru_cache(maxsize=1)
def _limits() -> tuple[RecognitionLimits, int, int]:
    data = read_data(RECOGNITION)
    limits = RecognitionLimits(
        pass_ratio=take_number(data, "recognition.pass_ratio"),
        warn_ratio=take_number(data, "recognition.warn_ratio"),
        least_likeness=take_number(data, "recognition.least_likeness"),
    )
    return limits, take_whole(data, "recognition.most_others"), int(data["version"])


def _described(frame_ids: Iterable[int]) -> dict[int, Description]:
    """Describe frames by their small pictures; those that have none are left out."""
    found: dict[int, Description] = {}
    for row in Derivative.objects.filter(kind=SMALL, frame__in=list(frame_ids)):
        path = Path(settings.DERIVED_DIR) / row.path
        if path.is_file():
            with Image.open(path) as picture:
                found[row.frame_id] = describe(np.asarray(picture.convert("L"), np.uint8))
    return found


def _references(row: Deliverable, most: int) -> tuple[int | None, dict[int, int]]:
    """Return the cover of this object's reference, and covers of others by object."""
    accepted = Deliverable.objects.filter(
        state=DeliverableState.ACCEPTED,
        technique__in=COMPARED,
        face="F",
        detail_mm__isnull=True,
        kind__in=WHOLE_FACE,
        cover__isnull=False,
    )
    own = (
        accepted.filter(object=row.object_id)
        .order_by("-captured_at")
        .values_list("cover_id", flat=True)
        .first()
    )
    campaign = row.shot_line.session.campaign_id if row.shot_line is not None else None
    near = Q(object__shot_lines__session__campaign=campaign)
    others = (
        accepted.exclude(object=row.object_id)
        .filter(near)
        .order_by("object_id", "-captured_at")
        .values_list("object_id", "cover_id")
        .distinct()
    )
    covers: dict[int, int] = {}
    for object_id, cover_id in others:
        if cover_id is not None and len(covers) < most:
            covers.setdefault(object_id, cover_id)
    return own, covers


def shown_faces(object_ids: Collection[int]) -> Shown:
    """Say which frames show faces of objects for certain: covers of accepted visible pictures.

    Edges are left out: a strip may show any of four sides. Beside the objects asked for, those of
    the same campaigns are among them.
    """
    _, most, _ = _limits()
    campaigns = ShotLine.objects.filter(object__in=list(object_ids)).values("session__campaign")
    near = Q(object__shot_lines__session__campaign__in=campaigns)
    accepted = (
        Deliverable.objects.filter(
            state=DeliverableState.ACCEPTED,
            technique__in=COMPARED,
            face__in=WHOLE,
            variant="",
            detail_mm__isnull=True,
            kind__in=WHOLE_FACE,
            cover__isnull=False,
        )
        .filter(Q(object__in=list(object_ids)) | near)
        .order_by("object_id", "-captured_at")
        .values_list("object_id", "face", "cover_id")
        .distinct()
    )
    frames: dict[tuple[int, str], int] = {}
    others: set[int] = set()
    for object_id, face, cover_id in accepted:
        if object_id not in object_ids:
            others.add(object_id)
            if len(others) > most:
                continue
        if cover_id is not None:
            frames.setdefault((object_id, face), cover_id)
    return Shown(frames, numbers_of({object_id for object_id, _ in frames}))


def known_faces(object_ids: Collection[int]) -> Known:
    """Say what faces of objects, and of others near them, are known to look like.

    Unlike `shown_faces` these may be kept as tiles: they tell strangers and place nothing.
    """
    found = faces_near(object_ids, most_others=_limits()[1])
    return Known(found, numbers_of({object_id for object_id, _ in found}))


def _sentence(found: Recognition, number: str) -> str:
    if found.verdict is Recognised.PASS:
        return f"This looks like {number}, as it should."
    if found.verdict is Recognised.CANNOT_TELL:
        return not_compared(number, "no picture of its front looks alike")
    if found.verdict is Recognised.WARN and found.own is None:
        return (
            f"There is no reference picture of {number} yet, and this looks much like "
            f"{found.other}. Look whether it is a companion piece or a version of it, or the "
            "wrong object."
        )
    if found.verdict is Recognised.WARN:
        return f"This looks like {number}, but {found.other} is nearly as like. Look at it."
    return (
        f"This looks like {found.other}, not like {number}. If the frames were shot for the other "
        "object, take them back on the sorting table and place them there."
    )


def check_recognition(row: Deliverable, *, is_thorough: bool = False) -> FileCheck | None:
    """Return the check of rule G12 for a picture, unsaved; None only if it has no frame at all.

    `is_thorough`: pictures that surely look like another object's are laid over its reference.
    """
    if row.cover_id is None:
        return None
    most_others = _limits()[1]
    found = strange_exposure(row, most_others=most_others) or _by_lightness(row)
    if found is None or found.verdict is Recognised.CANNOT_TELL:
        found = by_structure(row, most_others=most_others, is_thorough=is_thorough)
    return FileCheck(
        frame_id=row.cover_id,
        rule=RULE,
        rule_version=_limits()[2],
        value=found.value,
        unit=found.unit,
        limit=found.limit,
        verdict=found.verdict.value,
        sentence=found.sentence,
    )


def _is_known_by_tiles(row: Deliverable) -> bool:
    """Whether the front is known by an accepted picture of tiles, which structure is held to."""
    return Deliverable.objects.filter(
        object=row.object_id,
        state=DeliverableState.ACCEPTED,
        technique__in=COMPARED,
        face="F",
        variant="",
        detail_mm__isnull=True,
    ).exists()


def _by_lightness(row: Deliverable) -> Answer | None:
    """Compare a whole front in visible light; None for every other picture."""
    if (
        row.technique not in COMPARED
        or row.face != "F"
        or row.detail_mm
        or row.kind not in WHOLE_FACE
        or row.cover_id is None
    ):
        return None
    limits, most, _ = _limits()
    own, others = _references(row, most)
    if own is None and _is_known_by_tiles(row):
        return None
    described = _described({row.cover_id, *others.values(), *([own] if own else [])})
    picture = described.get(row.cover_id)
    if picture is None:
        return None
    numbers = numbers_of([row.object_id, *others])
    found = recognise(
        picture,
        own=described.get(own) if own is not None else None,
        others={
            numbers[object_id]: described[cover]
            for object_id, cover in others.items()
            if cover in described
        },
        limits=limits,
    )
    likeness = "" if found.own is None else f"{found.own:.2f}"
    other = "" if found.best_other is None else f"{found.best_other:.2f} ({found.other})"
    return Answer(
        found.verdict,
        _sentence(found, numbers[row.object_id]),
        value=f"{likeness or 'no reference'}; others {other or 'none'}",
        unit="correlation",
        limit=f"own over others ≥ {limits.pass_ratio:g}",
    )
