"""The receipt of a drop: every file with its digest, and when each of its copies was proven."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Prefetch
from django.utils import timezone

from imaging_requests.intake import queries, store
from imaging_requests.intake.models import Arrival, ArrivalState, Copy, Drop
from imaging_requests.intake.rules import CardAnswer, may_format

PLACE_WORDS = {store.FIRST: "Store", store.SECOND: "Second copy"}


@dataclass(frozen=True, slots=True)
class ReceiptRow:
    """One file: its name, bytes, digest, and the last proof of each copy, or its answer."""

    name: str
    size_bytes: int
    sha256: str
    proofs: tuple[datetime | None, ...]
    state: str
    answer: str
    is_kept: bool

    @property
    def proofs_by_place(self) -> tuple[tuple[str, datetime | None], ...]:
        """The name of each place with the last proof of this file there."""
        names = (PLACE_WORDS[place] for place in store.PLACES)
        return tuple(zip(names, self.proofs, strict=True))


@dataclass(frozen=True, slots=True)
class PlaceProof:
    """How far one place is proven."""

    words: str
    proven: int
    wanted: int
    earliest: datetime | None


@dataclass(frozen=True, slots=True)
class Receipt:
    """Everything that stands on the receipt."""

    drop: Drop
    card: CardAnswer
    rows: tuple[ReceiptRow, ...]
    places: tuple[PlaceProof, ...]
    lines: list[queries.LineProgress]
    bytes_kept: int
    printed_at: datetime
    share_one_disk: bool
    offered: int
    trouble: str

    @property
    def kept(self) -> int:
        """How many files of the drop are in the store."""
        return sum(row.is_kept for row in self.rows)

    @property
    def not_kept(self) -> tuple[ReceiptRow, ...]:
        """Files that are not in the store, each with its reason."""
        return tuple(row for row in self.rows if not row.is_kept)


def receipt_of(drop: Drop, *, now: datetime | None = None) -> Receipt:
    """Gather the receipt; the number of queries does not depend on the number of files."""
    good = Copy.objects.filter(is_good=True)
    if store.are_one_folder():
        good = good.filter(place=store.FIRST)
    arrivals = (
        Arrival.objects.filter(drop=drop)
        .select_related("frame")
        .prefetch_related(Prefetch("frame__copies", queryset=good, to_attr="good_copies"))
        .order_by("name", "pk")
    )
    rows = tuple(_row(arrival) for arrival in _without_superseded(arrivals))
    kept = {row.sha256: row for row in rows if row.is_kept}
    count = queries.count_of(drop.pk)
    return Receipt(
        drop=drop,
        card=may_format(count),
        rows=rows,
        places=tuple(_place(number, list(kept.values())) for number in range(len(store.PLACES))),
        lines=queries.progress_by_line(queries.lines_of(drop)),
        bytes_kept=sum(row.size_bytes for row in kept.values()),
        printed_at=now or timezone.now(),
        share_one_disk=store.share_one_disk(),
        offered=count.offered,
        trouble=" ".join(store.troubles_of_settings()),
    )


def _without_superseded(arrivals: Iterable[Arrival]) -> list[Arrival]:
    """Leave out what was given up and came whole under the same name after all."""
    listed = list(arrivals)
    kept = {(each.name, each.size_bytes) for each in listed if each.frame_id is not None}
    return [
        each
        for each in listed
        if each.state != ArrivalState.GIVEN_UP or (each.name, each.size_bytes) not in kept
    ]


def _row(arrival: Arrival) -> ReceiptRow:
    frame: Any = arrival.frame
    proofs: tuple[datetime | None, ...] = (None,) * len(store.PLACES)
    if frame is not None:
        known = {copy.place: copy.verified_at for copy in frame.good_copies}
        proofs = tuple(known.get(place) for place in store.PLACES)
    return ReceiptRow(
        name=arrival.name,
        size_bytes=arrival.size_bytes,
        sha256=frame.sha256 if frame is not None else "",
        proofs=proofs,
        state=str(arrival.get_state_display()),
        answer=arrival.answer,
        is_kept=frame is not None,
    )


def _place(number: int, rows: list[ReceiptRow]) -> PlaceProof:
    instants = [proof for row in rows if (proof := row.proofs[number]) is not None]
    return PlaceProof(
        words=PLACE_WORDS[store.PLACES[number]],
        proven=len(instants),
        wanted=len(rows),
        earliest=min(instants, default=None),
    )
