"""Compare what the program derives of the demo with what the scenario says it must be."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from imaging_requests.demo.codes import View
from imaging_requests.demo.scenario import Scenario
from imaging_requests.demo.world import World
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.settle import settle
from imaging_requests.reckoning.truth.terms import Grade, Status
from imaging_requests.requesting.models import Anchor, Demand

ALL = "all"
FILED = "filed"
#: The grades as the scenario writes them.
GRADES = {
    "FULL": Grade.FULL,
    "FULL-W": Grade.FULL_WAIVED,
    "in progress": Grade.IN_PROGRESS,
    "not started": Grade.NOT_STARTED,
}


#: How the scenario sums up the views of a treatment; every other status is open.
TREATMENT_WORDS = {
    Status.FILED: "done",
    Status.ACCEPTED: "done",
    Status.WAIVED: "waived",
    Status.LOST: "lost",
}


@dataclass(frozen=True)
class Difference:
    """One place where the derived demo is not the one that was told."""

    entry: str
    what: str
    expected: str
    found: str

    def __str__(self) -> str:
        return f"entry {self.entry}: {self.what} is {self.found}, expected {self.expected}"


@dataclass(frozen=True, kw_only=True)
class Totals:
    """Counts of the derived demo, for its closing words and for comparing."""

    present: Counter[str]
    of_treatments: Counter[str]
    grades: Counter[str]


def differences(world: World, now: datetime) -> list[Difference]:
    """Settle everything and return every difference, view by view and entry by entry."""
    settle(now=now)
    return [*_of_views(world), *_of_treatments(world), *_of_entries(world)]


def totals() -> Totals:
    """Count the derived statuses."""
    rows = list(_catalogue_views().values_list("owed_view__anchor", "status"))
    return Totals(
        present=Counter(spoken(status) for anchor, status in rows if anchor == Anchor.CUR),
        of_treatments=Counter(spoken(status) for anchor, status in rows if anchor != Anchor.CUR),
        grades=Counter(EntryStatus.objects.values_list("grade", flat=True)),
    )


def _catalogue_views() -> QuerySet[ViewStatus]:
    """Views in force that a protocol or a treatment asks for; a mere wish does not count."""
    asked = Demand.objects.exclude(source=Demand.Source.REQUEST).filter(until=None)
    return ViewStatus.objects.filter(
        owed_view__ended_at=None, owed_view__in=asked.values("owed_view")
    )


def spoken(status: str) -> str:
    """Return a status as the scenario writes it."""
    return status.replace("_", " ")


def expected_statuses(scenario: Scenario) -> dict[tuple[str, str, str], str]:
    """Return what the scenario says of views that are not filed, by entry, object and code."""
    return {
        (entry["no"], row["object"], row["view"]): status
        for entry in scenario.entries
        for status, rows in entry["status_exceptions"].items()
        for row in rows
    }


def _of_views(world: World) -> Iterator[Difference]:
    expected = expected_statuses(world.scenario)
    numbers = {pk: number for number, pk in world.objects.items()}
    entries = {
        number: entry["no"] for entry in world.scenario.entries for number in entry["objects"]
    }
    rows = _catalogue_views().filter(owed_view__anchor=Anchor.CUR).select_related("owed_view")
    for row in rows.order_by("object_id", "pk"):
        view, number = row.owed_view, numbers[row.object_id]
        code = View(view.technique, view.face, view.variant).code
        entry = entries[number]
        for_all = expected.get((entry, number, ALL), FILED)
        wanted = expected.get((entry, number, code), for_all)
        if spoken(row.status) != wanted:
            yield Difference(entry, f"{number} {code}", wanted, spoken(row.status))


def _of_treatments(world: World) -> Iterator[Difference]:
    """Compare how many views of each treatment are done, open, waived and lost."""
    rows = _catalogue_views().exclude(owed_view__treatment=None)
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    for code, status in rows.values_list("owed_view__treatment__code", "status"):
        counted[code][TREATMENT_WORDS.get(Status(status), "open")] += 1
    for told in world.scenario.mine(world.scenario["treatments"]["treatments"]):
        found = counted[told["code"]]
        for word, number in told["expected"].items():
            if found[word] != number:
                what = f"{told['code']} ({told['object']}): views {word}"
                yield Difference(
                    _entry_of(world, told["object"]), what, str(number), str(found[word])
                )


def _entry_of(world: World, number: str) -> str:
    return next(entry["no"] for entry in world.scenario.entries if number in entry["objects"])


def _of_entries(world: World) -> Iterator[Difference]:
    found = {row.entry_id: row for row in EntryStatus.objects.all()}
    for entry in world.scenario.entries:
        row, no = found[world.entries[entry["no"]]], entry["no"]
        told = entry["expected"]
        grade, _, lost = told["grade"].partition(", ")
        if row.grade != GRADES[grade]:
            yield Difference(no, "the grade", GRADES[grade], f"{row.grade} ({row.why})")
        lost_count = int(lost.split()[0]) if lost else 0
        if row.lost != lost_count:
            yield Difference(no, "the number of lost views", str(lost_count), str(row.lost))
        present = sum(row.counts.get("present", {}).values())
        if present != told["owed"]:
            yield Difference(no, "the number of present views", str(told["owed"]), str(present))
