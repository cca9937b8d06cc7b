"""Pictures of an object with their places on its faces, in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import joined, shown
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    Join,
    Registration,
    SurfaceNote,
)
from imaging_requests.intake.models import Derivative
from imaging_requests.intake.words import ev_words
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import User
from imaging_requests.pictures.access import decisions
from imaging_requests.pictures.rules import Decision, Seen
from imaging_requests.progress.look import places
from imaging_requests.progress.look.places import FaceSize, Laid
from imaging_requests.protocols.queries import settings_for_words
from imaging_requests.reckoning.shots import StudioSettings
from imaging_requests.requesting.known_facts import latest_facts
from imaging_requests.requesting.words import numbers_of

SMALL, LARGE = "256", "1024"
#: Pictures that may be looked at: decided for, or waiting for their review.
LOOKED_AT = (DeliverableState.ACCEPTED, DeliverableState.TO_REVIEW)
#: On which face a picture is looked at; an X-ray is seen from the front.
PLANES = {"F": "F", "T": "F", "B": "B", "E": "E"}
#: Techniques in the order of the shot list.
ORDER = ("VF", "VC", "RK", "UV", "IR", "XR")


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """One exposure of a picture: its frames in their places."""

    ev: float
    tiles: tuple[Laid, ...]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture that can be looked at."""

    row: Deliverable
    plane: str
    state_index: int
    state_words: str
    rests_on: str
    error_mm: float | None
    is_tone_stretched: bool
    exposures: tuple[Exposure, ...]

    @property
    def words(self) -> str:
        """Say technique, face and day: "UV of the front, 4 Mar 2026"."""
        return f"{self.row}, {self.day}"

    @property
    def day(self) -> str:
        """The day of the capture in the studio's zone."""
        return f"{studio_time(self.row.captured_at):%-d %b %Y}"

    @property
    def middle(self) -> Exposure:
        """The exposure nearest to the right one."""
        return min(self.exposures, key=lambda each: (abs(each.ev), each.ev))

    def at(self, ev: float | None) -> Exposure:
        """The exposure asked for, else the middle one."""
        return next((each for each in self.exposures if each.ev == ev), self.middle)


@dataclass(frozen=True, kw_only=True)
class Gallery:
    """Everything of an object that can be looked at, and why something cannot."""

    thing: CollectionObject
    number: str
    size_mm: FaceSize | None
    pictures: tuple[Picture, ...]
    held_back: tuple[str, ...]
    notes: tuple[SurfaceNote, ...] = ()
    notes_held_back: int = 0

    def picture(self, pk: int) -> Picture | None:
        """Return one picture by its key."""
        return next((each for each in self.pictures if each.row.pk == pk), None)

    def of_plane(self, plane: str) -> list[Picture]:
        """Return the pictures of one face."""
        return [each for each in self.pictures if each.plane == plane]

    @property
    def planes(self) -> list[str]:
        """Faces of which there is a picture."""
        return [face for face in "FBE" if any(each.plane == face for each in self.pictures)]


def gather_gallery(
    thing: CollectionObject, *, user: User, now: datetime, notes: Sequence[SurfaceNote] = ()
) -> Gallery:
    """Read the pictures of an object, and of its notes, that this person may see."""
    facts = latest_facts([thing.pk], now).get(thing.pk)
    size = places.size_of(facts)
    studio = settings_for_words(now)
    rows = list(_rows(thing.pk))
    held_back: list[str] = []
    open_rows = []
    drawn_on = [note.drawn_on for note in notes]
    access = decisions(user, {row.pk: row for row in (*drawn_on, *rows)}.values(), now=now)
    for row in rows:
        if access[row.pk].seen is Seen.NOTHING:
            held_back.append(f"{row}: {access[row.pk].because}")
        else:
            open_rows.append(row)
    derived = _derived(seat.frame_id for row in open_rows for seat in _seats(row))
    states = shown.state_places(thing.pk, open_rows)
    whole = joined.standing_joins(open_rows)
    seen = []
    for row in open_rows:
        join = whole.get(row.pk)
        picture = _shown(row, size, studio, derived, states[row.pk].words, access[row.pk], join)
        if picture is None:
            held_back.append(f"{row}: its small pictures are not made yet.")
        else:
            seen.append(picture)
    return Gallery(
        thing=thing,
        number=numbers_of([thing.pk])[thing.pk],
        size_mm=size,
        pictures=tuple(sorted(seen, key=_in_order)),
        held_back=tuple(held_back),
        notes=tuple(each for each in notes if access[each.drawn_on_id].seen is not Seen.NOTHING),
        notes_held_back=sum(access[each.drawn_on_id].seen is Seen.NOTHING for each in notes),
    )


def _rows(object_id: int) -> QuerySet[Deliverable]:
    seats = DeliverableFrame.objects.select_related("frame").order_by(
        "tile_y", "tile_x", "focus_slice", "ev"
    )
    maps = Registration.objects.order_by("-code_version").select_related("reference")
    return (
        Deliverable.objects.filter(object=object_id, state__in=LOOKED_AT)
        .select_related("cover", "shot_line__setup_card")
        .prefetch_related(
            Prefetch("deliverable_frames", queryset=seats, to_attr="seats"),
            Prefetch("registrations", queryset=maps, to_attr="maps"),
        )
    )


def _seats(row: Deliverable) -> Sequence[DeliverableFrame]:
    found: Sequence[DeliverableFrame] = row.seats  # type: ignore[attr-defined]
    return found


def _in_order(seen: Picture) -> tuple[Any, ...]:
    row = seen.row
    technique = ORDER.index(row.technique) if row.technique in ORDER else len(ORDER)
    return seen.state_index, technique, row.face, row.variant, row.captured_at, row.pk


def _derived(frame_ids: Iterable[int]) -> dict[int, dict[str, Derivative]]:
    found: dict[int, dict[str, Derivative]] = defaultdict(dict)
    for each in Derivative.objects.filter(frame__in=set(frame_ids)).order_by("pk"):
        found[each.frame_id][each.kind] = each
    return found


def _shown(
    row: Deliverable,
    size: FaceSize | None,
    studio: StudioSettings | None,
    derived: dict[int, dict[str, Derivative]],
    state: str,
    access: Decision,
    join: Join | None,
) -> Picture | None:
    placing = places.placing_of(row, size, studio, next(iter(row.maps), None), join)  # type: ignore[attr-defined]
    is_small = access.seen is not Seen.FULL
    by_ev: dict[float, list[Laid]] = defaultdict(list)
    if join is not None:
        by_ev[0.0] = [placing.lay_joined(join, is_small=is_small)]
    for seat in _seats(row) if join is None else ():
        made = derived.get(seat.frame_id, {})
        if seat.focus_slice == 0 and LARGE in made and seat.frame.width_px:
            by_ev[seat.ev].append(placing.lay(seat, made, is_small=is_small))
    if not by_ev:
        return None
    covers = [derived.get(row.cover_id or 0, {}).get(LARGE)]
    return Picture(
        row=row,
        plane=PLANES[row.face],
        state_index=int(state[1:].split(",")[0]),
        state_words=state,
        rests_on=f"{placing.rests_on} {access.because}".strip(),
        error_mm=placing.error_mm,
        is_tone_stretched=join.is_tone_stretched
        if join is not None
        else any(each is not None and each.tone_stretched for each in covers),
        exposures=tuple(Exposure(ev=ev, tiles=tuple(tiles)) for ev, tiles in sorted(by_ev.items())),
    )


def exposure_words(ev: float) -> str:
    """Say an exposure as people do: "+1 EV"."""
    return f"{ev_words(ev)} EV"


def picture_address(row: Deliverable) -> str:
    """Return the page of a picture."""
    return reverse("deliverables:deliverable", args=[row.pk])
