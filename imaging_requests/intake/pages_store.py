"""The page of the store: how far each place is proven, what is bad now, what was found before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, F, Min, OuterRef, Q, Sum
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst

from imaging_requests.intake import store
from imaging_requests.intake.actions.made import DERIVED
from imaging_requests.intake.limits import PROOF_SWEEP_MINUTES, background
from imaging_requests.intake.models import Copy, Frame, MadeCopy
from imaging_requests.intake.pages_receipt import PLACE_WORDS
from imaging_requests.people.models import AuditEvent

MOST_SHOWN = 50
CODES = ("intake.copy_", "intake.made_copy_", "intake.place_silent")


@dataclass(frozen=True, slots=True)
class Standing:
    """How the files of one kind stand in one place."""

    place: str
    what: str
    copies: int
    size_bytes: int
    bad: int
    overdue: int
    earliest: datetime | None


@dataclass(frozen=True, slots=True)
class Trouble:
    """A copy that does not match now."""

    name: str
    place: str
    words: str
    href: str


def store_context(*, now: datetime | None = None) -> dict[str, Any]:
    """Gather the page; the number of queries does not depend on how many files there are."""
    now = now or timezone.now()
    standings = [*_standings(Copy, now), *_standings(MadeCopy, now)]
    troubles = [*_bad_masters(), *_bad_made()]
    found = Q()
    for code in CODES:
        found |= Q(code__startswith=code)
    return {
        "standings": standings,
        "bad": sum(each.bad for each in standings),
        "troubles": troubles[:MOST_SHOWN],
        "events": AuditEvent.objects.filter(found).order_by("-recorded_at", "-pk")[:MOST_SHOWN],
        "every_days": background().proof_every_days,
        "copies": sum(each.copies for each in standings),
        "overdue": sum(each.overdue for each in standings),
        "portion_bytes": background().proof_portion_bytes,
        "portion_s": background().proof_portion_s,
        "portion_minutes": PROOF_SWEEP_MINUTES,
        "share_one_disk": store.share_one_disk(),
        "free": [
            {"place": _words(place), "size_bytes": size}
            for place, size in store.free_bytes().items()
        ],
        "gone": [
            {"place": _words(name), "words": trouble} for name, trouble in store.troubles().items()
        ],
        "as_of": now,
    }


def _words(place: str) -> str:
    return PLACE_WORDS.get(place, place.capitalize())


def overdue_copies(now: datetime) -> tuple[int, int]:
    """How many copies were not read again in time, and how many there are."""
    before = now - timedelta(days=background().proof_every_days)
    late = Q(verified_at=None) | Q(verified_at__lt=before)
    counted = [
        model.objects.aggregate(copies=Count("pk"), overdue=Count("pk", filter=late))
        for model in (Copy, MadeCopy)
    ]
    return sum(each["overdue"] for each in counted), sum(each["copies"] for each in counted)


@dataclass(frozen=True, slots=True)
class BadMaster:
    """A master of which at least one copy does not match; `href`: the drop in which it came."""

    name: str
    href: str


def bad_masters() -> tuple[list[BadMaster], list[BadMaster]]:
    """Masters without any good copy, and masters with one good and one bad."""
    own = Copy.objects.filter(frame=OuterRef("pk"))
    bad = (
        Frame.objects.filter(Exists(own.filter(is_good=False)))
        .annotate(good=Exists(own.filter(is_good=True)), drop=Min("arrivals__drop"))
        .order_by("pk")
        .values_list("first_name", "good", "drop")
    )
    lost: list[BadMaster] = []
    short: list[BadMaster] = []
    for name, good, drop in bad:
        href = reverse("intake:drop", args=[drop]) if drop else ""
        (short if good else lost).append(BadMaster(name, href))
    return lost, short


def _standings(model: type[Copy] | type[MadeCopy], now: datetime) -> list[Standing]:
    before = now - timedelta(days=background().proof_every_days)
    size = "frame__size_bytes" if model is Copy else "size_bytes"
    rows = (
        model.objects.values("place")
        .annotate(
            copies=Count("pk"),
            bytes=Sum(F(size)),
            bad=Count("pk", filter=Q(is_good=False)),
            overdue=Count("pk", filter=Q(verified_at=None) | Q(verified_at__lt=before)),
            earliest=Min("verified_at"),
        )
        .order_by()
    )
    by_place = {row["place"]: row for row in rows}
    order = [place for place in (*store.PLACES, DERIVED) if place in by_place]
    return [
        Standing(
            place=_words(place),
            what="Masters" if model is Copy else "Joined pictures",
            copies=by_place[place]["copies"],
            size_bytes=by_place[place]["bytes"] or 0,
            bad=by_place[place]["bad"],
            overdue=by_place[place]["overdue"],
            earliest=by_place[place]["earliest"],
        )
        for place in order
    ]


def _bad_masters() -> list[Trouble]:
    rows = Copy.objects.filter(is_good=False).select_related("frame").order_by("pk")[:MOST_SHOWN]
    drops = dict(
        Copy.objects.filter(pk__in=[row.pk for row in rows])
        .annotate(drop=Min("frame__arrivals__drop"))
        .values_list("pk", "drop")
    )
    return [
        Trouble(
            name=row.frame.first_name,
            place=_words(row.place),
            words="Bring the same file again from the card or from another backup; it heals both.",
            href=reverse("intake:drop", args=[drops[row.pk]]) if drops.get(row.pk) else "",
        )
        for row in rows
    ]


def _bad_made() -> list[Trouble]:
    rows = MadeCopy.objects.filter(is_good=False).order_by("pk")[:MOST_SHOWN]
    return [
        Trouble(
            name=capfirst(row.name),
            place=_words(row.place),
            words=(
                f"Asked to be made again from its masters on {_said(row.asked_at)}."
                if row.asked_at is not None
                else "Not proven yet; the next sweep has it made again from its masters."
            ),
            href="",
        )
        for row in rows
    ]


def _said(instant: datetime) -> str:
    local = timezone.localtime(instant)
    return f"{local.day} {local:%b %Y, %H:%M}"
