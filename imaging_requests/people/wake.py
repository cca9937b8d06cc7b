"""Wake a worker after commit, by the name of its task: news travels outward without an import."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from celery import current_app
from django.db import transaction

logger = logging.getLogger(__name__)

_is_silent = False


def _send(task: str, ids: tuple[int, ...]) -> None:
    try:
        current_app.send_task(task, args=list(ids), retry=False)
    except Exception as error:
        # The database holds the work and a sweep sends it again: a deaf broker loses nothing.
        logger.warning("The broker did not take %s%s: %s", task, ids, error)


def wake_on_commit(task: str, *ids: int) -> None:
    """Send `task` with integer ids once the transaction has been committed."""
    if _is_silent:
        return
    transaction.on_commit(lambda: _send(task, ids))


@contextmanager
def silence() -> Iterator[None]:
    """Wake nobody from this process meanwhile: it does its background work by itself."""
    global _is_silent
    before, _is_silent = _is_silent, True
    try:
        yield
    finally:
        _is_silent = before
