"""What was read from the frames of pictures, kept by the job `measure`, and front against back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.deliverables.queries import MEASURE
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.traits import Traits, check_silhouette
from imaging_requests.intake.limits import measurement_rules
from imaging_requests.intake.models import Job

#: Where the job `measure` keeps in its result what each frame shows.
TRAITS = "traits"
VISIBLE = ("VF", "VC")
OPEN = (DeliverableState.BUILDING, DeliverableState.TO_REVIEW)
USED = (*OPEN, DeliverableState.ACCEPTED)
OTHER = {"F": "B", "B": "F"}


def traits_of(rows: Iterable[Deliverable]) -> dict[int, Traits]:
    """Return what was read from each picture, by primary key; one query, none for no pictures.

    Of a bracket the frame at the normal exposure speaks, else the one nearest to it.
    """
    pictures = [row for row in rows if row.shot_line_id is not None]
    if not pictures:
        return {}
    kept: dict[int, Mapping[str, Any]] = {}
    jobs = Job.objects.filter(
        kind=MEASURE, subject_id__in={row.shot_line_id for row in pictures}
    ).order_by("pk")
    for subject_id, result in jobs.values_list("subject_id", "result"):
        if result.get(TRAITS):
            kept[subject_id] = result[TRAITS]
    found = {}
    for row in pictures:
        assert row.shot_line_id is not None
        read = _cover_of(row, kept.get(row.shot_line_id, {}))
        if read is not None:
            found[row.pk] = read
    return found


def silhouettes(row: Deliverable, traits: Mapping[str, Any]) -> list[tuple[int, Finding]]:
    """B1 after one face was measured: of this back, or of the open backs of this front.

    Args:
        row: The picture that was measured just now.
        traits: What its frames show, by their keys.

    Returns:
        Findings with the frame each is said of; none for other faces, other light, or details.
    """
    if row.technique not in VISIBLE or row.face not in OTHER or row.detail_mm:
        return []
    rules = measurement_rules()
    own = _cover_of(row, traits) or Traits()
    partners = list(
        Deliverable.objects.filter(
            object=row.object_id,
            face=OTHER[row.face],
            technique__in=VISIBLE,
            detail_mm__isnull=True,
            state__in=USED if row.face == "B" else OPEN,
        ).order_by("-captured_at", "-pk")
    )
    read = traits_of(partners)
    if row.face == "B":
        if row.cover_id is None:
            return []
        front = _first_with_outline(partners, read)
        return [(row.cover_id, check_silhouette(front, own, rules))]
    if own.outline_mm is None:
        return []
    return [
        (back.cover_id, check_silhouette(own, read[back.pk], rules))
        for back in partners
        if back.cover_id is not None and back.pk in read
    ]


def _first_with_outline(
    partners: Sequence[Deliverable], read: Mapping[int, Traits]
) -> Traits | None:
    every = [read[partner.pk] for partner in partners if partner.pk in read]
    return next((each for each in every if each.outline_mm is not None), None)


def _cover_of(row: Deliverable, traits: Mapping[str, Any]) -> Traits | None:
    """The traits of the frame that speaks for a picture; None if nothing was read of it."""
    cover = traits.get(str(row.cover_id))
    nearest = min(traits.values(), key=lambda each: abs(each["ev"]), default=None)
    if cover is not None and (nearest is None or abs(cover["ev"]) <= abs(nearest["ev"])):
        nearest = cover
    if nearest is None:
        return None
    return Traits.from_data({name: value for name, value in nearest.items() if name != "ev"})
