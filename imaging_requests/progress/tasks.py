"""Jobs of this room: settle what no page has asked for yet."""

from __future__ import annotations

from celery import shared_task

from imaging_requests.progress.proof import prove_statuses
from imaging_requests.progress.settle import settle, underived_ids


@shared_task(name="progress.settle", ignore_result=True)
def settle_marks() -> None:
    """Settle stale marks after a change; running twice does nothing the second time."""
    settle()


@shared_task(name="progress.sweep", ignore_result=True)
def sweep() -> None:
    """Settle what a lost message or a passing date has left behind, and what was never derived."""
    settle()
    settle(underived_ids())


@shared_task(name="progress.prove", ignore_result=True)
def prove() -> None:
    """Compare every stored status with one derived from scratch, and tell what was found."""
    prove_statuses()
