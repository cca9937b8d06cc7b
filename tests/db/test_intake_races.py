"""Two receipts of the same bytes at once: one frame, two answers."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from imaging_requests.intake import jobs, receiving, store
from imaging_requests.intake.models import ArrivalState, Copy, Frame, Job
from imaging_requests.people.models import AuditEvent
from tests import factory
from tests.intake_scene import bring, open_drop, tiff

DATA = tiff(1, at=factory.NOW)


@pytest.mark.django_db
def test_a_receipt_that_is_overtaken_answers_already_here(
    stores: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second receipt runs from start to end after the first has looked for the frame."""
    drop = open_drop(factory.photographer())
    slow, quick = bring(drop, "slow.tif", DATA), bring(drop, "quick.tif", DATA)
    first, second = Job.objects.filter(kind="receive").order_by("pk")
    put = store.put
    seen: list[int] = []

    def overtaken(*args: Any, **options: Any) -> None:
        seen.append(Frame.objects.count())
        if len(seen) == 1:
            assert jobs.run(second.pk) is jobs.Outcome.DONE
        put(*args, **options)

    monkeypatch.setattr(receiving.store, "put", overtaken)
    assert jobs.run(first.pk) is jobs.Outcome.DONE
    assert seen == [0, 0], "both had looked before either had stored: the race took place"
    slow.refresh_from_db()
    quick.refresh_from_db()
    assert (quick.state, slow.state) == (ArrivalState.CHECKED, ArrivalState.ALREADY_HERE)
    assert slow.frame_id == quick.frame_id
    assert Frame.objects.count() == 1
    assert Copy.objects.filter(is_good=True).count() == 2
    assert AuditEvent.objects.filter(code="intake.frame_received").count() == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    connection.vendor == "sqlite",
    reason="an in-memory SQLite locks whole tables; two processes race in test_jobs_killed",
)
def test_threads_that_store_the_same_bytes_at_once_store_them_once(stores: Path) -> None:
    drop = open_drop(factory.photographer())
    pairs = 6
    for number in range(pairs):
        for name in ("a", "b"):
            bring(drop, f"{number}-{name}.tif", tiff(number, at=factory.NOW))
    gate = threading.Barrier(2)
    ids = list(Job.objects.filter(kind="receive").order_by("pk").values_list("pk", flat=True))

    def work(own: list[int]) -> None:
        try:
            for pk in own:
                gate.wait(30)
                jobs.run(pk)
        finally:
            connection.close()

    threads = [threading.Thread(target=work, args=(ids[start::2],)) for start in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    states = sorted(drop.arrivals.values_list("state", flat=True))
    assert states == [ArrivalState.ALREADY_HERE] * pairs + [ArrivalState.CHECKED] * pairs
    assert Frame.objects.count() == pairs
    assert Copy.objects.filter(is_good=True).count() == 2 * pairs
