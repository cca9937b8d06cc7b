"""What the pages of pictures and packages show, gathered in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import Prefetch
from django.http import Http404
from django.urls import reverse

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.campaigns.words import card_figures, card_rest
from imaging_requests.deliverables import (
    corrections,
    naming,
    pages_plates,
    policies,
    queries,
    shown,
)
from imaging_requests.deliverables.joined import unjoined
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableKind,
    DeliverableState,
    Package,
)
from imaging_requests.deliverables.unchecked import unchecked
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import User
from imaging_requests.people.policies import why_not
from imaging_requests.people.requests import whole_number
from imaging_requests.reckoning.truth.words import inside
from imaging_requests.requesting.words import as_of_words

FACES = {"F": "front", "B": "back", "E": "edges", "T": "through the object"}


def picture(pk: int) -> Deliverable:
    """Return one version with everything its pages name; an unknown one is not found."""
    found = (
        queries.with_names(Deliverable.objects.filter(pk=pk))
        .select_related(
            "object", "photographer", "shot_line__session__station", "shot_line__setup_card"
        )
        .first()
    )
    if found is None:
        raise Http404
    return found


def seats_of(row: Deliverable) -> list[DeliverableFrame]:
    """Return the frames of a version in their places."""
    return list(
        DeliverableFrame.objects.filter(deliverable=row)
        .select_related("frame")
        .order_by("tile_y", "tile_x", "focus_slice", "ev")
    )


def chosen_frame(
    row: Deliverable, seats: list[DeliverableFrame], wanted: str
) -> DeliverableFrame | None:
    """Return the frame to show large: the one asked for, else the cover, else the first."""
    by_id = {seat.frame_id: seat for seat in seats}
    for pk in (whole_number(wanted), row.cover_id):
        if pk in by_id:
            return by_id[pk]
    return seats[0] if seats else None


def large_picture(
    row: Deliverable,
    number: str,
    frame_id: int | None,
    large: dict[int, shown.Thumb],
    place: shown.StatePlace,
) -> dict[str, Any]:
    """Return what the picture component needs to show one frame large."""
    thumb = large.get(frame_id) if frame_id is not None else None
    return {
        "src": thumb.src if thumb else "",
        "width": thumb.width if thumb else None,
        "height": thumb.height if thumb else None,
        "alt": f"{number}, {row}",
        "is_tone_stretched": bool(thumb and thumb.is_tone_stretched),
        "none_because": "This frame has not been read yet; the page shows it when it has."
        if frame_id is not None
        else "No frame has come yet.",
        "technique": str(row),
        "face": number,
        "state": place.words,
        "taken_on": shown.clock(row.captured_at),
    }


def joined_large(joined: dict[str, Any] | None) -> dict[str, Any]:
    """Return what replaces the first tile when the tiles are joined."""
    if joined is None or joined["picture"] is None:
        return {}
    picture = joined["picture"]
    return {
        "src": picture.src,
        "width": picture.width,
        "height": picture.height,
        "is_tone_stretched": picture.is_tone_stretched,
    }


def facts_of(
    row: Deliverable, number: str, place: shown.StatePlace, joined: dict[str, Any] | None
) -> list[dict[str, Any]]:
    """Return the facts beside a picture."""
    line = row.shot_line
    facts: list[dict[str, Any]] = [
        {
            "label": "Object",
            "value": f"{number} {row.object.title}",
            "href": reverse("progress:object", args=[row.object_id]),
        },
        {"label": "Face", "value": FACES.get(row.face, row.face), "note": f"surface {row.surface}"},
        {"label": "State", "value": place.words},
        {"label": "Captured", "value": shown.clock(row.captured_at)},
        {"label": "Photographer", "value": row.photographer.name},
        {
            "label": "Density",
            "value": f"{row.px_per_mm:.3g}",
            "unit": "px/mm",
            "note": "as planned",
        },
        {"label": "Kind", "value": kind_words(row, joined), "note": f"version {row.version}"},
    ]
    if row.polarity:
        facts.append({"label": "Polarity", "value": row.get_polarity_display()})
    if line is not None:
        facts += _line_facts(line)
    return facts


def kind_words(row: Deliverable, joined: dict[str, Any] | None) -> str:
    """Say how the frames make one picture; what nobody has joined is called tiles."""
    if row.kind == DeliverableKind.MOSAIC and (joined is None or joined["picture"] is None):
        return "Tiles, not joined"
    return str(row.get_kind_display())


def _line_facts(line: ShotLine) -> list[dict[str, Any]]:
    facts: list[dict[str, Any]] = [
        {
            "label": "Session",
            "value": f"{line.session.station}, {shown.day(line.session.starts_at)}",
            "href": reverse("campaigns:session", args=[line.session_id]),
        }
    ]
    card = line.setup_card
    if card is None:
        return [*facts, {"label": "Set-up card", "value": "none named"}]
    address = reverse("campaigns:setup_card", args=[card.pk])
    facts.append({"label": "Set-up card", "value": str(card), "href": address})
    for row in (*card_figures(card.values), *card_rest(card.values)):
        facts.append({"value": row.get("figure", row.get("value")), **row})
    return facts


def asked_for(row: Deliverable) -> list[str]:
    """Say which owed views a picture was made for."""
    if row.shot_line is None:
        return []
    views = row.shot_line.owed_views.select_related("treatment").order_by("pk")
    return [as_of_words(view) for view in views]


def review_context(row: Deliverable, *, user: User, frame: str, now: datetime) -> dict[str, Any]:
    """Gather the review page."""
    number = queries.number_of(row)
    seats = seats_of(row)
    chosen = chosen_frame(row, seats, frame)
    chosen_id = chosen.frame_id if chosen is not None else None
    before = queries.accepted_before(row)
    small = shown.thumbs((seat.frame_id for seat in seats), shown.SMALL)
    large = shown.thumbs([chosen_id, before.cover_id if before else None], shown.LARGE)
    checks = queries.checks_of([row]).get(row.pk, [])
    places = shown.state_places(row.object_id, [row, *([before] if before else [])])
    place = places[row.pk]
    versions = versions_with_words(row, now)
    is_waiting = row.state == DeliverableState.TO_REVIEW
    grid = shown.tile_grid(row, seats, small, chosen_id)
    whole = pages_plates.joined_context(row, user)
    return whole | {
        "row": row,
        "number": number,
        "words": str(row),
        "inside": inside(str(row)),
        "large": large_picture(row, number, chosen_id, large, place)
        | ({} if frame else joined_large(whole["joined"])),
        "grid": grid if len(grid) * len(grid[0]) > 1 else [],
        "strip": shown.strip(row, seats, small, chosen_id),
        "check_rows": shown.check_rows(row, checks),
        "passes": shown.passes(checks),
        "unchecked": unchecked(row, checks),
        "unread": queries.unread_frames(row),
        "facts": facts_of(row, number, place, whole["joined"]),
        "since": place.since,
        "as_of": asked_for(row),
        "too_late": [as_of_words(view) for view in queries.views_too_late_for(row)],
        "before": before
        and large_picture(before, number, before.cover_id, large, places[before.pk])
        | {
            "pk": before.pk,
            "href": reverse("deliverables:deliverable", args=[before.pk]),
            "stands": before.get_state_display().lower(),
        },
        "versions": [version for version in versions if version.pk != row.pk],
        "decisions": next((list(v.reviews.all()) for v in versions if v.pk == row.pk), []),
        "is_waiting": is_waiting,
        "begun": queries.begun_because(row),
        "next": queries.next_in_queue(row),
        "waited": shown.waited(row, studio_time(now).date()),
        "not_because": why_not(user, policies.REVIEW, row) if is_waiting else "",
    }


def queue_rows(rows: Iterable[Deliverable], now: datetime) -> list[dict[str, Any]]:
    """Lay out a page of the review queue."""
    pictures = list(rows)
    small = shown.thumbs((row.cover_id for row in pictures), shown.SMALL)
    checks = queries.checks_of(pictures)
    unread = queries.unread_of(pictures)
    untried = unjoined(pictures)
    today = studio_time(now).date()
    late = queries.numbers(now).late_after_working_days
    return [
        {
            "row": row,
            "number": queries.number_of(row),
            "words": str(row),
            "thumb": small.get(row.cover_id) if row.cover_id else None,
            "verdicts": shown.verdict_counts(checks.get(row.pk, []), len(row.faults)),
            "unread": unread[row.pk],
            "is_unjoined": row.pk in untried,
            "waited": (days := shown.waited(row, today)),
            "is_late": days > late,
        }
        for row in pictures
    ]


def versions_with_words(row: Deliverable, now: datetime) -> list[Deliverable]:
    """Return the versions of a picture, each decision with the words of its reasons."""
    known = queries.numbers(now).reasons
    versions = list(queries.versions_of(row))
    for version in versions:
        for decision in version.reviews.all():
            words = [known[code].words if code in known else code for code in decision.reasons]
            decision.reason_words = words  # type: ignore[attr-defined]
    return versions


def deliverable_context(row: Deliverable, *, user: User, now: datetime) -> dict[str, Any]:
    """Gather the page of one picture with all its versions."""
    number = queries.number_of(row)
    seats = seats_of(row)
    large = shown.thumbs([row.cover_id], shown.LARGE)
    copies = queries.proven_copies_of(seat.frame_id for seat in seats)
    place = shown.state_places(row.object_id, [row])[row.pk]
    whole = pages_plates.joined_context(row, user)
    return whole | {
        "row": row,
        "number": number,
        "words": str(row),
        "large": large_picture(row, number, row.cover_id, large, place)
        | joined_large(whole["joined"]),
        "facts": facts_of(row, number, place, whole["joined"]),
        "as_of": asked_for(row),
        "seats": [
            {"seat": seat, "frame": seat.frame, "copies": copies[seat.frame_id]} for seat in seats
        ],
        "versions": versions_with_words(row, now),
        "packages": queries.packages_with(row),
        "until": queries.leaves_at(row, now),
        "hand_in_not_because": why_not(user, policies.HAND_IN, row),
        "recall_not_because": why_not(user, policies.RECALL, row),
        "corrections": list(
            corrections.listing().filter(deliverable__chain=row.chain).order_by("-found_at")
        ),
        "reach": corrections.reach_of(row, None),
        "words_not_because": why_not(user, policies.CORRECT_WORDS, row),
    }


def package(pk: int) -> Package:
    """Return a sealed package with what lies in it; an unknown one is not found."""
    inside = queries.with_names(Deliverable.objects.all())
    found = (
        Package.objects.filter(pk=pk)
        .select_related("entry__catalogue", "made_by", "replaces")
        .prefetch_related(Prefetch("items__deliverable", queryset=inside))
        .first()
    )
    if found is None:
        raise Http404
    return found


def package_context(found: Package, *, user: User) -> dict[str, Any]:
    """Gather the page of one package."""
    pictures = [
        {
            "row": item.deliverable,
            "number": queries.number_of(item.deliverable),
            "words": str(item.deliverable),
            "is_recalled": item.deliverable.state == DeliverableState.RECALLED,
        }
        for item in found.items.all()
    ]
    return {
        "package": found,
        "pictures": pictures,
        "recalled": sum(each["is_recalled"] for each in pictures),
        "files": found.manifest.get("files", []),
        "missing": found.manifest.get("missing", []),
        "sum_matches": naming.manifest_sha256(found.manifest) == found.manifest_sha256,
        "deliveries": [
            {"row": row, "may_confirm": not why_not(user, policies.CONFIRM_RECEIPT, row)}
            for row in found.deliveries.select_related("handed_over_by", "user")
        ],
        "may_hand_over": not why_not(user, policies.HAND_OVER, found),
        "replaced_by": found.replaced_by.first(),
        "total_bytes": sum(file["size_bytes"] for file in found.manifest.get("files", [])),
    }
