"""Remember who may see which picture, for exactly as long as nothing has happened since.

Hundreds of tiles are asked for while somebody looks at one picture, and each must be decided at its
own moment. Every write of the program ends in the audit trail, whose head changes with each event
(`people.audit`). So a decision that was made under the same head is still the decision of now,
unless an embargo or a grant has begun or ended by the clock meanwhile; that instant is remembered
with it. One short query instead of five, and never an old answer.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from imaging_requests.people.models import AuditHead
from imaging_requests.pictures.rules import Decision
from imaging_requests.pictures.sources import Source

MOST_REMEMBERED = 5_000
HEAD_QUERY = f"SELECT hash FROM {AuditHead._meta.db_table} WHERE id = 1"

_remembering = threading.Lock()
_kept: OrderedDict[tuple[int, str], Kept] = OrderedDict()


@dataclass(frozen=True, slots=True)
class Kept:
    """A decision, the head of the trail under which it was made, and when the clock ends it."""

    head: str
    until: datetime | None
    source: Source
    decision: Decision


def head_of_trail() -> str:
    """Return what changes with every write; read it before deciding.

    Asked for every tile, so in plain SQL: building the query anew would take longer than all else.
    """
    with connection.cursor() as cursor:
        cursor.execute(HEAD_QUERY)
        row = cursor.fetchone()
    return str(row[0]) if row else ""


def recall(user_id: int, identifier: str, *, head: str, now: datetime) -> Kept | None:
    """Return what was decided if it is what would be decided now."""
    kept = _kept.get((user_id, identifier))
    if kept is None or not head or kept.head != head:
        return None
    return kept if kept.until is None or now < kept.until else None


def keep(user_id: int, identifier: str, kept: Kept) -> None:
    """Remember a decision; the oldest ones are forgotten when there are many."""
    with _remembering:
        _kept[user_id, identifier] = kept
        _kept.move_to_end((user_id, identifier))
        while len(_kept) > MOST_REMEMBERED:
            _kept.popitem(last=False)


def forget() -> None:
    """Forget everything; for tests that write past the actions."""
    with _remembering:
        _kept.clear()
