"""One of several processes that invent and write chunks; it gets Django ready before all else."""

from __future__ import annotations

import gc
import pickle
from collections.abc import Callable
from multiprocessing.synchronize import Lock

import django

_make: list[Callable[[int], None]] = []


def begin(ground: bytes, objects: int, lock: Lock) -> None:
    """Get ready: `ground` is pickled because its classes need Django.

    Rows hold no circles, so looking for such among a million of them would only take time.
    """
    django.setup()
    gc.disable()
    from imaging_requests.demo.large.loading import writer

    _make.append(writer(pickle.loads(ground), objects, lock))


def work(number: int) -> int:
    """Make and write one chunk."""
    _make[0](number)
    return number
