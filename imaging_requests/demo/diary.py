"""The studio's diary: which object was at which station when, worked out from the scenario.

Visits that the scenario names keep their time. The rest of each round is spread evenly over its
days; every visit gets the first stretch that leaves station, photographer and object alone. All
of this happens in the dates of the scenario, so that the diary is the same whenever the demo is
built, and whatever its size.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from imaging_requests.demo.calendar import Calendar, working_days
from imaging_requests.demo.codes import (
    View,
    facts_of,
    never_made,
    owed_codes,
    protocol,
    spec_of_view,
    view_of,
)
from imaging_requests.demo.scenario import Scenario, Thing
from imaging_requests.reckoning.shots.methods import SizeClass
from imaging_requests.reckoning.shots.minutes import with_reserve

CLOCK_CHANGE = "clock change"
PLANNED = "planned"
ACCEPTED = "accepted"
SENT_BACK = "sent back"
LOOSE = "loose"
#: Visits whose pictures are not there: still to come, or files that nobody has placed.
WITHOUT_PICTURES = (PLANNED, LOOSE)
MONDAY = 0
Span = tuple[datetime, datetime]


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One object at one station for some views, and what became of the pictures.

    `starts` and `ends` are wall times in the dates of the scenario.
    """

    number: str
    views: tuple[View, ...]
    campaign: str
    station: str
    photographer: str
    starts: datetime
    ends: datetime
    outcome: str = ACCEPTED
    handed_in: str = ""
    has_barrier_filter: bool = True
    note: str = ""
    is_clock_change: bool = False
    handlers: int = 2

    def begins_at(self, calendar: Calendar) -> datetime:
        """The instant at which it begins in this demo."""
        return self._at(calendar, self.starts)

    def ends_at(self, calendar: Calendar) -> datetime:
        """The instant at which it ends in this demo."""
        return self._at(calendar, self.ends)

    def _at(self, calendar: Calendar, wall: datetime) -> datetime:
        day = wall.date() + calendar.shift
        if self.is_clock_change:
            day = calendar.last_clock_change() + (wall.date() - self.ends.date())
        return calendar.on(day, wall.strftime("%H:%M"))


@dataclass(kw_only=True)
class Diary:
    """Everything that is booked, by station, person and object."""

    scenario: Scenario
    booked: dict[str, list[Span]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        data = self.scenario["campaigns"]
        self.opens = time.fromisoformat(data["day"]["opens"])
        self.closes = time.fromisoformat(data["day"]["closes"])
        self.grid = timedelta(minutes=data["day"]["grid_min"])
        self.closed = [
            (date.fromisoformat(row["from"]), date.fromisoformat(row["to"]))
            for row in data["closed"]
        ]

    def book(self, resources: Iterable[str], span: Span) -> Span:
        """Take a stretch for all resources."""
        for name in resources:
            self.booked[name].append(span)
        return span

    def find(self, resources: Sequence[str], minutes: float, days: Iterable[date]) -> Span:
        """Return the first free stretch on one of `days`, in their order."""
        length = timedelta(minutes=minutes)
        for day in days:
            if any(first <= day <= last for first, last in self.closed):
                continue
            begin = datetime.combine(day, self.opens)
            while begin + length <= datetime.combine(day, self.closes):
                if self._is_free(resources, (begin, begin + length)):
                    return begin, begin + length
                begin += self.grid
        raise ValueError(f"The diary has no {minutes:.0f} minutes for {', '.join(resources)}.")

    def _is_free(self, resources: Sequence[str], span: Span) -> bool:
        return not any(
            span[0] < end and begin < span[1]
            for name in resources
            for begin, end in self.booked[name]
        )


def visits(scenario: Scenario) -> list[Visit]:
    """Return all visits of the whole scenario, oldest first, those to come included."""
    things = {thing.number: thing for thing in scenario.things}
    diary = Diary(scenario=scenario)
    found = list(_named(scenario, things, diary))
    for row in scenario["campaigns"]["rounds"]:
        found += _of_round(scenario, row, _left_for(scenario, row, found), diary)
    return sorted(found, key=lambda visit: (visit.starts, visit.station))


def size_of(thing: Thing, scenario: Scenario) -> SizeClass:
    """Return the class of size and weight of an object."""
    facts = facts_of(thing, scenario.studio)
    return next(
        size
        for size in scenario.studio.sizes
        if size.fits(facts.long_side_mm or 0, facts.weight_kg or 0)
    )


def visit_minutes(thing: Thing, views: Sequence[View], scenario: Scenario) -> float:
    """Minutes to book: placing, every view, one turn if both faces are shot, and the reserve."""
    studio, size = scenario.studio, size_of(thing, scenario)
    specs = [spec_of_view(thing, view, studio) for view in views]
    minutes = sum(spec.minutes for spec in specs)
    if not studio.stations[specs[0].station].is_placed_separately:
        return with_reserve(minutes, factor=1, round_up_to=studio.number("reserve.round_up_to_min"))
    turns = len({view.face for view in views} & {"F", "B"}) - 1
    return with_reserve(
        minutes + size.place_min + size.turn_min * max(turns, 0),
        factor=studio.number("reserve.factor"),
        round_up_to=studio.number("reserve.round_up_to_min"),
    )


def _named(scenario: Scenario, things: Mapping[str, Thing], diary: Diary) -> Iterator[Visit]:
    """Visits with their own time first, then those that are only given a day."""
    rows = sorted(scenario["campaigns"]["visits"], key=lambda row: " " not in row["at"])
    for row in rows:
        views = tuple(view_of(code) for code in row["views"])
        resources = (row["station"], row["photographer"], row["object"])
        is_clock_change = row["at"].startswith(CLOCK_CHANGE)
        minutes = visit_minutes(things[row["object"]], views, scenario)
        if is_clock_change:
            span = _night(row)
        elif " " in row["at"]:
            begin = datetime.fromisoformat(row["at"])
            span = diary.book(resources, (begin, begin + timedelta(minutes=minutes)))
        else:
            day = date.fromisoformat(row["at"])
            span = diary.book(resources, diary.find(resources, minutes, [day]))
        yield Visit(
            number=row["object"],
            views=views,
            campaign=row["campaign"],
            station=row["station"],
            photographer=row["photographer"],
            starts=span[0],
            ends=span[1],
            outcome=row.get("outcome", ACCEPTED),
            handed_in=row.get("handed_in", ""),
            has_barrier_filter=not row.get("without_barrier_filter", False),
            note=row.get("note", ""),
            is_clock_change=is_clock_change,
            handlers=size_of(things[row["object"]], scenario).people,
        )


def _night(row: Mapping[str, Any]) -> Span:
    """A night over which the clocks change; its own date is found when the demo is built."""
    clock = time.fromisoformat(row["at"].removeprefix(CLOCK_CHANGE).strip())
    day = date.fromisoformat(row["written_for"])
    ends = datetime.combine(day + timedelta(days=1), time.fromisoformat(row["ends"]))
    return datetime.combine(day, clock), ends


def _left_for(
    scenario: Scenario, row: Mapping[str, Any], taken: Sequence[Visit]
) -> dict[str, list[View]]:
    """The views of each object that a round is to make, since no visit before has them."""
    rules = {number: protocol(number) for number in (2, 3)}
    has = {(visit.number, view.code) for visit in taken for view in visit.views}
    again = {
        (each["object"], code)
        for each in scenario["campaigns"]["visits"]
        for code in each.get("also_in_rounds", ())
        if row["name"] in each.get("rounds", (row["name"],))
    }
    left: dict[str, list[View]] = {}
    for thing in scenario.things:
        if thing.number not in row.get("objects", (thing.number,)):
            continue
        asked = owed_codes(thing, scenario.studio, rules[row["asked_by"]])
        views = [
            view_of(code)
            for code in asked
            if code not in never_made(scenario, thing.number)
            and ((thing.number, code) not in has or (thing.number, code) in again)
        ]
        views = [
            view
            for view in views
            if view.technique in row["techniques"] and view.face in row["faces"]
        ]
        if views:
            left[thing.number] = views
    return left


def _of_round(
    scenario: Scenario,
    row: Mapping[str, Any],
    left: Mapping[str, list[View]],
    diary: Diary,
) -> Iterator[Visit]:
    things = {thing.number: thing for thing in scenario.things}
    days = list(working_days(date.fromisoformat(row["from"]), date.fromisoformat(row["to"])))
    for index, (number, views) in enumerate(left.items()):
        own = _days_from(days, index, len(left))
        if number in scenario["campaigns"]["mondays_only"]:
            own = [day for day in (*own, *days) if day.weekday() == MONDAY]
        resources = (row["station"], row["photographer"], number)
        minutes = visit_minutes(things[number], views, scenario)
        starts, ends = diary.book(resources, diary.find(resources, minutes, own))
        yield Visit(
            number=number,
            views=tuple(views),
            campaign=row["campaign"],
            station=row["station"],
            photographer=row["photographer"],
            starts=starts,
            ends=ends,
            handlers=size_of(things[number], scenario).people,
        )


def _days_from(days: Sequence[date], index: int, count: int) -> list[date]:
    """Days of a round beginning with the share of visit `index`, the earlier ones last."""
    first = index * len(days) // count
    return [*days[first:], *reversed(days[:first])]
