"""Repair beside readers, beside another sweep, and cut short: neither copy is ever lost."""

from __future__ import annotations

import hashlib
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier, Event
from typing import Any

import pytest

from imaging_requests.intake import places, store
from imaging_requests.intake.places import Folder, Key

GOOD = b"exactly these bytes " * 500
ROTTEN = b"exactly these bites " * 500
KEY = Key(hashlib.sha256(GOOD).hexdigest(), "tif")
CALLS = ("fsync", "chmod", "link", "replace", "rename", "unlink")


def folder(name: str) -> Folder:
    found = store.place(name)
    assert isinstance(found, Folder)
    return found


def file_in(name: str) -> Path:
    return folder(name).path_of(KEY)


@pytest.fixture
def bad(stores: Path) -> Path:
    """Both copies stand; the first has gone bad."""
    for name in store.PLACES:
        store.begin_anew(name)
        folder(name).write(KEY, [GOOD])
    path = file_in(store.FIRST)
    path.chmod(0o644)
    path.write_bytes(ROTTEN)
    return path


def kept_aside(name: str) -> list[bytes]:
    return [path.read_bytes() for path in (folder(name).root / places.DAMAGED).glob("*.tif")]


def repair(name: str) -> bool:
    return store.repair(name, KEY.sha256, KEY.extension)


def test_who_reads_a_bad_copy_while_it_is_repaired_reads_one_file_to_its_end(bad: Path) -> None:
    with bad.open("rb") as reader:
        first = reader.read(1000)
        assert repair(store.FIRST)
        assert first + reader.read() == ROTTEN, "the old file, not a mixture"
    assert bad.read_bytes() == GOOD
    assert kept_aside(store.FIRST) == [ROTTEN]


def test_a_copy_is_there_at_every_instant_of_its_repair(bad: Path) -> None:
    ended = Event()
    seen: list[bytes] = []

    def look() -> None:
        while not ended.is_set():
            seen.append(bad.read_bytes())

    with ThreadPoolExecutor(1) as pool:
        looking = pool.submit(look)
        while len(seen) < 50 and not looking.done():
            folder(store.FIRST).replace(KEY, [GOOD])
        ended.set()
        looking.result()
    assert set(seen) <= {GOOD, ROTTEN}


def test_two_sweeps_at_once_keep_both_copies(bad: Path) -> None:
    for _ in range(5):
        bad.chmod(0o644)
        bad.write_bytes(ROTTEN)
        together = Barrier(2)

        def sweep(together: Barrier = together) -> bool:
            together.wait()
            return repair(store.FIRST)

        with ThreadPoolExecutor(2) as pool:
            assert [each.result() for each in [pool.submit(sweep), pool.submit(sweep)]] == [
                True
            ] * 2
        assert [file_in(name).read_bytes() for name in store.PLACES] == [GOOD, GOOD]
    assert ROTTEN in kept_aside(store.FIRST)
    assert kept_aside(store.SECOND) == []


def test_two_that_each_take_the_other_place_for_the_good_one_keep_both(bad: Path) -> None:
    """Each misread one good copy, and repairs it from the other at the same moment."""
    assert repair(store.FIRST)

    def cross(name: str, together: Barrier) -> None:
        source = folder(store.other(name)).read(KEY)
        together.wait()
        folder(name).replace(KEY, source)

    for _ in range(5):
        together = Barrier(2)
        with ThreadPoolExecutor(2) as pool:
            for each in [pool.submit(cross, name, together) for name in store.PLACES]:
                each.result()
        assert [file_in(name).read_bytes() for name in store.PLACES] == [GOOD, GOOD]


def died_at(number: int, act: Callable[[], Any]) -> bool:
    """Do it in a process that is killed before its call of this number that touches names."""
    child = os.fork()
    if child == 0:
        calls = iter(range(1, 1000))

        def counted(real: Callable[..., Any]) -> Callable[..., Any]:
            def call(*args: Any, **kwargs: Any) -> Any:
                if next(calls) == number:
                    os.kill(os.getpid(), signal.SIGKILL)
                return real(*args, **kwargs)

            return call

        for name in CALLS:
            setattr(os, name, counted(getattr(os, name)))
        try:
            act()
        finally:
            os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def instants(act: Callable[[], Any]) -> Iterator[int]:
    """Yield after a kill before each call in turn, until the act comes to its end."""
    number = 1
    while died_at(number, act):
        yield number
        number += 1


def test_a_repair_that_is_killed_before_any_of_its_steps_leaves_a_copy_in_both_places(
    bad: Path,
) -> None:
    cut = 0
    for cut in instants(lambda: repair(store.FIRST)):
        assert bad.read_bytes() in (ROTTEN, GOOD), f"killed before call {cut}"
        assert file_in(store.SECOND).read_bytes() == GOOD
        if bad.read_bytes() == GOOD:
            assert ROTTEN in kept_aside(store.FIRST), "the bad one is kept for a person"
            bad.chmod(0o644)
            bad.write_bytes(ROTTEN)
    assert cut >= 7, "every step was cut at least once"
    assert bad.read_bytes() == GOOD, "the last one came to its end"


def test_receiving_over_a_bad_copy_is_killed_and_loses_neither_the_part_nor_a_copy(
    bad: Path, tmp_path: Path
) -> None:
    part = tmp_path / "again.part"
    part.write_bytes(GOOD)
    cut = 0
    for cut in instants(lambda: store.put(part, sha256=KEY.sha256, extension=KEY.extension)):
        assert part.read_bytes() == GOOD, f"killed before call {cut}"
        assert bad.read_bytes() in (ROTTEN, GOOD)
        assert file_in(store.SECOND).read_bytes() == GOOD
    assert cut >= 5
    assert [file_in(name).read_bytes() for name in store.PLACES] == [GOOD, GOOD]
