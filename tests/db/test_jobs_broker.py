"""The folder of messages: whole or absent, whoever writes, reads or dies meanwhile."""

from __future__ import annotations

import multiprocessing
import os
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path
from queue import Empty
from typing import Any

import pytest
from kombu import Connection

from imaging_requests.config import broker
from imaging_requests.config.celery import app

PUTTERS, TAKERS, EACH = 2, 2, 100


def a_channel(folder: Path) -> Any:
    """A channel of our transport over `folder`, as every process of the desk opens it."""
    options = broker.options(folder)
    return Connection(f"{broker.SCHEME}://", transport_options=options).channel()


def a_message(text: str) -> dict[str, Any]:
    return {"body": text, "properties": {"delivery_tag": text, "delivery_info": {}}}


def files_under(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def put_many(folder: Path, first: int) -> None:
    channel = a_channel(folder)
    for number in range(first, first + EACH):
        channel._put("pixels", a_message(f"{number} " + "x" * 20_000))


def take_many(folder: Path, taken: Any) -> None:
    channel = a_channel(folder)
    last = time.monotonic()
    while time.monotonic() - last < 20:
        try:
            body = channel._get("pixels")["body"]
        except Empty:
            time.sleep(0.001)
            continue
        if body == "end":
            return
        taken.put(int(body.split()[0]))


def test_processes_put_and_take_at_once_and_every_message_arrives_once(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    taken = context.Queue()
    takers = [context.Process(target=take_many, args=(tmp_path, taken)) for _ in range(TAKERS)]
    putters = [
        context.Process(target=put_many, args=(tmp_path, number * EACH))
        for number in range(PUTTERS)
    ]
    for process in (*takers, *putters):
        process.start()
    arrived = Counter(taken.get(timeout=60) for _ in range(PUTTERS * EACH))
    for process in putters:
        process.join(timeout=30)
    for _ in takers:
        a_channel(tmp_path)._put("pixels", a_message("end"))
    for process in takers:
        process.join(timeout=30)
    assert arrived == Counter(range(PUTTERS * EACH))
    assert [process.exitcode for process in (*takers, *putters)] == [0] * (PUTTERS + TAKERS)
    assert files_under(tmp_path) == [], "nothing torn was seen, and nothing is left behind"


@pytest.mark.parametrize(
    "content", [b"", b'{"body": "ab', b"\xff\xfe", b"[]", b"{}", b"null", b'{"properties": {}}']
)
def test_what_is_no_whole_message_is_set_aside_and_the_next_one_is_taken(
    tmp_path: Path, content: bytes
) -> None:
    channel = a_channel(tmp_path)
    (tmp_path / "queue" / "-planted.pixels.msg").write_bytes(content)
    channel._put("pixels", a_message("whole"))
    assert channel._get("pixels")["body"] == "whole"
    assert files_under(tmp_path / "aside") == ["-planted.pixels.msg"]
    with pytest.raises(Empty):
        channel._get("pixels")


def test_a_message_that_cannot_be_opened_ends_no_reader(tmp_path: Path) -> None:
    channel = a_channel(tmp_path)
    (tmp_path / "queue" / "-folder.pixels.msg").mkdir()
    channel._put("pixels", a_message("whole"))
    assert channel._get("pixels")["body"] == "whole"
    assert (tmp_path / "aside" / "-folder.pixels.msg").is_dir()


def test_a_message_that_another_reader_took_first_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    channel = a_channel(tmp_path)
    channel._put("pixels", a_message("whole"))
    seen = os.listdir(tmp_path / "queue")
    monkeypatch.setattr(os, "listdir", lambda folder: ["-gone.pixels.msg", *seen])
    assert channel._get("pixels")["body"] == "whole"
    with pytest.raises(Empty):
        channel._get("pixels")


def test_a_folder_that_somebody_clears_away_is_an_empty_one(tmp_path: Path) -> None:
    channel = a_channel(tmp_path)
    (tmp_path / "queue").rmdir()
    with pytest.raises(Empty):
        channel._get("pixels")


def test_no_message_passes_through_the_folder_that_the_machine_shares(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "shared" / "not there"))
    channel = a_channel(tmp_path / "broker")
    channel._put("pixels", a_message("whole"))
    assert channel._get("pixels")["body"] == "whole"
    assert not (tmp_path / "shared").exists()


def test_the_table_of_listeners_is_never_read_half_written(tmp_path: Path) -> None:
    first, failures = a_channel(tmp_path), []
    first._queue_bind("work", "key-0", "", "pixels")
    done = threading.Event()

    def read() -> None:
        mine = a_channel(tmp_path)
        while not done.is_set():
            if not mine.get_table("work"):
                failures.append("empty")

    reader = threading.Thread(target=read)
    reader.start()
    for number in range(1, 60):
        a_channel(tmp_path)._queue_bind("work", f"key-{number}", "", "pixels")
    done.set()
    reader.join()
    assert failures == []
    assert len(first.get_table("work")) == 60
    first._delete("pixels", "work", "key-3", "")
    assert "key-3" not in {row.routing_key for row in first.get_table("work")}


def test_a_torn_table_is_as_good_as_none_and_is_written_anew(tmp_path: Path) -> None:
    channel = a_channel(tmp_path)
    (tmp_path / "control" / "work.exchange").write_text('[["pix')
    assert channel.get_table("work") == []
    channel._queue_bind("work", "key", "", "pixels")
    assert [row.queue for row in channel.get_table("work")] == ["pixels"]


def test_what_a_killed_process_left_half_done_is_removed_after_a_while(tmp_path: Path) -> None:
    broker.options(tmp_path)
    part = tmp_path / "queue" / ".1_a.pixels.msg.2.part"
    taken = tmp_path / "taken" / "1_b.pixels.msg"
    for file in (part, taken):
        file.write_text("half")
    a_channel(tmp_path)
    assert files_under(tmp_path) == sorted([part.name, taken.name]), "another may be at work on it"
    broker._remove_strays((part.parent, ".part"), (taken.parent, ".msg"), after_s=-1.0)
    assert files_under(tmp_path) == []


def test_the_application_of_every_process_uses_it() -> None:
    if app.conf.broker_url.startswith("redis"):
        pytest.skip("this run has Redis")
    assert app.connection().transport_cls == broker.SCHEME
    with app.connection() as connection:
        assert isinstance(connection.channel(), broker.Channel)


def test_a_second_folder_of_one_process_has_its_own_listeners(tmp_path: Path) -> None:
    for name in ("one", "other"):
        with Connection(
            f"{broker.SCHEME}://", transport_options=broker.options(tmp_path / name)
        ) as connection:
            queue = connection.SimpleQueue("pixels")
            queue.put({"job": 7})
            assert queue.get(timeout=10).payload == {"job": 7}
            queue.close()


def test_a_consumer_outlives_an_empty_and_a_torn_message(tmp_path: Path) -> None:
    for name, content in (("-empty", b""), ("-torn", b'{"body": "W1')):
        (tmp_path / f"{name}.pixels.msg").write_bytes(content)
    with Connection(
        f"{broker.SCHEME}://", transport_options=broker.options(tmp_path / "broker")
    ) as connection:
        for file in tmp_path.glob("*.msg"):
            file.rename(tmp_path / "broker" / "queue" / file.name)
        queue = connection.SimpleQueue("pixels")
        queue.put({"job": 7})
        message = queue.get(timeout=10)
        assert message.payload == {"job": 7}
        message.ack()
        queue.close()
    assert files_under(tmp_path / "broker" / "aside") == ["-empty.pixels.msg", "-torn.pixels.msg"]
