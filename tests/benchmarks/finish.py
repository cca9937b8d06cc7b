"""How long it takes from a finished treatment step to a board that says so."""

from __future__ import annotations

from functools import partial
from statistics import median
from typing import Any

from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from timing import clock

from imaging_requests.collection.models import StaleMark
from imaging_requests.progress import acts
from imaging_requests.progress.board import draw_board, draw_row
from imaging_requests.progress.filters import draw_board_filters
from imaging_requests.progress.models import EntryStatus
from imaging_requests.progress.settle import verify
from imaging_requests.treatments.models import Intervention, InterventionState

TURNS = 10


def cold_board(client: Client, address: str) -> dict[str, float]:
    """Time a board of which the process remembers nothing, and one of which one row changed."""
    first, changed = [], []
    one = EntryStatus.objects.filter(entry__catalogue=address.rstrip("/").rsplit("/")[-1])[0]
    for turn in range(TURNS):
        for memory in (draw_board, draw_row, draw_board_filters):
            memory.cache_clear()
        first.append(clock(lambda: client.get(address)))
        with transaction.atomic():
            EntryStatus.objects.filter(pk=one.pk).update(unmet=one.unmet + turn + 1)
            changed.append(clock(lambda: client.get(address)))
            transaction.set_rollback(True)
    return {"first": median(first), "one_changed": median(changed)}


def finish_and_look(client: Client) -> dict[str, Any]:
    """Finish a step of an object of the largest catalogue, look at its board, and undo it all."""
    step = (
        Intervention.objects.filter(
            state=InterventionState.STARTED, object__entry_objects__removed_at=None
        )
        .select_related("treatment__conservator")
        .order_by("object__entry_objects__entry__catalogue", "pk")
        .first()
    )
    if step is None:
        return {"finish_ms": 0.0, "board_ms": 0.0, "again_ms": 0.0, "is_right": "no step runs"}
    entry = step.object.entry_objects.filter(removed_at=None)[0].entry
    address = reverse("progress:board", args=[entry.catalogue_id]) + f"?words={entry.number}"
    client.get(address)
    finished, board, again, right = [], [], [], []
    for _ in range(TURNS):
        with transaction.atomic():
            before = EntryStatus.objects.get(entry=entry).derived_at
            now = timezone.now()
            finish = partial(
                acts.finish_step,
                actor=step.treatment.conservator,
                intervention_id=step.pk,
                read_version=step.row_version,
                finished_at=now,
                now=now,
            )
            finished.append(clock(finish))
            board.append(clock(lambda: client.get(address)))
            again.append(clock(lambda: client.get(address)))
            right.append(
                EntryStatus.objects.get(entry=entry).derived_at > before
                and not StaleMark.objects.filter(object=step.object).exists()
                and not verify([step.object_id])
            )
            transaction.set_rollback(True)
    connection.close()
    return {
        "finish_ms": median(finished),
        "board_ms": median(board),
        "again_ms": median(again),
        "is_right": "yes" if all(right) else "NO",
    }
