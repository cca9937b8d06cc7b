"""Bytes come in parts and in any order of accidents; what was acknowledged is never lost."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from imaging_requests.intake import actions, jobs, quarantine, store
from imaging_requests.intake.errors import NoRoomError, TooLargeError, WrongOffsetError
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Arrival, ArrivalState, Drop, Job
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import bring, chunks, frame_of, open_drop, settle, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]
DATA = tiff(1, at=factory.NOW)
THIRD = len(DATA) // 3


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def drop(amaro: User) -> Drop:
    return open_drop(amaro)


@pytest.fixture
def short_stretches(monkeypatch: pytest.MonkeyPatch) -> int:
    """Let a mark be set every few bytes, as with a file of many gigabytes."""
    length = 4096
    monkeypatch.setattr(type(background()), "stretch_bytes", lambda self, size: length)
    return length


def begin(drop: Drop, data: bytes = DATA, name: str = "A.tif") -> Arrival:
    return actions.begin_arrival(
        actor=drop.brought_by, drop_id=drop.pk, name=name, size_bytes=len(data)
    )


def append(arrival: Arrival, data: bytes, offset: int = 0) -> int:
    return actions.append_bytes(
        actor=arrival.drop.brought_by, token=arrival.token, offset=offset, chunks=chunks(data)
    )


def test_a_file_in_three_parts_is_the_file(
    drop: Drop, django_capture_on_commit_callbacks: Any
) -> None:
    arrival = begin(drop)
    at = 0
    for part in (DATA[:THIRD], DATA[THIRD : 2 * THIRD], DATA[2 * THIRD :]):
        at = append(arrival, part, at)
    with django_capture_on_commit_callbacks(execute=True):
        settle()
    assert frame_of(arrival).sha256 == hashlib.sha256(DATA).hexdigest()
    assert not quarantine.part_path(arrival.token).exists()


def test_the_last_byte_completes_and_asks_for_the_receipt_once(drop: Drop) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:-1])
    assert not Job.objects.filter(kind="receive").exists()
    append(arrival, DATA[-1:], len(DATA) - 1)
    actions.complete_arrival(arrival.pk)
    arrival.refresh_from_db()
    assert arrival.state == ArrivalState.RECEIVED
    assert Job.objects.filter(kind="receive").count() == 1


def test_an_arrival_that_lacks_bytes_cannot_be_completed(drop: Drop) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:THIRD])
    with pytest.raises(IllegalStep, match=f"{THIRD:,} of {len(DATA):,} bytes are here"):
        actions.complete_arrival(arrival.pk)


def test_a_sender_that_breaks_off_keeps_what_came(drop: Drop) -> None:
    arrival = begin(drop)

    def cut() -> Iterator[bytes]:
        yield DATA[:1000]
        yield DATA[1000:1500]
        raise ConnectionResetError("the cable was pulled")

    at = actions.append_bytes(actor=drop.brought_by, token=arrival.token, offset=0, chunks=cut())
    arrival.refresh_from_db()
    assert (at, arrival.offset_bytes, arrival.state) == (1500, 1500, ArrivalState.ARRIVING)
    append(arrival, DATA[1500:], 1500)
    settle()
    assert frame_of(arrival).size_bytes == len(DATA)


def test_bytes_behind_the_last_mark_are_not_believed(drop: Drop) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:THIRD])
    with open(quarantine.part_path(arrival.token), "ab") as part:
        part.write(b"\0" * 5000)
    append(arrival, DATA[THIRD:], THIRD)
    settle()
    assert frame_of(arrival).sha256 == hashlib.sha256(DATA).hexdigest()


@pytest.mark.parametrize("offset", [0, THIRD - 1, THIRD + 1, len(DATA)])
def test_only_the_acknowledged_offset_may_be_gone_on_from(drop: Drop, offset: int) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:THIRD])
    with pytest.raises(WrongOffsetError, match="bytes are here") as refusal:
        append(arrival, b"x", offset)
    assert refusal.value.data == {"offset": THIRD}


def test_more_bytes_than_announced_are_refused_and_the_rest_is_kept(drop: Drop) -> None:
    arrival = begin(drop, DATA)
    with pytest.raises(TooLargeError, match="but more came"):
        append(arrival, DATA + b"and more" * 1000)
    arrival.refresh_from_db()
    assert 0 < arrival.offset_bytes <= len(DATA)


def test_a_newcomer_takes_over_from_a_writer_that_hangs(drop: Drop, short_stretches: int) -> None:
    """The old connection wakes up later: its words reach neither the file nor the count."""
    arrival = begin(drop)
    other = DATA[::-1]
    newcomer: list[int] = []

    def hanging() -> Iterator[bytes]:
        yield DATA[:short_stretches]
        arrival.refresh_from_db()
        newcomer.append(append(arrival, DATA[short_stretches:], arrival.offset_bytes))
        yield other[:short_stretches]
        yield other[short_stretches : 2 * short_stretches]

    with pytest.raises(WrongOffsetError, match=r"Somebody else has begun to send A\.tif"):
        actions.append_bytes(actor=drop.brought_by, token=arrival.token, offset=0, chunks=hanging())
    assert newcomer == [len(DATA)]
    settle()
    assert frame_of(arrival).sha256 == hashlib.sha256(DATA).hexdigest()


def test_what_lies_on_the_disk_is_compared_with_what_came_over_the_wire(
    drop: Drop, short_stretches: int
) -> None:
    in_one_go, in_two = begin(drop), begin(drop, name="B.tif")
    append(in_one_go, DATA)
    append(in_two, DATA[:4096])
    append(in_two, DATA[4096:], 4096)
    for arrival in (in_one_go, in_two):
        with open(quarantine.part_path(arrival.token), "r+b") as part:
            part.seek(5000)
            part.write(b"\xff\x00\xff")
    settle()
    for arrival, start in ((in_one_go, 0), (in_two, 4096)):
        arrival.refresh_from_db()
        assert arrival.state == ArrivalState.REFUSED
        where = f"between byte {start:,} and {len(DATA):,}"
        assert f"differs from what was sent, {where}" in arrival.answer
        assert arrival.frame is None
    assert list(Path(settings.SECOND_STORE_DIR).rglob("*.tif")) == []


def test_a_part_that_has_gone_is_said(drop: Drop) -> None:
    arrival = begin(drop)
    append(arrival, DATA)
    quarantine.discard(arrival.token)
    settle()
    arrival.refresh_from_db()
    assert "have gone from quarantine before they were proven" in arrival.answer


class FullDisk:
    """A disk that takes some bytes and then no more."""

    def __init__(self, room: int) -> None:
        self.room = room

    def __call__(self, part: Any, chunk: bytes) -> None:
        self.room -= len(chunk)
        if self.room < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        part.write(chunk)


def test_a_full_disk_keeps_the_acknowledged_part_and_nothing_half(
    drop: Drop, short_stretches: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    arrival = begin(drop)
    with monkeypatch.context() as full:
        full.setattr(quarantine, "write_all", FullDisk(room=3 * short_stretches + 100))
        with pytest.raises(NoRoomError, match="The disk is full") as refusal:
            append(arrival, DATA)
    assert "that part is kept" in str(refusal.value)
    arrival.refresh_from_db()
    assert arrival.offset_bytes == 3 * short_stretches
    assert quarantine.part_path(arrival.token).stat().st_size == arrival.offset_bytes
    append(arrival, DATA[arrival.offset_bytes :], arrival.offset_bytes)
    settle()
    assert frame_of(arrival).sha256 == hashlib.sha256(DATA).hexdigest()


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.EROFS, "it may not be written to"), (errno.EIO, "it does not answer")],
)
def test_a_disk_that_takes_nothing_is_said_and_the_acknowledged_part_is_kept(
    drop: Drop, short_stretches: int, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:short_stretches])

    def closed(path: Any, *_: Any) -> int:
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as mounted:
        mounted.setattr(quarantine, "_open_alone", closed)
        with pytest.raises(NoRoomError, match=words) as refusal:
            append(arrival, DATA[short_stretches:], short_stretches)
    assert f"received up to byte {short_stretches:,}, and that part is kept" in str(refusal.value)
    append(arrival, DATA[short_stretches:], short_stretches)
    settle()
    assert frame_of(arrival).sha256 == hashlib.sha256(DATA).hexdigest()


def test_a_received_file_is_not_refused_while_its_folder_is_away(
    drop: Drop, settings: Any, tmp_path: Path
) -> None:
    arrival = begin(drop)
    append(arrival, DATA)
    there, settings.QUARANTINE_DIR = settings.QUARANTINE_DIR, tmp_path / "not-mounted"
    jobs.run_due(["ingest"])
    arrival.refresh_from_db()
    assert arrival.state == ArrivalState.RECEIVED
    assert "is not there" in Job.objects.get(kind="receive").last_error
    settings.QUARANTINE_DIR = there
    settle()
    assert frame_of(arrival).sha256 == hashlib.sha256(DATA).hexdigest()


def test_a_file_without_room_is_refused_before_its_first_byte(
    drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    spare = background().free_space_least_bytes
    room = {store.FIRST: spare + 10 * len(DATA), store.SECOND: spare + len(DATA) // 2}
    monkeypatch.setattr(store, "free_bytes", lambda: room)
    with pytest.raises(NoRoomError, match=r"The second copy has no room for A\.tif"):
        begin(drop)
    assert not Arrival.objects.exists()


def test_a_file_above_the_limit_is_refused(drop: Drop, settings: Any) -> None:
    settings.UPLOAD_LIMIT_BYTES = len(DATA) - 1
    with pytest.raises(TooLargeError, match="ask the system keeper to raise the limit"):
        begin(drop)


@pytest.mark.parametrize(
    ("offered", "kept"),
    [
        ("DCIM/100/F0001.tif", "F0001.tif"),
        ("C:\\cards\\F0001.tif", "C:\\cards\\F0001.tif"),
        ("../../etc/passwd", "passwd"),
        ("one\ntwo\r\\three.tif", "one\ntwo\r\\three.tif"),
        ("F\x000001.tif", "F[U+0000]0001.tif"),
        ("ä" * 300 + ".tif", "ä" * 251 + ".tif"),
    ],
)
def test_a_name_is_kept_as_a_name_and_never_used_as_a_path(
    drop: Drop, offered: str, kept: str
) -> None:
    assert begin(drop, name=offered).name == kept


@pytest.mark.parametrize("offered", ["", "  ", "/", "\x00", ".."])
def test_a_file_without_a_name_is_refused(drop: Drop, offered: str) -> None:
    with pytest.raises(DomainError, match="This file has no name"):
        begin(drop, name=offered)


def test_a_closed_drop_takes_nothing_more_and_can_be_opened_again(drop: Drop, amaro: User) -> None:
    closed = actions.close_drop(actor=amaro, drop_id=drop.pk, read_version=drop.row_version)
    with pytest.raises(IllegalStep, match=r"is closed, so A\.tif was not taken in"):
        begin(drop)
    actions.reopen_drop(actor=amaro, drop_id=drop.pk, read_version=closed.row_version)
    assert begin(drop).state == ArrivalState.ARRIVING


def test_a_drop_with_files_under_way_is_not_closed(drop: Drop, amaro: User) -> None:
    arrival = begin(drop)
    with pytest.raises(IllegalStep, match="1 of its files have no answer yet"):
        actions.close_drop(actor=amaro, drop_id=drop.pk, read_version=drop.row_version)
    actions.give_up_arrival(actor=amaro, token=arrival.token)
    actions.close_drop(actor=amaro, drop_id=drop.pk, read_version=drop.row_version)


def test_a_file_given_up_leaves_no_bytes_and_takes_none(
    drop: Drop, amaro: User, django_capture_on_commit_callbacks: Any
) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:THIRD])
    with django_capture_on_commit_callbacks(execute=True):
        actions.give_up_arrival(actor=amaro, token=arrival.token)
        actions.give_up_arrival(actor=amaro, token=arrival.token)
    assert not quarantine.part_path(arrival.token).exists()
    with pytest.raises(WrongOffsetError):
        append(arrival, DATA[THIRD:], THIRD)


@pytest.mark.parametrize("role", ["curator", "conservator", "head", "keeper"])
def test_only_the_studio_brings_files(drop: Drop, role: str) -> None:
    other = factory.person("Other", role)
    arrival = begin(drop)
    for act in (
        lambda: actions.open_drop(actor=other),
        lambda: actions.begin_arrival(actor=other, drop_id=drop.pk, name="B", size_bytes=1),
        lambda: actions.append_bytes(actor=other, token=arrival.token, offset=0, chunks=[b"x"]),
        lambda: actions.give_up_arrival(actor=other, token=arrival.token),
    ):
        with pytest.raises(NotAllowed, match="Bringing files is for the photographer or imaging"):
            act()


def test_drops_are_numbered_within_their_year(amaro: User) -> None:
    numbers = [open_drop(amaro).number for _ in range(3)]
    assert [number[-5:] for number in numbers] == ["00001", "00002", "00003"]


def test_a_drop_for_a_line_is_a_drop_for_its_session(amaro: User) -> None:
    session = factory.session(by=amaro)
    line = factory.shot_line(session, factory.museum_object())
    assert open_drop(amaro, line=line).session == session
    other = factory.session(by=amaro, starts_at=factory.NOW + factory.hours(30))
    with pytest.raises(DomainError, match="does not belong to this session"):
        actions.open_drop(actor=amaro, session_id=other.pk, shot_line_id=line.pk)


def test_a_drop_is_for_something_that_is_there_and_took_place(amaro: User) -> None:
    cancelled = factory.session(by=amaro, state="cancelled")
    line = factory.shot_line(cancelled, factory.museum_object())
    for asked, words in (
        ({"session_id": cancelled.pk}, "was cancelled, so nothing was shot in it"),
        ({"shot_line_id": line.pk}, "was cancelled, so nothing was shot in it"),
        ({"session_id": 98_765}, "There is no session with this number"),
        ({"shot_line_id": 98_765}, "There is no shot line with this number"),
    ):
        with pytest.raises(DomainError, match=words):
            actions.open_drop(actor=amaro, **asked)
    assert not Drop.objects.exists()


def test_a_part_is_nobody_elses_to_read(drop: Drop) -> None:
    arrival = begin(drop)
    append(arrival, DATA[:10])
    mode = Path(quarantine.part_path(arrival.token)).stat().st_mode
    assert stat.S_IMODE(mode) == 0o600


def test_bringing_the_same_drop_again_stores_nothing_twice(drop: Drop, amaro: User) -> None:
    files = {f"F{n}.tif": tiff(n, at=factory.NOW) for n in range(3)}
    for name, data in files.items():
        bring(drop, name, data)
    settle()
    again = open_drop(amaro)
    for name, data in files.items():
        bring(again, name, data)
    settle()
    assert {a.state for a in again.arrivals.all()} == {ArrivalState.ALREADY_HERE}
    assert {a.frame_id for a in again.arrivals.all()} == {a.frame_id for a in drop.arrivals.all()}
