"""A catalogue as it stood on a past day, as known on another: its entries and its numbers.

Nothing of a past day is cached: every object of the catalogue is derived anew from its records, in
a fixed number of queries. That takes processor time, some seconds for a few hundred objects, which
the page says.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.progress.adding_up import BY_GRADE, SUMMED
from imaging_requests.progress.board import BoardRow, Totals
from imaging_requests.progress.entries import gaps_of
from imaging_requests.progress.gap_words import gap_texts
from imaging_requests.progress.metrics_known import Known
from imaging_requests.progress.models import EntryStatus
from imaging_requests.progress.rules import Derived, DerivedEntry, derive_entry
from imaging_requests.progress.two_times import (
    Then,
    TwoTimes,
    look_back,
    members_then,
    of_catalogue,
    rows_then,
)
from imaging_requests.protocols.queries import periods
from imaging_requests.requesting.words import numbers_of


@dataclass(frozen=True)
class CatalogueThen:
    """Entries that had an object on that day, in their order, each with its grade."""

    catalogue: Catalogue
    times: TwoTimes
    entries: tuple[Entry, ...]
    members: Mapping[int, list[int]]
    graded: Mapping[int, DerivedEntry]
    found: Then
    gap_texts: Mapping[int, str]

    @property
    def totals(self) -> Totals:
        """The numbers above the board."""
        sums: Counter[str] = Counter()
        for graded in self.graded.values():
            if name := BY_GRADE.get(graded.grade.grade):
                sums[name] += 1
            for name in SUMMED:
                sums[name] += getattr(graded, name)
        return Totals(len(self.entries), **sums)

    def rows(self, start: int, end: int) -> tuple[BoardRow, ...]:
        """What the board shows of the entries from one place in the order to another."""
        return tuple(
            BoardRow(
                pk=entry.pk,
                number=entry.number,
                title=entry.title,
                grade=graded.grade.grade,
                unmet=graded.unmet,
                cells=json.dumps(graded.cells),
                lost=graded.lost,
                gap=self.gap_texts.get(entry.pk, ""),
                query=self.times.query,
            )
            for entry in self.entries[start:end]
            if (graded := self.graded[entry.pk])
        )


def catalogue_then(catalogue: Catalogue, times: TwoTimes, *, now: datetime) -> CatalogueThen:
    """Derive a catalogue at a pair of times."""
    every = list(Entry.objects.filter(catalogue=catalogue).order_by("sort_key", "pk"))
    members = {pk: ids for pk, ids in members_then(every, times).items() if ids}
    entries = tuple(entry for entry in every if entry.pk in members)
    ids = sorted({pk for found in members.values() for pk in found})
    found = look_back(ids, times, now=now, with_later=False)
    gaps = gaps_of(list(members))
    key = str(catalogue.pk)
    graded = {
        entry.pk: derive_entry(
            [found.then[pk].moment for pk in members[entry.pk]],
            catalogue=key,
            gaps=gaps.get(entry.pk, []),
        )
        for entry in entries
    }
    texts = gap_texts(list(members), at=times.earlier)
    return CatalogueThen(catalogue, times, entries, members, graded, found, texts)


def known_then(then: CatalogueThen) -> Known:
    """Give the metrics what they are made from, as far as it is known of a past day."""
    entries_of: dict[int, list[int]] = defaultdict(list)
    for entry in then.entries:
        for pk in then.members[entry.pk]:
            entries_of[pk].append(entry.pk)
    counted = of_catalogue(then.found.then, str(then.catalogue.pk))
    return Known(
        catalogue=then.catalogue,
        now=then.times.as_of,
        entries=then.entries,
        grades={
            pk: EntryStatus(entry_id=pk, grade=graded.grade.grade, why=graded.why)
            for pk, graded in then.graded.items()
        },
        entries_of=entries_of,
        views=tuple(rows_then(counted)),
        filed_once=_filed_once(then.found.then),
        waivers=(),
        treatments=(),
        speech=then.found.speech,
        moments={},
        queue=(),
        unplaced=(),
        numbers=numbers_of(sorted(entries_of)),
        periods=periods(then.times.known_on),
        query=then.times.query,
    )


def _filed_once(derived: Mapping[int, Derived]) -> frozenset[tuple[int, str, str, str]]:
    return frozenset(
        (pk, *view)
        for pk, each in derived.items()
        for view, standings in each.moment.pictures.items()
        if any(standing.is_filed and standing.verdict == "accepted" for standing in standings)
    )
