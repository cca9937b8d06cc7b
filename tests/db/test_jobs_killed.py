"""Workers and broker are killed without warning: nothing is lost, nothing is done twice."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.intake_world import BEAT, WORKER, World, ended_afterwards, kill, new_world, shared_tables

pytestmark = [pytest.mark.slow, pytest.mark.any_database]


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shared_tables(tmp_path_factory)


@pytest.fixture
def world(tmp_path: Path, template: Path) -> Iterator[World]:
    with ended_afterwards(new_world(tmp_path, template)) as made:
        yield made


def assert_done_once(world: World, files: int) -> None:
    """Every file became one frame with two proven copies, three pictures and one place."""
    assert world.rows("SELECT count(*) FROM intake_frame WHERE state = 'placed'") == [(files,)]
    assert world.rows("SELECT count(*) FROM intake_copy WHERE is_good") == [(2 * files,)]
    assert world.rows("SELECT count(*) FROM intake_derivative") == [(3 * files,)]
    for code in ("intake.frame_received", "intake.frame_placed"):
        found = world.rows("SELECT count(*) FROM people_auditevent WHERE code = ?", code)
        assert found == [(files,)], code
    for place in ("store", "second-copy"):
        masters = [p for p in (world.folder / place).rglob("*.tif") if p.is_file()]
        assert len(masters) == files
    assert list((world.folder / "store" / "quarantine").glob("*.part")) == []
    derived = [path for path in (world.folder / "derived").rglob("*") if path.is_file()]
    assert len(derived) == 4 * files, "pyramid, two thumbnails and the report of each"


def test_a_worker_killed_while_it_makes_a_thumbnail_is_taken_over(world: World) -> None:
    files = 3
    world.build("line", str(files), "big")
    worker = world.start(*WORKER)
    world.start(*BEAT)
    busy = world.wait(
        "A picture under way",
        lambda: world.rows("SELECT id FROM intake_job WHERE kind='derive' AND state='claimed'"),
    )
    kill(worker)
    job = busy[0][0]
    assert world.rows("SELECT state FROM intake_job WHERE id = ?", job) == [("claimed",)]
    assert world.rows("SELECT count(*) FROM intake_derivative") != [(3 * files,)]
    world.start(*WORKER)
    world.wait("The rest of the work", lambda: not world.left())
    assert_done_once(world, files)
    tries = dict(world.rows("SELECT id, tries FROM intake_job WHERE kind = 'derive'"))
    assert tries.pop(job) == 2
    assert set(tries.values()) == {1}


def test_workers_killed_again_and_again_lose_nothing(world: World) -> None:
    files = 8
    world.build("line", str(files))
    world.start(*BEAT)
    for moment_s in (0.0, 0.02, 0.1):
        worker = world.start(*WORKER)
        world.wait(
            "Work under way",
            lambda: world.rows(
                "SELECT id FROM intake_job WHERE state='claimed' AND worker LIKE ?",
                f"%:{worker.pid}",  # noqa: B023
            ),
        )
        time.sleep(moment_s)
        kill(worker)
    world.start(*WORKER)
    world.wait("The rest of the work", lambda: not world.left(), seconds=90)
    assert_done_once(world, files)
    assert world.rows("SELECT count(*) FROM intake_job WHERE state = 'failed'") == [(0,)]
    assert world.rows("SELECT max(tries) FROM intake_job")[0][0] >= 2, "something was cut short"


def test_two_processes_that_work_at_once_store_the_same_bytes_once(world: World) -> None:
    files = 10
    world.build("pairs", str(files))
    both = [world.start("manage.py", "work", "--until-empty", "--queue", "ingest") for _ in "ab"]
    for process in both:
        assert process.wait(90) == 0
    workers = world.rows("SELECT DISTINCT worker FROM intake_job WHERE kind = 'receive'")
    assert len(workers) == 2, "both took part, else nothing was raced"
    states = world.rows("SELECT state, count(*) FROM intake_arrival GROUP BY state ORDER BY state")
    assert states == [("already_here", files), ("checked", files)]
    world.run("manage.py", "work", "--until-empty")
    assert_done_once(world, files)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start_redis(folder: Path, port: int) -> subprocess.Popen[bytes]:
    program = shutil.which("redis-server")
    assert program is not None
    process = subprocess.Popen(
        [program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    for _ in range(200):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return process
        try:
            process.wait(0.05)
        except subprocess.TimeoutExpired:
            continue
    raise AssertionError("redis-server did not answer.")


@pytest.mark.skipif(shutil.which("redis-server") is None, reason="needs redis-server")
def test_a_redis_killed_with_a_full_queue_loses_nothing(tmp_path: Path, template: Path) -> None:
    from redis import Redis

    port = free_port()
    redis = start_redis(tmp_path, port)
    world = new_world(tmp_path, template, REDIS_URL=f"redis://127.0.0.1:{port}/0")
    world.living.append(redis)
    with ended_afterwards(world):
        world.build("line", "12")
        with Redis(port=port) as broker:
            assert broker.llen("ingest") == 12, "the queue is full"
        kill(redis)
        world.build("line", "3")
        world.living.append(start_redis(tmp_path, port))
        with Redis(port=port) as broker:
            assert broker.dbsize() == 0, "the broker has forgotten everything"
        world.start(*WORKER)
        world.start(*BEAT)
        world.wait("All the work", lambda: not world.left(), seconds=90)
        assert_done_once(world, 15)
        tries = world.rows("SELECT max(tries) FROM intake_job WHERE kind != 'sort'")
        assert tries == [(1,)]
