"""The joined picture that stands for a picture of several tiles, many in a fixed number of queries.

A joining stands if nobody doubts it: the program was sure of it, or a person laid its tiles, and
the tiles lie today as they lay then. A picture whose newest joining is uncertain is shown tile by
tile until somebody lays its plate map.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.db.models import Q

from imaging_requests.deliverables import joining
from imaging_requests.deliverables.models import Deliverable, Join
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.actions.made import bad_paths
from imaging_requests.intake.places import Key

EXTENSION = "tif"
INVERTED = "inverted"
UNCERTAIN = "The joining of its tiles is uncertain; each tile has an identifier of its own."
NOT_YET = "The tiles of this picture are not joined yet; each tile has an identifier of its own."


@dataclass(frozen=True, slots=True)
class JoinedFile:
    """A derived file of a joined picture."""

    path: Path
    width_px: int
    height_px: int


def standing_joins(rows: Iterable[Deliverable]) -> dict[int, Join]:
    """Return the joining that stands for each picture, by primary key; three queries or none."""
    tiled = [row for row in rows if joining.is_joined_kind(row)]
    if not tiled:
        return {}
    plans = joining.plans_of(tiled)
    found: dict[int, Join] = {}
    made = Join.objects.filter(deliverable__in=plans).order_by("made_at", "pk")
    for join in made.defer("report"):
        plan = plans[join.deliverable_id]
        if not is_of(join, plan):
            continue
        if join.sha256 and (join.verdict == Join.Verdict.JOINED or plan.plate_map is not None):
            found[join.deliverable_id] = join
        else:
            found.pop(join.deliverable_id, None)
    return found


def unjoined(rows: Iterable[Deliverable]) -> set[int]:
    """Return the pictures whose tiles nobody has tried to join as they lie; three queries or none.

    Tiles that could not be joined, or not surely, have been tried: their checks say so.
    """
    tiled = [row for row in rows if joining.is_joined_kind(row)]
    plans = joining.plans_of(tiled) if tiled else {}
    if not plans:
        return set()
    made = Join.objects.filter(deliverable__in=plans).defer("report")
    tried = {each.deliverable_id for each in made if is_of(each, plans[each.deliverable_id])}
    return set(plans) - tried


def is_of(join: Join, plan: joining.Plan) -> bool:
    """Whether a joining put the tiles together as they lie today, with whichever numbers."""
    now = plan.ingredients
    return all(join.ingredients.get(name) == now[name] for name in ("plates", "is_fixed"))


def standing_join(row: Deliverable) -> Join | None:
    """Return the joining that stands for one picture."""
    return standing_joins([row]).get(row.pk)


def file_of(join: Join, kind: str) -> JoinedFile | None:
    """Return a derived file of a joined picture by its kind: the pyramid, 256, 1024, inverted."""
    for each in join.pictures:
        if each["kind"] == kind:
            path = Path(settings.DERIVED_DIR) / each["path"]
            return JoinedFile(path, each["width_px"], each["height_px"])
    return None


def pyramid_of(join: Join) -> JoinedFile | None:
    """Return the pyramid that tiles and regions are cut from."""
    return file_of(join, PYRAMID)


def why_none(row: Deliverable) -> str:
    """Say why no joined picture stands for a picture of several tiles."""
    made = joining.newest_join(row)
    is_doubted = made is not None and made.verdict == Join.Verdict.UNCERTAIN
    return UNCERTAIN if is_doubted else NOT_YET


def stored_path(join: Join) -> str:
    """Return where the joined file lies below the top of both places; empty if there is none."""
    return Key(join.sha256, EXTENSION).path if join.sha256 else ""


def is_whole(join: Join) -> bool:
    """Whether every file of a joining is where it was put and none was found bad."""
    return _is_whole(join, bad_paths())


def _is_whole(join: Join, bad: frozenset[str]) -> bool:
    made = [each["path"] for each in join.pictures]
    if bad and not bad.isdisjoint([stored_path(join), *made]):
        return False
    return all((Path(settings.DERIVED_DIR) / path).is_file() for path in made)


def lost_joins() -> list[int]:
    """Return the pictures of tiles whose joining stands but has lost files, or has bad ones."""
    tiled = Deliverable.objects.filter(joins__isnull=False).distinct()
    bad = bad_paths()
    return sorted(pk for pk, join in standing_joins(tiled).items() if not _is_whole(join, bad))


def pictures_that_need(path: str) -> list[int]:
    """Return the pictures whose joining stands or is the newest and has a file at this path."""
    stem = PurePosixPath(path).stem
    named = Q(joins__sha256=stem) | Q(joins__recipe=stem.removesuffix(f"-{INVERTED}"))
    rows = list(Deliverable.objects.filter(named).distinct())
    standing = standing_joins(rows)
    return [
        row.pk
        for row in rows
        if any(
            path in (stored_path(join), *(each["path"] for each in join.pictures))
            for join in (standing.get(row.pk), joining.newest_join(row))
            if join is not None
        )
    ]
