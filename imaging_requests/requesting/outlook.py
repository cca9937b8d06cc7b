"""What outer rooms know about owed views and this room asks for, without importing them.

Whether a picture exists is known further out, and so is what a session has planned. An outer room
registers one function of each kind when it starts; until then the answer is "nothing is known".
Every function takes many ids and answers with a fixed number of queries.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from imaging_requests.requesting.models import OwedView


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where an owed view stands: status code, whether it is met by a true picture, and where."""

    status: str
    is_met: bool
    why: str = ""
    met_on: date | None = None
    picture_href: str = ""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What sessions hold for a view: the first open session, and whether it was captured."""

    session: str = ""
    planned_on: date | None = None
    href: str = ""
    is_captured: bool = False


@dataclass(frozen=True, kw_only=True)
class DrawingPicture:
    """A picture that shows a whole face, on which a region can be drawn.

    `left_mm` and `top_mm` are where the picture's top left corner lies in the coordinates of the
    face (negative where there is a margin), `width_mm` and `height_mm` what the picture spans.
    `note` says how well that is known.
    """

    face: str
    words: str
    src: str
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    face_width_mm: float
    face_height_mm: float
    note: str = ""


OpenOnly = Callable[[QuerySet[OwedView]], QuerySet[OwedView]]
StandingLookup = Callable[[Collection[int]], Mapping[int, Standing]]
PlanLookup = Callable[[Collection[int]], Mapping[int, Plan]]
PictureLookup = Callable[[int], Sequence[DrawingPicture]]
ReturnLookup = Callable[[Collection[int]], str]

_lookups: dict[str, Callable[..., object]] = {}


def tell_standing(lookup: StandingLookup) -> None:
    """Register who knows where owed views stand."""
    _lookups["standing"] = lookup


def tell_plans(lookup: PlanLookup) -> None:
    """Register who knows what is planned and captured."""
    _lookups["plans"] = lookup


def tell_pictures(lookup: PictureLookup) -> None:
    """Register who has pictures of an object to draw on."""
    _lookups["pictures"] = lookup


def tell_returns(lookup: ReturnLookup) -> None:
    """Register who knows why the last picture for some views was sent back."""
    _lookups["returns"] = lookup


def tell_open(narrow: OpenOnly) -> None:
    """Register who can narrow views to those that can be made now."""
    _lookups["open"] = narrow


def open_only(views: QuerySet[OwedView]) -> QuerySet[OwedView]:
    """Narrow views to those that can be made now: not met, waived, lost, away or hidden."""
    narrow = _lookups.get("open")
    return narrow(views) if narrow else views  # type: ignore[return-value]


def standing_of(view_ids: Collection[int]) -> Mapping[int, Standing]:
    """Where views stand, by id; a view that nobody knows about is left out."""
    lookup = _lookups.get("standing")
    return lookup(view_ids) if lookup and view_ids else {}  # type: ignore[return-value]


def plans_of(view_ids: Collection[int]) -> Mapping[int, Plan]:
    """What is planned and captured for views, by id."""
    lookup = _lookups.get("plans")
    return lookup(view_ids) if lookup and view_ids else {}  # type: ignore[return-value]


def pictures_of(object_id: int) -> Sequence[DrawingPicture]:
    """Pictures of an object on which a region can be drawn."""
    lookup = _lookups.get("pictures")
    return lookup(object_id) if lookup else ()  # type: ignore[return-value]


def return_of(view_ids: Collection[int]) -> str:
    """Why the last picture for these views was sent back, in the reviewer's words; or nothing."""
    lookup = _lookups.get("returns")
    return lookup(view_ids) if lookup and view_ids else ""  # type: ignore[return-value]
