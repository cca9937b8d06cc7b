"""The web process is killed in the middle of an upload: the upload goes on where it was safe."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import http.client
import json
import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from imaging_requests.intake.limits import background
from tests import factory
from tests.intake_scene import pixels, tiff
from tests.intake_world import World, ended_afterwards, kill, new_world, shared_tables

pytestmark = pytest.mark.slow

BODY = "application/offset+octet-stream"
MASTER = (4800, 3600)


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shared_tables(tmp_path_factory)


@pytest.fixture
def world(tmp_path: Path, template: Path) -> Iterator[World]:
    with ended_afterwards(new_world(tmp_path, template)) as made:
        yield made


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def start_web(world: World, port: int) -> Any:
    world.wait("The end of the web process before", lambda: not answers(port))
    process = world.start(
        *("-m", "gunicorn", "imaging_requests.config.wsgi", "--bind", f"127.0.0.1:{port}"),
        *("--workers", "1", "--threads", "4", "--timeout", "0", "--log-level", "warning"),
    )
    world.wait("The web process", lambda: answers(port))
    return process


class Sender:
    """What a browser sends, over a plain connection that a test can cut."""

    def __init__(self, port: int, headers: dict[str, str]) -> None:
        self.port = port
        self.headers = headers | {"Tus-Resumable": "1.0.0"}

    def ask(self, method: str, address: str, **headers: str) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        with contextlib.closing(connection):
            connection.request(method, address, headers=self.headers | headers)
            answer = connection.getresponse()
            answer.read()
            return answer

    def send(
        self, address: str, data: memoryview, offset: int, *, cut_at: int | None = None
    ) -> Any:
        """Send bytes from an offset on; with `cut_at` stop there and leave the connection open."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.putrequest("PATCH", address)
        wanted = {
            "Upload-Offset": str(offset),
            "Content-Length": str(len(data) - offset),
            "Content-Type": BODY,
        }
        for name, value in (self.headers | wanted).items():
            connection.putheader(name, value)
        connection.endheaders()
        connection.send(data[offset:cut_at])
        if cut_at is not None:
            return connection
        with contextlib.closing(connection):
            answer = connection.getresponse()
            answer.read()
            return answer


def test_an_upload_cut_by_a_killed_web_process_is_resumed(world: World) -> None:
    made = world.build("web")
    width, height = MASTER
    data = memoryview(tiff(1, at=factory.NOW, picture=pixels(1, width=width, height=height)))
    stretch = background().stretch_bytes(len(data))
    assert len(data) > 3 * stretch
    port = free_port()
    web = start_web(world, port)
    sender = Sender(port, made["headers"])
    names = {"filename": "F1.tif", "drop": str(made["drop"])}
    told = ",".join(
        f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in names.items()
    )
    announced = sender.ask(
        "POST", "/intake/files/", **{"Upload-Length": str(len(data)), "Upload-Metadata": told}
    )
    assert announced.status == 201
    address = str(announced.headers["Location"])
    connection = sender.send(address, data, 0, cut_at=2 * stretch + 5_000_000)
    world.wait(
        "Two durable stretches",
        lambda: world.rows("SELECT offset_bytes FROM intake_arrival") == [(2 * stretch,)],
    )
    kill(web)
    connection.close()
    part = next((world.folder / "store" / "quarantine").glob("*.part"))
    assert part.stat().st_size >= 2 * stretch

    start_web(world, port)
    standing = sender.ask("HEAD", address)
    assert standing.status == 200
    offset = int(standing.headers["Upload-Offset"])
    assert offset == 2 * stretch, "what was acknowledged is what is on the disk"
    answer = sender.send(address, data, offset)
    assert (answer.status, answer.headers["Upload-Offset"]) == (204, str(len(data)))
    world.run("manage.py", "work", "--until-empty")
    found = world.rows("SELECT sha256, size_bytes FROM intake_frame")
    assert found == [(hashlib.sha256(data).hexdigest(), len(data))]
    stretches = json.loads(world.rows("SELECT stretches FROM intake_arrival")[0][0])
    assert [(start, end) for start, end, _ in stretches] == [
        (0, 2 * stretch),
        (2 * stretch, len(data)),
    ], "one stretch for each time that the sender came"
    assert not part.exists()


def test_a_sender_that_vanishes_without_a_word_can_come_back(world: World) -> None:
    """The server still waits for the old connection when the new one goes on."""
    made = world.build("web")
    data = memoryview(tiff(1, at=factory.NOW, picture=pixels(1, width=4000, height=2400)))
    stretch = background().stretch_bytes(len(data))
    port = free_port()
    start_web(world, port)
    sender = Sender(port, made["headers"])
    names = {"filename": "F1.tif", "drop": str(made["drop"])}
    told = ",".join(
        f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in names.items()
    )
    address = str(
        sender.ask(
            "POST", "/intake/files/", **{"Upload-Length": str(len(data)), "Upload-Metadata": told}
        ).headers["Location"]
    )
    silent = sender.send(address, data, 0, cut_at=stretch + 1_000_000)
    world.wait(
        "A durable stretch",
        lambda: world.rows("SELECT offset_bytes FROM intake_arrival") == [(stretch,)],
    )
    assert sender.send(address, data, stretch).status == 204
    with contextlib.suppress(OSError):
        silent.send(os.urandom(3_000_000))
    silent.close()
    world.run("manage.py", "work", "--until-empty")
    assert world.rows("SELECT sha256 FROM intake_frame") == [(hashlib.sha256(data).hexdigest(),)]
