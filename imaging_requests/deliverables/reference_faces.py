"""What a face is known to look like: the structure of its accepted visible picture.

A picture of one frame is known by the pattern kept with its frame. One that is kept as tiles is
known by its joined picture if one stands, else by the patterns of its tiles laid together. What was
described is remembered, since the same references are asked for with every picture.
"""

from __future__ import annotations

from collections import OrderedDict, defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from math import ceil
from pathlib import Path

import cv2
import numpy as np
from django.db.models import Case, F, Q, QuerySet, When
from PIL import Image

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import joined, registering
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    Join,
    PlateMap,
)
from imaging_requests.imaging.likeness.laying import lay_together
from imaging_requests.imaging.likeness.pattern import (
    Grey,
    Region,
    pattern_of,
    read_pattern,
    tile_region,
)
from imaging_requests.imaging.likeness.structure import Structure, best_exposed
from imaging_requests.intake.limits import placing_limits
from imaging_requests.intake.models import FrameLook

SMALL = "256"
SIDES = {"F": "front", "B": "back"}
#: Descriptions kept in memory, about 0.12 MB each.
KEPT = 400
READ = (
    "object",
    "face",
    "technique",
    "kind",
    "px_per_mm",
    "cover",
    "captured_at",
    "shot_line__tiles_across",
    "shot_line__tiles_down",
)
Key = tuple[object, ...]
_kept: OrderedDict[Key, Structure] = OrderedDict()


@dataclass(frozen=True, slots=True)
class Seat:
    """A frame of a picture with the tile that it shows; `looked_at`: None without a pattern."""

    frame_id: int
    x: int
    y: int
    looked_at: datetime | None


@dataclass(frozen=True, slots=True)
class Source:
    """An accepted visible picture of a whole face, and what can be read of it."""

    face: str
    seats: tuple[Seat, ...]
    across: int
    down: int
    join: Join | None = None
    is_laid_by_hand: bool = False

    @property
    def is_tiled(self) -> bool:
        """Whether it is kept as several tiles."""
        return self.across * self.down > 1

    @property
    def has_all(self) -> bool:
        """Whether every tile has a pattern."""
        places = {(seat.x, seat.y) for seat in self.seats if seat.looked_at is not None}
        return len(places) == self.across * self.down

    @property
    def key(self) -> Key:
        """What the description follows from."""
        if self.join is not None:
            return (self.join.recipe, self.join.sha256)
        return (self.across, self.down, *((s.frame_id, s.looked_at, s.x, s.y) for s in self.seats))


@dataclass(frozen=True, slots=True)
class Faces:
    """Known faces of one side by object; `why`: why that of the object asked for is not known."""

    structures: Mapping[int, Structure] = field(default_factory=dict)
    sources: Mapping[int, Source] = field(default_factory=dict)
    why: str = ""


def faces_of(object_id: int, face: str, *, most_others: int) -> Faces:
    """Return the known faces to compare a picture with: the object's own, then those of others.

    Others are those of the same campaigns; while the object has none of its own, also the latest of
    all other campaigns, since its picture can only be told from those.
    """
    accepted = _accepted(face)
    rows = list(accepted.filter(_near([object_id])))
    found = _known(_of_some(rows, [object_id], most_others))
    if object_id not in found.structures:
        all_rows = accepted.exclude(pk__in=[row.pk for row in rows])[:most_others]
        found = _known(_of_some([*rows, *all_rows], [object_id], most_others))
    why = "" if object_id in found.structures else _why(found.sources.get(object_id), face)
    return Faces(found.structures, found.sources, why)


def faces_near(
    object_ids: Collection[int], *, most_others: int
) -> dict[tuple[int, str], Structure]:
    """Return the known faces of some objects and of others of their campaigns, by object and side.

    The number of queries does not depend on the number of objects.
    """
    found: dict[tuple[int, str], Structure] = {}
    for face in SIDES if object_ids else ():
        rows = _of_some(_accepted(face).filter(_near(object_ids)), object_ids, most_others)
        found |= {(pk, face): known for pk, known in _known(rows).structures.items()}
    return found


def _accepted(face: str) -> QuerySet[Deliverable]:
    """Return the accepted visible pictures of a whole face, the latest first."""
    return (
        Deliverable.objects.filter(
            state=DeliverableState.ACCEPTED,
            technique__in=registering.VISIBLE,
            face=face,
            variant="",
            detail_mm__isnull=True,
            cover__isnull=False,
        )
        .select_related("shot_line")
        .only(*READ)
        .order_by("-captured_at", "-pk")
    )


def _near(object_ids: Collection[int]) -> Q:
    """Pictures of these objects, and of all that were planned in their campaigns."""
    campaigns = ShotLine.objects.filter(object__in=object_ids).values("session__campaign")
    near = ShotLine.objects.filter(session__campaign__in=campaigns).values("object")
    return Q(object__in=object_ids) | Q(object__in=near)


def _of_some(
    rows: Iterable[Deliverable], object_ids: Collection[int], most_others: int
) -> list[Deliverable]:
    """Leave the objects' own pictures, and those of so many others that come first."""
    rows = list(rows)
    others = dict.fromkeys(row.object_id for row in rows if row.object_id not in object_ids)
    allowed = {*object_ids, *list(others)[:most_others]}
    return [row for row in rows if row.object_id in allowed]


def small_face(source: Source, longest_px: int) -> registering.Small | None:
    """Read a known face, reduced, finer than its pattern; None if it cannot be read."""
    if source.join is not None:
        return registering.small_joined(source.join, longest_px)
    if not source.is_tiled:
        return registering.small_copy(source.seats[0].frame_id, longest_px)
    tiles = []
    first = {(seat.x, seat.y): seat.frame_id for seat in reversed(source.seats)}
    for (x, y), frame_id in first.items():
        part = _region(source, x, y)
        share = max(part.right - part.left, part.bottom - part.top)
        small = registering.small_copy(frame_id, ceil(longest_px * share))
        if small is None:
            return None
        tiles.append((_grey(small.values), part))
    values = lay_together(tiles, longest_px)
    rows, columns = values.shape
    return registering.Small(values=values, to_full=np.eye(3), width_px=columns, height_px=rows)


def _grey(values: np.ndarray) -> Grey:
    flat = np.ascontiguousarray(values.astype(np.uint8))
    if flat.ndim == 2:
        return flat
    if flat.shape[2] < 3:
        return np.ascontiguousarray(flat[..., 0])
    return np.asarray(cv2.cvtColor(flat[..., :3], cv2.COLOR_RGB2GRAY), np.uint8)


def _region(source: Source, x: int, y: int) -> Region:
    return tile_region(x, y, source.across, source.down, placing_limits().picture.overlap)


def _why(source: Source | None, face: str) -> str:
    side = SIDES[face]
    if source is None:
        return f"no visible picture of its whole {side} has been accepted yet"
    picture = f"the accepted visible picture of its {side}"
    if not source.is_tiled:
        return f"{picture} has no small picture yet"
    if source.is_laid_by_hand:
        return f"the tiles of {picture} were laid by hand and are not joined yet"
    return f"{picture} is kept as tiles, and not every tile has a small picture yet"


def _known(rows: list[Deliverable]) -> Faces:
    """Describe the first picture of each object that can be read."""
    sources = _sources(rows)
    readable = {source.key: source for source in sources.values() if _is_readable(source)}
    known = {key: _kept[key] for key in readable if key in _kept}
    known |= _describe({key: each for key, each in readable.items() if key not in known})
    _remember(known)
    structures: dict[int, Structure] = {}
    first: dict[int, Source] = {}
    for row in rows:
        source = sources[row.pk]
        structure = known.get(source.key)
        if structure is not None and row.object_id not in structures:
            structures[row.object_id], first[row.object_id] = structure, source
        first.setdefault(row.object_id, source)
    return Faces(structures, first)


def _is_readable(source: Source) -> bool:
    return source.join is not None or (source.has_all and not source.is_laid_by_hand)


def _sources(rows: list[Deliverable]) -> dict[int, Source]:
    tiled = [row for row in rows if row.kind not in registering.WHOLE]
    joins = joined.standing_joins(_with_joins(tiled))
    maps = PlateMap.objects.filter(deliverable__in=[row.pk for row in tiled])
    by_hand = set(maps.values_list("deliverable", flat=True))
    seats: dict[int, list[Seat]] = defaultdict(list)
    members = DeliverableFrame.objects.filter(deliverable__in=[row.pk for row in rows])
    looked_at = Case(When(frame__look__pattern__gt="", then=F("frame__look__looked_at")))
    for pk, *seat in members.order_by("pk").values_list(
        "deliverable", "frame", "tile_x", "tile_y", looked_at
    ):
        seats[pk].append(Seat(*seat))
    found = {}
    for row in rows:
        own = seats[row.pk]
        if row.kind in registering.WHOLE:
            covers = [seat for seat in own if seat.frame_id == row.cover_id][:1]
            found[row.pk] = Source(row.face, tuple(covers), 1, 1)
            continue
        line = row.shot_line
        across = line.tiles_across if line else 1 + max((seat.x for seat in own), default=0)
        down = line.tiles_down if line else 1 + max((seat.y for seat in own), default=0)
        inside = tuple(seat for seat in own if seat.x < across and seat.y < down)
        found[row.pk] = Source(row.face, inside, across, down, joins.get(row.pk), row.pk in by_hand)
    return found


def _with_joins(rows: list[Deliverable]) -> list[Deliverable]:
    made = Join.objects.filter(deliverable__in=[row.pk for row in rows])
    joined_rows = set(made.values_list("deliverable", flat=True)) if rows else set()
    return [row for row in rows if row.pk in joined_rows]


def _describe(wanted: Mapping[Key, Source]) -> dict[Key, Structure]:
    frames = {seat.frame_id for source in wanted.values() for seat in source.seats}
    looks = FrameLook.objects.filter(frame__in=frames).exclude(pattern="") if frames else ()
    patterns = {look.frame_id: look.pattern for look in looks}
    found = {}
    for key, source in wanted.items():
        pattern = _of_join(source)
        if pattern is None and source.has_all and not source.is_laid_by_hand:
            pattern = _of_tiles(source, patterns)
        if pattern is not None:
            found[key] = Structure(pattern)
    return found


def _remember(known: Mapping[Key, Structure]) -> None:
    for key, structure in known.items():
        _kept[key] = structure
        _kept.move_to_end(key)
    while len(_kept) > KEPT:
        _kept.popitem(last=False)


def _of_join(source: Source) -> Grey | None:
    file = joined.file_of(source.join, SMALL) if source.join is not None else None
    if file is None or not Path(file.path).is_file():
        return None
    try:
        with Image.open(file.path) as picture:
            return pattern_of(np.asarray(picture.convert("L"), np.uint8))
    except OSError:
        return None


def _of_tiles(source: Source, patterns: Mapping[int, str]) -> Grey | None:
    by_place: dict[tuple[int, int], list[Grey]] = defaultdict(list)
    for seat in source.seats:
        if seat.frame_id in patterns and seat.looked_at is not None:
            by_place[seat.x, seat.y].append(read_pattern(patterns[seat.frame_id]))
    tiles = [
        (best, _region(source, x, y))
        for (x, y), some in by_place.items()
        if (best := best_exposed(some)) is not None
    ]
    if not source.is_tiled:
        return tiles[0][0] if tiles else None
    return lay_together(tiles) if len(tiles) == source.across * source.down else None
