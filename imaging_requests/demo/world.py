"""What the steps of the demo share: the calendar, the people, and rows by their names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from imaging_requests.demo.calendar import Calendar
from imaging_requests.demo.scenario import Scenario
from imaging_requests.people.models import User

Say = Callable[[str], None]


@dataclass(kw_only=True)
class World:
    """The museum while it is being built. Numbers, names and codes lead to primary keys."""

    scenario: Scenario
    calendar: Calendar
    people: dict[str, User] = field(default_factory=dict)
    objects: dict[str, int] = field(default_factory=dict)
    entries: dict[str, int] = field(default_factory=dict)
    protocols: dict[int, int] = field(default_factory=dict)
    stations: dict[str, int] = field(default_factory=dict)
    campaigns: dict[str, int] = field(default_factory=dict)
    treatments: dict[str, int] = field(default_factory=dict)


@dataclass(order=True)
class Step:
    """Something that happened at an instant. Steps of one instant happen in the order of `rank`."""

    at: datetime
    rank: int
    words: str = field(compare=False)
    do: Callable[[], Any] = field(compare=False)
