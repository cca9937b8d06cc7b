"""A master of 150 megapixels comes through the page, both ways, in bounded memory."""

from __future__ import annotations

import base64
import contextlib
import filecmp
import hashlib
import http.client
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
from tests.intake_world import WORKER, World, ended_afterwards, new_world, shared_tables
from tests.web.test_intake_upload_killed import free_port, start_web

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("large master")]

WIDTH, HEIGHT = 14_204, 10_652
BAND_ROWS = 512
PIECE = 1024 * 1024
MOST_BYTES = 1_500_000_000
EDGE = b"------edge"


@pytest.fixture
def world(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    template = shared_tables(tmp_path_factory)
    with ended_afterwards(new_world(tmp_path, template)) as made:
        yield made


def made_noise() -> NDArray[np.uint16]:
    """One band of the master; each band is this one, a step lighter."""
    return np.random.default_rng(5).integers(0, 9_000, (BAND_ROWS, WIDTH, 3), np.uint16)


@pytest.fixture
def master(tmp_path: Path) -> Iterator[Path]:
    """908 MB of 16-bit RGB, made band by band."""
    path = tmp_path / "AR-0011.tif"
    noise = made_noise()
    pixels = tifffile.memmap(
        path,
        shape=(HEIGHT, WIDTH, 3),
        dtype="uint16",
        photometric="rgb",
        metadata=None,
        iccprofile=wide_rgb_profile(),
    )
    for top in range(0, HEIGHT, BAND_ROWS):
        rows = min(BAND_ROWS, HEIGHT - top)
        pixels[top : top + rows] = noise[:rows] + np.uint16(4 * top)
    pixels.flush()
    del pixels
    yield path
    path.unlink()


def pieces(path: Path) -> Iterator[bytes]:
    with open(path, "rb") as file:
        while piece := file.read(PIECE):
            yield piece


class Watch:
    """Notes the most memory that each process below some others ever held."""

    def __init__(self, roots: list[int]) -> None:
        self.roots = roots
        self.peaks: dict[tuple[int, str], int] = {}
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Watch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._ended.wait(0.05):
            for pid in self._family():
                with contextlib.suppress(OSError, ValueError):
                    self._note(pid)

    def _family(self) -> set[int]:
        family = set(self.roots)
        parents: dict[int, int] = {}
        for folder in Path("/proc").glob("[0-9]*"):
            with contextlib.suppress(OSError, ValueError, IndexError):
                after_name = (folder / "stat").read_text().rpartition(")")[2].split()
                parents[int(folder.name)] = int(after_name[1])
        while more := {pid for pid, parent in parents.items() if parent in family} - family:
            family |= more
        return family

    def _note(self, pid: int) -> None:
        status = Path(f"/proc/{pid}/status").read_text().splitlines()
        peak = next(line for line in status if line.startswith("VmHWM"))
        command = Path(f"/proc/{pid}/cmdline").read_text().replace("\0", " ")[:200]
        key = (pid, command)
        self.peaks[key] = max(self.peaks.get(key, 0), int(peak.split()[1]) * 1024)


def send_resumably(port: int, headers: dict[str, str], drop: int, path: Path) -> None:
    told = ",".join(
        f"{key} {base64.b64encode(value.encode()).decode()}"
        for key, value in {"filename": path.name, "drop": str(drop)}.items()
    )
    own = headers | {"Tus-Resumable": "1.0.0"}
    size = str(path.stat().st_size)
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    connection.request(
        "POST", "/intake/files/", headers=own | {"Upload-Length": size, "Upload-Metadata": told}
    )
    made = connection.getresponse()
    made.read()
    assert made.status == 201
    connection.request(
        "PATCH",
        str(made.headers["Location"]),
        body=pieces(path),
        headers=own
        | {
            "Upload-Offset": "0",
            "Content-Length": size,
            "Content-Type": "application/offset+octet-stream",
        },
    )
    answer = connection.getresponse()
    answer.read()
    connection.close()
    assert (answer.status, answer.headers["Upload-Offset"]) == (204, size)


def send_by_form(port: int, headers: dict[str, str], drop: int, path: Path) -> None:
    head = (
        b"--" + EDGE + b'\r\nContent-Disposition: form-data; name="csrfmiddlewaretoken"\r\n\r\n'
        + headers["X-CSRFToken"].encode() + b"\r\n--" + EDGE
        + b'\r\nContent-Disposition: form-data; name="offered"; filename="by-form.tif"\r\n'
        + b"Content-Type: image/tiff\r\n\r\n"
    )  # fmt: skip
    tail = b"\r\n--" + EDGE + b"--\r\n"

    def body() -> Iterator[bytes]:
        yield head
        yield from pieces(path)
        yield tail

    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    connection.request(
        "POST",
        f"/intake/drops/{drop}/",
        body=body(),
        headers={
            "Cookie": headers["Cookie"],
            "Content-Length": str(len(head) + path.stat().st_size + len(tail)),
            "Content-Type": f"multipart/form-data; boundary={EDGE.decode()}",
        },
    )
    answer = connection.getresponse()
    answer.read()
    connection.close()
    assert answer.status == 302


def test_a_150_megapixel_master_comes_through_the_page(world: World, master: Path) -> None:
    made = world.build("web")
    port = free_port()
    web, worker = start_web(world, port), world.start(*WORKER)
    digest = hashlib.sha256()
    for piece in pieces(master):
        digest.update(piece)
    started = time.monotonic()
    with Watch([web.pid, worker.pid]) as watch:
        send_resumably(port, made["headers"], made["drop"], master)
        sent_s = time.monotonic() - started
        world.wait("The first master", lambda: world.rows(
            "SELECT id FROM intake_frame WHERE read_at IS NOT NULL AND state = 'waiting'"
        ), seconds=120)  # fmt: skip
        done_s = time.monotonic() - started
        send_by_form(port, made["headers"], made["drop"], master)
        world.wait("The second answer", lambda: world.rows(
            "SELECT id FROM intake_arrival WHERE state = 'already_here'"
        ), seconds=120)  # fmt: skip
    print(f"sent after {sent_s:.1f} s, proven and shown after {done_s:.1f} s")  # noqa: T201
    for (_, command), peak in sorted(watch.peaks.items(), key=lambda item: -item[1]):
        print(f"{peak / 1e6:7.0f} MB  {command[-90:]}")  # noqa: T201
    commands = " ".join(command for _, command in watch.peaks)
    for kind in ("gunicorn", "celery", "worker_main"):
        assert kind in commands, "the watch saw every kind of process"
    assert max(watch.peaks.values()) < MOST_BYTES
    assert world.rows("SELECT sha256, width_px, height_px, bits FROM intake_frame") == [
        (digest.hexdigest(), WIDTH, HEIGHT, 16)
    ]
    kinds = world.rows("SELECT kind, width_px FROM intake_derivative ORDER BY width_px")
    assert kinds == [("256", 256), ("1024", 1024), ("pyramid", WIDTH)]
    assert world.rows("SELECT count(*) FROM intake_copy WHERE is_good") == [(2,)]
    checks = dict(world.rows("SELECT rule, verdict FROM intake_filecheck"))
    assert (checks["G1"], checks["G3"]) == ("pass", "pass")
    for place in ("store", "second-copy"):
        (stored,) = (world.folder / place).rglob(f"{digest.hexdigest()}*")
        assert filecmp.cmp(stored, master, shallow=False), f"the bytes in {place} are those sent"
        assert_sixteen_bits(stored)


def assert_sixteen_bits(path: Path) -> None:
    """Read a stored master with tifffile, which shares no decoder with the program."""
    with tifffile.TiffFile(path) as file:
        page = file.pages.first
        assert (page.dtype, page.bitspersample, page.shape) == ("uint16", 16, (HEIGHT, WIDTH, 3))
    pixels = tifffile.memmap(path, mode="r")
    noise = made_noise()
    for top in (0, BAND_ROWS * (HEIGHT // BAND_ROWS)):
        rows = min(BAND_ROWS, HEIGHT - top)
        band = np.asarray(pixels[top : top + rows])
        np.testing.assert_array_equal(band, noise[:rows] + np.uint16(4 * top))
        assert len(np.unique(band)) > 256, "more levels than 8 bits could tell apart"
