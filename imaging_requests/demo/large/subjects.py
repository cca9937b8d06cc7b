"""One invented object on its way into the database, with everything that is known of it so far."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

from imaging_requests.demo.large.evidence import Made
from imaging_requests.demo.large.lives import Course
from imaging_requests.demo.large.sizes import EntryPlan
from imaging_requests.demo.large.things import Type
from imaging_requests.reckoning.records import record
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.requesting.duties import Want
from imaging_requests.requesting.models import Anchor


@record
@dataclass(frozen=True, slots=True)
class Owed:
    """A duty with the key of its row."""

    pk: int
    want: Want
    is_ended: bool = False

    @property
    def is_present(self) -> bool:
        """Whether it is in force as of now."""
        return self.want.as_of.kind == Anchor.CUR and not self.is_ended


@dataclass
class Subject:
    """An object: its row's key, its luck, its history, and its facts as the rules read them."""

    pk: int
    of: Type
    title: str
    dice: random.Random
    created_at: datetime
    entries: tuple[EntryPlan, ...]
    has_left: bool
    courses: list[Course] = field(default_factory=list)
    owed: list[Owed] = field(default_factory=list)
    made: list[Made] = field(default_factory=list)
    facts: dict[str, list[Any]] = field(default_factory=dict)

    @property
    def catalogues(self) -> tuple[str, ...]:
        """Catalogues for which the object counts now."""
        return () if self.has_left else tuple(str(entry.catalogue) for entry in self.entries)

    @cached_property
    def not_made(self) -> list[Owed]:
        """Present views of which there is no picture at all, once all pictures are made."""
        made = {(m.want.surface, m.want.technique, m.want.variant) for m in self.made}
        return [
            owed
            for owed in self.owed
            if owed.is_present
            and (owed.want.surface, owed.want.technique, owed.want.variant) not in made
        ]

    def note(self, part: str, *records: Any) -> None:
        """Add records to a part of the case file."""
        self.facts.setdefault(part, []).extend(records)

    def case(self) -> truth.ObjectCase:
        """Return the case file with everything noted so far."""
        return truth.ObjectCase(
            object_id=str(self.pk),
            **{name: tuple(records) for name, records in self.facts.items()},
        )
