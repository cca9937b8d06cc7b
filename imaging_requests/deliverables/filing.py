"""What of an entry can be filed, what is missing and why, and the manifest of a package."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Q

from imaging_requests.collection.models import Entry
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    Package,
    PackageItem,
)
from imaging_requests.deliverables.naming import Master, file_names
from imaging_requests.deliverables.queries import number_of, numbers, with_names
from imaging_requests.deliverables.rules import Proof
from imaging_requests.intake.models import Frame
from imaging_requests.people.clock import studio_time
from imaging_requests.requesting.models import OwedView
from imaging_requests.requesting.words import numbers_of, words_of

STANDS = {
    DeliverableState.BUILDING: "frames are arriving",
    DeliverableState.TO_REVIEW: "waits for review",
    DeliverableState.SENT_BACK: "sent back, to be done again",
    DeliverableState.RECALLED: "recalled",
}


@dataclass(frozen=True)
class Line:
    """A picture of an entry and whether it can be filed now."""

    deliverable: Deliverable
    number: str
    words: str
    because: str
    packages: tuple[str, ...] = ()


@dataclass(frozen=True)
class Gap:
    """A view the entry owes without an accepted picture, and how far it is."""

    number: str
    words: str
    because: str


@dataclass(frozen=True)
class Sheet:
    """Everything about the filing of one entry."""

    entry: Entry
    ready: tuple[Line, ...]
    waiting: tuple[Line, ...]
    filed: tuple[Line, ...]
    gaps: tuple[Gap, ...]


def proofs(deliverable_ids: Iterable[int], *, copies: int) -> dict[int, Proof]:
    """Return for each picture how many of its frames are proven in at least `copies` places."""
    frames = (
        Frame.objects.filter(deliverable_frames__deliverable__in=list(deliverable_ids))
        .values("deliverable_frames__deliverable", "pk")
        .annotate(
            good=Count(
                "copies",
                filter=Q(copies__is_good=True, copies__verified_at__isnull=False),
                distinct=True,
            )
        )
    )
    counted: dict[int, list[bool]] = defaultdict(list)
    for frame in frames:
        counted[frame["deliverable_frames__deliverable"]].append(frame["good"] >= copies)
    return {pk: Proof(len(each), sum(each)) for pk, each in counted.items()}


def not_ready_because(deliverable_ids: Sequence[int], now: datetime) -> dict[int, str]:
    """Return why pictures cannot be filed yet; those that can are left out."""
    copies = numbers(now).proven_copies
    found = proofs(deliverable_ids, copies=copies)
    lacking = {pk: found.get(pk, Proof(0, 0)).lacking(copies) for pk in deliverable_ids}
    return {pk: reason for pk, reason in lacking.items() if reason}


def sheet_of(entry_id: int, now: datetime) -> Sheet:
    """Return what of an entry is ready, waiting, filed, or without an accepted picture."""
    entry = Entry.objects.select_related("catalogue").get(pk=entry_id)
    members = list(entry.entry_objects.filter(removed_at=None).values_list("object_id", flat=True))
    rows = list(
        with_names(
            Deliverable.objects.filter(object_id__in=members).order_by(
                "object", "face", "technique", "variant", "-created_at"
            )
        )
    )
    accepted = [row for row in rows if row.state == DeliverableState.ACCEPTED]
    not_ready = not_ready_because([row.pk for row in accepted], now)
    sealed = _packages_of([row.pk for row in accepted])
    ready: list[Line] = []
    waiting: list[Line] = []
    filed: list[Line] = []
    for row in accepted:
        line = Line(
            row,
            number_of(row),
            str(row),
            not_ready.get(row.pk, ""),
            tuple(sealed.get(row.pk, ())),
        )
        (filed if line.packages else waiting if line.because else ready).append(line)
    gaps = _gaps(entry, rows)
    return Sheet(entry, tuple(ready), tuple(waiting), tuple(filed), tuple(gaps))


def _packages_of(deliverable_ids: Sequence[int]) -> dict[int, list[str]]:
    items = PackageItem.objects.filter(
        deliverable__in=deliverable_ids, package__state=Package.State.SEALED
    ).values_list("deliverable_id", "package__number")
    found: dict[int, list[str]] = defaultdict(list)
    for pk, number in items.order_by("package__sealed_at"):
        found[pk].append(number)
    return found


def sealed_for(entry: Entry, purpose: str, deliverable_ids: Sequence[int]) -> dict[int, str]:
    """Return pictures that were sealed for an entry and purpose before, with the package."""
    items = PackageItem.objects.filter(
        deliverable__in=deliverable_ids,
        package__state=Package.State.SEALED,
        package__entry=entry,
        package__purpose=purpose,
    )
    return dict(items.values_list("deliverable_id", "package__number"))


def _target(row: Deliverable | OwedView) -> tuple[Any, ...]:
    return (row.object_id, row.surface, row.technique, row.variant, str(row.detail_mm))


def _gaps(entry: Entry, rows: Sequence[Deliverable]) -> list[Gap]:
    """List owed views without an accepted picture; what is still true is decided elsewhere."""
    newest: dict[tuple[Any, ...], Deliverable] = {}
    has_accepted = set()
    for row in sorted(rows, key=lambda each: each.created_at):
        newest[_target(row)] = row
        if row.state == DeliverableState.ACCEPTED:
            has_accepted.add(_target(row))
    owed = (
        OwedView.objects.filter(demands__entry=entry, demands__until=None, ended_at=None)
        .select_related("object")
        .distinct()
        .order_by("object", "face", "technique", "variant")
    )
    views = list(owed)
    named = numbers_of(view.object_id for view in views)
    found: dict[tuple[Any, ...], Gap] = {}
    for view in views:
        target = _target(view)
        if target in has_accepted or target in found:
            continue
        last = newest.get(target)
        because = "no picture yet" if last is None else STANDS[DeliverableState(last.state)]
        found[target] = Gap(named[view.object_id], words_of(view), because)
    return list(found.values())


def manifest_of(package: Package, rows: Sequence[Deliverable], *, now: datetime) -> dict[str, Any]:
    """Return the manifest: every file with its SHA-256, size and place, and every gap."""
    entry = package.entry
    named = {
        row.pk: row for row in with_names(Deliverable.objects.filter(pk__in=[r.pk for r in rows]))
    }
    seats = list(
        DeliverableFrame.objects.filter(deliverable__in=named)
        .select_related("frame", "deliverable__shot_line")
        .prefetch_related("deliverable__shot_line__owed_views")
        .order_by("deliverable", "tile_y", "tile_x", "focus_slice", "ev")
    )
    names = file_names([_master(seat, named[seat.deliverable_id]) for seat in seats])
    sheet = sheet_of(entry.pk, now) if entry is not None else None
    return {
        "package": package.number,
        "purpose": package.purpose,
        "entry": None if entry is None else f"{entry.number} {entry.title}",
        "catalogue": None if entry is None else entry.catalogue.title,
        "sealed_at": now.isoformat(),
        "files": [
            {
                "name": name,
                "sha256": seat.frame.sha256,
                "size_bytes": seat.frame.size_bytes,
                "original_name": seat.frame.first_name,
                "picture": str(named[seat.deliverable_id].chain),
                "version": named[seat.deliverable_id].version,
                "object": number_of(named[seat.deliverable_id]),
                "tile": [seat.tile_x, seat.tile_y],
                "focus_slice": seat.focus_slice,
                "exposure_ev": seat.ev,
                "captured_at": _iso(seat.frame.captured_at),
            }
            for name, seat in zip(names, seats, strict=True)
        ],
        "pictures": [
            {
                "picture": str(row.chain),
                "version": row.version,
                "object": number_of(row),
                "view": str(row),
                "captured_at": row.captured_at.isoformat(),
                "px_per_mm": row.px_per_mm,
                "polarity": row.polarity,
            }
            for row in named.values()
        ],
        "missing": [
            {"object": gap.number, "view": gap.words, "because": gap.because}
            for gap in (sheet.gaps if sheet is not None else ())
        ],
    }


def _iso(instant: datetime | None) -> str | None:
    return None if instant is None else instant.isoformat()


def _master(seat: DeliverableFrame, row: Deliverable) -> Master:
    line = seat.deliverable.shot_line
    across = line.tiles_across if line is not None else 1
    anchors = sorted({view.anchor for view in line.owed_views.all()}) if line is not None else []
    return Master(
        object_id=row.object_id,
        number=number_of(row),
        surface=row.surface,
        technique=row.technique,
        variant=row.variant,
        anchor=anchors[0] if len(anchors) == 1 else "CUR",
        captured_on=studio_time(row.captured_at).date(),
        tile=seat.tile_y * across + seat.tile_x + 1,
        ev=seat.ev,
        focus_slice=seat.focus_slice,
        has_slices=line is not None and line.focus_slices > 1,
        version=row.version,
        chain=str(row.chain),
        extension=seat.frame.extension,
    )
