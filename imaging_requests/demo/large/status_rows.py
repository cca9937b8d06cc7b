"""Write down what follows: statuses of views, of objects, grades of entries.

The same pure rules as everywhere decide; only the way into the table is another one.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

from imaging_requests.demo.large import rows as tables
from imaging_requests.demo.large.rows import Rows
from imaging_requests.demo.large.sizes import EntryPlan
from imaging_requests.progress.rules import Derived, derive_entry


def keep_object(object_id: int, derived: Derived, rows: Rows, *, now: datetime) -> None:
    """Write the statuses of an object and of its views."""
    for view in derived.views:
        rows.add(
            tables.VIEW_STATUSES,
            int(view.view_key),
            object_id,
            str(view.status),
            view.sentence,
            _reason_text(view.reason),
            view.waits_for,
            view.waits_for_role,
            view.is_met,
            view.is_present,
            view.is_only_now,
            view.chain,
            view.picture_version,
        )
    rows.add(
        tables.OBJECT_STATUSES,
        object_id,
        now,
        derived.holds_until,
        not derived.missing_facts,
        json.dumps(list(derived.missing_facts)),
        derived.state_index,
        derived.has_open_question,
    )


def _reason_text(reason: dict[str, Any]) -> str:
    """The reason as JSON; without events there are few, and they repeat."""
    if reason["events"]:
        return json.dumps(reason)
    return _without_events(reason["code"], reason["why"], reason["until"])


@lru_cache(maxsize=10_000)
def _without_events(code: str, why: str, until: str) -> str:
    return json.dumps({"code": code, "why": why, "until": until, "events": []})


def keep_entry(entry: EntryPlan, members: Sequence[Derived], rows: Rows, *, now: datetime) -> None:
    """Write the grade of an entry."""
    found = derive_entry([each.moment for each in members], catalogue=str(entry.catalogue))
    rows.add(
        tables.ENTRY_STATUSES,
        entry.pk,
        str(found.grade.grade),
        found.why,
        json.dumps(found.counts),
        json.dumps(found.cells),
        found.present,
        found.resolved,
        found.debt,
        found.owed,
        found.met,
        found.unmet,
        found.lost,
        now,
    )
