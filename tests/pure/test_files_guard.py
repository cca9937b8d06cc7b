"""The guarded process: whatever goes wrong in it, the caller gets an answer or a sentence."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from imaging_requests.imaging.files import guard
from imaging_requests.imaging.files.ask import derive
from imaging_requests.imaging.files.child import Child, ChildError
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.guard import GuardFailure, GuardPool, Trouble
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
from tests.pure.files_samples import CHECKOUT, limits, pixels, recipe, write_tiff

WORKER = "tests.pure.files_misbehaving"
SMALL = {"memory_bytes": 1_000_000_000}
HASTY_S = 3.0


@pytest.fixture(scope="module")
def pool() -> Iterator[GuardPool]:
    """A pool with the misbehaving worker and little memory; every test must leave it usable."""
    with GuardPool(limits=limits(**SMALL), worker=WORKER) as opened:
        yield opened


@pytest.fixture(scope="module")
def hasty() -> Iterator[GuardPool]:
    """The same with little time."""
    with GuardPool(limits=limits(**SMALL, wall_base_s=HASTY_S), worker=WORKER) as opened:
        yield opened


def ask(pool: GuardPool, task: str, **arguments: Any) -> dict[str, Any]:
    answer = pool.run({"task": task, "arguments": arguments})
    assert isinstance(answer, dict), answer
    return answer


def failing(pool: GuardPool, task: str, **arguments: Any) -> GuardFailure:
    answer = pool.run({"task": task, "arguments": arguments})
    assert isinstance(answer, GuardFailure), answer
    assert ask(pool, "echo", after=task)["got"] == {"after": task}, "the place must be usable"
    return answer


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().split()[2] not in ("Z", "X")
    except OSError:
        return False


def wait_for_end(pid: int, wait_s: float = 5) -> bool:
    deadline = time.monotonic() + wait_s
    while is_running(pid) and time.monotonic() < deadline:
        time.sleep(0.01)
    return not is_running(pid)


# What goes wrong ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("task", "reason", "words"),
    [
        ("hoard", Trouble.MEMORY, "more than 1,000 MB"),
        ("hoard_pixels", Trouble.MEMORY, "Save it plainly"),
        ("crash", Trouble.CRASH, "broke down on this file"),
        ("vanish", Trouble.CRASH, "nothing else was touched"),
        ("babble", Trouble.GARBLED, "no sensible answer"),
        ("flood", Trouble.GARBLED, "no sensible answer"),
        ("fail", Trouble.FAULT, "a fault of the program, not of the file"),
        ("no_space", Trouble.STORAGE, "The master is safe"),
        ("unheard_of", Trouble.FAULT, "a fault of the program"),
    ],
)
def test_every_kind_of_trouble_has_its_sentence(
    pool: GuardPool, task: str, reason: Trouble, words: str
) -> None:
    failure = failing(pool, task)
    assert failure.reason is reason
    assert words in failure.sentence
    assert failure.sentence.endswith(".")


@pytest.mark.parametrize("task", ["hang", "spin"])
def test_what_takes_too_long_is_ended_in_time(hasty: GuardPool, tmp_path: Path, task: str) -> None:
    ask(hasty, "echo")
    started = time.monotonic()
    answer = hasty.run({"task": task, "arguments": {"note": str(tmp_path / "pid")}})
    # on a busy machine, what is at work gets more time by the clock
    most_s = HASTY_S * (1.0 if task == "hang" else limits().patience) + 5
    assert HASTY_S - 0.1 < time.monotonic() - started < most_s
    assert isinstance(answer, GuardFailure)
    assert answer.reason is Trouble.TIME
    assert "longer than 3 seconds" in answer.sentence
    assert "does not say that the file is bad" in answer.sentence
    assert ask(hasty, "echo")


def test_what_is_at_work_on_a_busy_machine_is_waited_for() -> None:
    """The worker gets a share of a core only, and answers after the time that it may compute."""
    child = Child(memory_bytes=SMALL["memory_bytes"], threads=1, worker=WORKER)
    try:
        line = json.dumps({
            "id": 1, "task": "labour", "arguments": {"for_s": 2.5}, "wall_s": 1.0, "patience": 8.0,
        }).encode()  # fmt: skip
        answer = json.loads(child.exchange(line, wall_s=1.0, max_answer_bytes=1000, patience=8.0))
        assert answer["answer"] == {"done": True}
    finally:
        child.kill()


def test_a_hang_is_ended_with_everything_it_started(hasty: GuardPool, tmp_path: Path) -> None:
    answer = hasty.run({"task": "hang", "arguments": {"note": str(tmp_path / "pid")}})
    assert isinstance(answer, GuardFailure)
    grandchild = int((tmp_path / "pid").read_text())
    assert wait_for_end(grandchild), "the whole process group must be gone"


def test_a_worker_killed_from_outside_is_replaced(pool: GuardPool) -> None:
    pid = ask(pool, "echo")["pid"]
    os.kill(pid, signal.SIGKILL)
    assert wait_for_end(pid)
    assert ask(pool, "echo")["pid"] != pid


def test_a_worker_killed_while_it_works_gives_a_sentence() -> None:
    """The first worker is killed at work; the fresh one that takes over runs out of time."""
    with GuardPool(limits=limits(**SMALL, wall_base_s=HASTY_S), worker=WORKER) as fresh:
        pid = ask(fresh, "echo")["pid"]
        timer = threading.Timer(0.3, os.kill, (pid, signal.SIGKILL))
        timer.start()
        answer = fresh.run({"task": "spin", "arguments": {}})
        timer.join()
        assert isinstance(answer, GuardFailure)
        assert answer.reason is Trouble.TIME
        assert ask(fresh, "echo")["pid"] != pid


def test_what_libraries_print_does_not_mix_with_answers(pool: GuardPool) -> None:
    assert ask(pool, "chatter", number=7)["got"] == {"number": 7}


def test_a_worker_that_cannot_start_is_told() -> None:
    with GuardPool(limits=limits(**SMALL), worker="tests.pure.no_such_worker") as broken:
        answer = broken.run({"task": "echo", "arguments": {}})
    assert isinstance(answer, GuardFailure)
    assert answer.reason is Trouble.CRASH
    assert "no_such_worker" in answer.detail


def test_a_file_does_not_answer_for_another(pool: GuardPool) -> None:
    """The second call crashes its used process and is run once more in a fresh one."""
    first, second = ask(pool, "worn_out"), ask(pool, "worn_out")
    assert first["pid"] != second["pid"]


def test_a_repeated_failure_is_not_tried_for_ever(
    pool: GuardPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[Child] = []
    real = guard.Child

    def noting(**options: Any) -> Child:
        started.append(real(**options))
        return started[-1]

    ask(pool, "echo")
    monkeypatch.setattr(guard, "Child", noting)
    answer = pool.run({"task": "crash", "arguments": {}})
    assert isinstance(answer, GuardFailure)
    assert len(started) == 1, "one used process and one fresh one, no more"


# What is granted ---------------------------------------------------------------------------------


def test_the_worker_sees_no_secrets_and_obeys_its_limits(
    pool: GuardPool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", "secret")
    monkeypatch.setenv("SECRET_KEY", "secret")
    with GuardPool(limits=limits(**SMALL, threads=1), worker=WORKER) as fresh:
        answer = ask(fresh, "echo")
    assert not {"DATABASE_URL", "SECRET_KEY", "HOME"} & set(answer["environment"])
    assert (answer["threads"], answer["folder"]) == (1, "/")
    assert 0 < answer["peak_bytes"] < 200_000_000


@pytest.mark.parametrize("is_crash", [True, False])
def test_scratch_is_removed_whatever_happens(
    pool: GuardPool, tmp_path: Path, is_crash: bool
) -> None:
    request = {"task": "litter", "arguments": {"crash": is_crash}, "scratch_in": str(tmp_path)}
    answer = pool.run(request)
    assert isinstance(answer, GuardFailure) == is_crash
    assert list(tmp_path.iterdir()) == []


def test_a_scratch_folder_that_cannot_be_made_is_told(pool: GuardPool, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    answer = pool.run({"task": "echo", "arguments": {}, "scratch_in": str(tmp_path / "file")})
    assert isinstance(answer, GuardFailure)
    assert answer.reason is Trouble.STORAGE
    assert answer.is_transient


def test_time_grows_with_the_picture_and_ends_at_the_pixel_limit() -> None:
    bounds = limits()
    assert bounds.wall_s(0) == 15
    assert bounds.wall_s(150) == pytest.approx(45)
    assert bounds.wall_s(10**9) == bounds.wall_s(bounds.max_pixels / 1e6)
    assert bounds.wall_s(-5) == 15


# The pool ----------------------------------------------------------------------------------------


def test_a_process_serves_many_files_and_is_replaced_in_time() -> None:
    with GuardPool(limits=limits(**SMALL, recycle_after=3), worker=WORKER) as small:
        pids = [ask(small, "echo")["pid"] for _ in range(7)]
    assert pids[0] == pids[1] == pids[2] != pids[3]
    assert pids[3] == pids[4] == pids[5] != pids[6]
    assert all(wait_for_end(pid) for pid in set(pids))


def test_a_process_that_grew_is_replaced(pool: GuardPool) -> None:
    """350 MB are more than a quarter of the gigabyte that is allowed."""
    grown = ask(pool, "take_some")
    assert grown["peak_bytes"] > 350_000_000
    assert ask(pool, "echo")["pid"] != grown["pid"]


def test_a_large_parent_does_not_make_its_workers_look_large() -> None:
    held = bytearray(os.urandom(1024)) * 300_000
    with GuardPool(limits=limits(**SMALL), worker=WORKER) as fresh:
        assert ask(fresh, "echo")["peak_bytes"] < 150_000_000
    assert len(held) > 300_000_000


def test_places_work_side_by_side() -> None:
    with GuardPool(limits=limits(**SMALL), slots=2, worker=WORKER) as wide:
        pids: list[int] = []
        barrier = threading.Barrier(2)

        def one() -> None:
            barrier.wait()
            for _ in range(20):
                pids.append(ask(wide, "echo")["pid"])

        threads = [threading.Thread(target=one) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(pids) == 40
    assert len(set(pids)) <= 2


def test_a_fork_does_not_share_the_processes_of_its_parent(pool: GuardPool) -> None:
    mine = ask(pool, "echo")["pid"]
    reading, writing = os.pipe()
    fork = os.fork()
    if fork == 0:
        answer = pool.run({"task": "echo", "arguments": {}})
        pool.close()
        pid = answer["pid"] if isinstance(answer, dict) else 0
        os.write(writing, str(pid).encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as answer_of_fork:
        theirs = int(answer_of_fork.read())
    os.waitpid(fork, 0)
    assert theirs not in (0, mine)
    assert ask(pool, "echo")["pid"] == mine


def test_workers_end_with_their_parent() -> None:
    child = Child(memory_bytes=1_000_000_000, threads=1, worker=WORKER)
    try:
        child.exchange(
            b'{"id": 1, "task": "echo", "arguments": {}, "wall_s": 5}',
            wall_s=5,
            max_answer_bytes=100_000,
        )
        child._stdin.close()
        assert wait_for_end(child._process.pid)
    finally:
        child.kill()


def test_workers_end_with_their_parent_even_if_a_fork_holds_their_input() -> None:
    code = (
        "import os, sys, time;"
        "from imaging_requests.imaging.files.guard import GuardPool;"
        "from tests.pure.files_samples import limits;"
        f"pool = GuardPool(limits=limits(), worker={WORKER!r});"
        "pid = pool.run({'task': 'echo', 'arguments': {}})['pid'];"
        "fork = os.fork();"
        "sys.stdout.write(f'{pid} {fork}') if fork else (os.close(1), time.sleep(60));"
        "sys.stdout.flush() if fork else None;"
        "os._exit(0)"
    )
    printed = subprocess.run(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, check=True, cwd=CHECKOUT,
    ).stdout  # fmt: skip
    worker, fork = (int(pid) for pid in printed.split())
    try:
        assert wait_for_end(worker, wait_s=20)
    finally:
        os.kill(fork, signal.SIGKILL)


def test_a_closed_child_gives_an_error_and_no_exception_of_the_system() -> None:
    child = Child(memory_bytes=1_000_000_000, threads=1, worker="tests.pure.no_such_worker")
    try:
        with pytest.raises(ChildError) as caught:
            child.exchange(b"{}", wall_s=5, max_answer_bytes=10)
        assert caught.value.return_code == 1
    finally:
        child.kill()


def test_a_pool_without_places_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        GuardPool(limits=limits(), slots=0)


# Real files --------------------------------------------------------------------------------------


def test_masters_become_pictures_and_bad_files_become_sentences(tmp_path: Path) -> None:
    """The real worker, one process: good, bad and good again."""
    good = write_tiff(tmp_path / "good.tif", pixels(), iccprofile=wide_rgb_profile())
    (tmp_path / "text.tif").write_text("not a picture")
    (tmp_path / "empty.tif").write_bytes(b"")
    short = write_tiff(tmp_path / "short.tif", pixels(width=300, height=300), tile=(64, 64))
    os.truncate(short, 200_000)
    cases: list[tuple[str, Reason | None]] = [
        ("good.tif", None), ("text.tif", Reason.TEXT), ("empty.tif", Reason.EMPTY),
        ("short.tif", Reason.TRUNCATED), ("good.tif", None),
    ]  # fmt: skip
    before = good.read_bytes()
    with GuardPool(limits=limits()) as real:
        for number, (name, reason) in enumerate(cases):
            found = derive(
                real,
                tmp_path / name,
                tmp_path / "out" / str(number),
                recipe(),
                source_sha256=hashlib.sha256((tmp_path / name).read_bytes()).hexdigest(),
                megapixels=0.1,
            )
            if reason is None:
                assert isinstance(found, Derived), found
                names = {item.name for item in found.files}
                there = {path.name for path in (tmp_path / "out" / str(number)).iterdir()}
                assert there == names | {f"derived-{found.key}.json"}
            else:
                assert isinstance(found, Unreadable), found
                assert found.reason is reason
    assert good.read_bytes() == before


def test_one_file_can_be_asked_for_without_a_pool() -> None:
    answer = guard.run({"task": "echo", "arguments": {"a": 1}}, limits=limits(), worker=WORKER)
    assert isinstance(answer, dict)
    assert answer["got"] == {"a": 1}
    assert wait_for_end(answer["pid"])


def test_the_caller_loads_no_decoder() -> None:
    code = (
        "import sys; import imaging_requests.imaging.files.ask;"
        "import imaging_requests.imaging.files.structure;"
        "import imaging_requests.imaging.files.verdicts;"
        "print(sorted({'pyvips', 'PIL', 'cv2', 'tifffile'} & set(sys.modules)))"
    )
    printed = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    assert printed.strip() == "[]"
