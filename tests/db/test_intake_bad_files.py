"""Every bad file gets its own clear sentence, and the rest of the drop is kept."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import cv2
import numpy as np
import pytest

from imaging_requests.imaging.likeness.pattern import pattern_of, pattern_text
from imaging_requests.intake import actions, jobs, quarantine, queries
from imaging_requests.intake.models import (
    Arrival,
    ArrivalState,
    Copy,
    Drop,
    FileCheck,
    Frame,
    FrameLook,
    FrameState,
    Job,
)
from imaging_requests.intake.rules import may_format
from imaging_requests.people.errors import IllegalStep, NotAllowed
from imaging_requests.people.models import AuditEvent, User
from tests import factory
from tests.intake_scene import ZONE, bracket, bring, frame_of, open_drop, pixels, settle, tiff

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]
GOOD = tiff(1, at=factory.NOW)
NOON = factory.IN_AN_HOUR + factory.hours(0.5)


def png_of(width: int, height: int, *, rows: int | None = None) -> bytes:
    """A black PNG that unfolds to width × height × 3 bytes, or whose header says so."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    packer = zlib.compressobj(9)
    row = b"\0" * (1 + 3 * width)
    kept = height if rows is None else rows
    data = b"".join(packer.compress(row) for _ in range(kept)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def broken_inside(taken: datetime = NOON) -> bytes:
    """A whole file with a good header whose packed pixels are damaged."""
    from imaging_requests.imaging.synthesis.writer import CameraNotes, tiff_bytes

    parts = tiff_bytes(
        pixels(3),
        px_per_mm=6,
        notes=CameraNotes(taken_at=taken.astimezone(ZONE), exposure_s=1),
        compression="deflate",
    )
    strip = bytearray(bytes(parts[1]))
    strip[200:400] = bytes(200)
    return b"".join([bytes(parts[0]), bytes(strip), *(bytes(part) for part in parts[2:])])


REFUSED: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "a truncated TIFF": ("F1.tif", lambda: GOOD[: len(GOOD) // 2], "The file is cut short"),
    "a TIFF without its last strip": (
        "F1.tif",
        lambda: GOOD[:200],
        "Copy it again from the card before the card is formatted",
    ),
    "a text named .tif": (
        "notes.tif",
        lambda: b"Dear colleague, the pictures follow. " * 20,
        "notes.tif is a text file although its name ends in .tif",
    ),
    "zero bytes": ("empty.tif", lambda: b"", "empty.tif is empty"),
    "a decompression bomb": ("bomb.png", lambda: png_of(10_000, 10_000), "It was not opened"),
    "too many pixels": (
        "huge.png",
        lambda: png_of(100_000, 100_000, rows=1),
        "deliver it in parts",
    ),
    "a film": ("clip.tif", lambda: b"\0\0\0\x20ftypmp42" + bytes(200), "a film although its name"),
    "garbage": ("x.tif", lambda: bytes(range(256)) * 9, "does not begin like any picture"),
}


@pytest.fixture
def drop() -> Drop:
    return open_drop(factory.photographer())


@pytest.mark.parametrize("case", REFUSED)
def test_a_file_that_gives_no_picture_is_refused_with_its_reason(
    drop: Drop, case: str, django_capture_on_commit_callbacks: Any
) -> None:
    name, make, words = REFUSED[case]
    data = make()
    with django_capture_on_commit_callbacks(execute=True):
        bad = bring(drop, name, data)
        good = bring(drop, "good.tif", GOOD)
        settle()
    bad.refresh_from_db()
    assert bad.state == ArrivalState.REFUSED
    assert words in bad.answer
    assert ".part" not in bad.answer, "the name in quarantine is nobody's business"
    assert bad.frame is None
    assert frame_of(good).copies.filter(is_good=True).count() == 2
    assert bad.refused_kept == bool(data)
    if data:
        assert quarantine.refused_path(bad.token).read_bytes() == data
    assert not quarantine.part_path(bad.token).exists()
    answer = may_format(queries.count_of(drop.pk))
    assert not answer.is_safe
    assert "1 file refused" in answer.sentence


def test_a_file_that_breaks_inside_is_kept_and_said_not_to_be_whole(drop: Drop) -> None:
    arrival = bring(drop, "F1.tif", broken_inside())
    settle()
    frame = frame_of(arrival)
    whole = frame.checks.get(rule="G1")
    assert whole.verdict == FileCheck.Verdict.FAIL
    assert "part of the picture cannot be decoded" in whole.sentence
    assert frame.state == FrameState.WAITING
    assert whole.sentence in frame.waiting_because
    assert not frame.derivatives.exists()
    answer = may_format(queries.count_of(drop.pk))
    assert not answer.is_safe
    assert "1 file found not to be whole" in answer.sentence
    actions.set_aside(actor=drop.brought_by, frame_id=frame.pk, read_version=frame.row_version)
    answer = may_format(queries.count_of(drop.pk))
    assert not answer.is_safe, "a person who sets it aside does not make the card's file whole"
    assert "1 file found not to be whole" in answer.sentence


@pytest.mark.parametrize("is_whole", [True, False])
def test_a_spare_that_breaks_inside_frees_the_card_once_it_was_copied_again(
    drop: Drop, is_whole: bool
) -> None:
    frame = frame_of(_brought(drop, "F1.tif", broken_inside()))
    actions.set_aside(actor=drop.brought_by, frame_id=frame.pk, read_version=frame.row_version)
    _brought(drop, "F1.tif", tiff(3, at=factory.NOW) if is_whole else broken_inside())
    answer = may_format(queries.count_of(drop.pk))
    assert answer.is_safe
    assert "open completely" not in answer.sentence.partition(". ")[0]
    assert "1 file does not open completely, was copied again" in answer.sentence


def _brought(drop: Drop, name: str, data: bytes) -> Arrival:
    arrival = bring(drop, name, data)
    settle()
    return arrival


@pytest.fixture
def line_drop(drop: Drop) -> Drop:
    session = factory.session(by=drop.brought_by)
    line = factory.shot_line(session, factory.museum_object("AR 0070"), "VF")
    return open_drop(drop.brought_by, line=line)


def shot(drop: Drop, **more: Any) -> bytes:
    assert drop.session is not None
    return tiff(5, at=drop.session.starts_at + factory.hours(0.5), **more)


@pytest.mark.parametrize(
    ("more", "rule", "words"),
    [
        pytest.param(
            {"picture": (pixels(5) // 257 * 257).astype(np.uint16)},
            "G3",
            "Upgraded from 8 bit",
            id="8 bits in a 16-bit container",
        ),
        pytest.param(
            {"has_profile": False}, "G4", "No colour profile is embedded", id="no profile"
        ),
    ],
)
def test_a_fault_that_a_person_must_see_holds_a_frame_back(
    line_drop: Drop, more: dict[str, Any], rule: str, words: str
) -> None:
    arrival = bring(line_drop, "F1.tif", shot(line_drop, **more))
    settle()
    frame = frame_of(arrival)
    assert frame.checks.get(rule=rule).verdict == FileCheck.Verdict.FAIL
    assert frame.state == FrameState.WAITING
    assert words in frame.waiting_because
    assert frame.proposal[0]["line"] == line_drop.shot_line_id
    assert frame.derivatives.filter(kind="256").exists(), "a person wants to see it"


def test_the_same_shot_without_fault_is_placed(line_drop: Drop) -> None:
    arrival = bring(line_drop, "F1.tif", shot(line_drop))
    settle()
    assert frame_of(arrival).state == FrameState.PLACED


def painted(seed: int) -> Any:
    """Paint a face: 16 bits, 192 x 256, grey blots of three sizes."""
    rng = np.random.default_rng(seed)
    made = np.zeros((192, 256), np.float32)
    for cells, weight in ((4, 1.0), (9, 0.7), (25, 0.5)):
        small = rng.normal(0, 1, (cells, cells)).astype(np.float32)
        made += weight * cv2.resize(small, (256, 192), interpolation=cv2.INTER_CUBIC)
    return np.clip(32000 + 9000 * made / made.std(), 0, 65535)


def glowing(seed: int, ev: float) -> Any:
    """The same face in other light: its tones are others, its edges lie where they lay."""
    tones = np.abs(painted(seed) - 26000) * 2.0**ev
    grain = np.random.default_rng(seed + 7).normal(0, 150, (*tones.shape, 3))
    return np.clip(tones[:, :, None] + grain, 0, 65535).astype(np.uint16)


@pytest.mark.parametrize(
    ("seed", "state"), [(70, FrameState.PLACED), (52, FrameState.WAITING), (11, FrameState.PLACED)]
)
def test_another_objects_ultraviolet_bracket_waits_even_on_a_line_that_was_named(
    drop: Drop, seed: int, state: str
) -> None:
    """What fits no known object is placed; its review says that it could not be told."""
    session = factory.session(by=drop.brought_by)
    objects = {number: factory.museum_object(f"AR 00{number}") for number in (70, 52)}
    for number, thing in objects.items():
        factory.shot_line(session, thing, "VF")
        cover = factory.frame()
        pattern = pattern_text(pattern_of((painted(number) / 257).astype(np.uint8)))
        FrameLook.objects.create(frame=cover, pattern=pattern)
        factory.deliverable(thing, "VF", frames=[cover])
    line = factory.shot_line(session, objects[70], "UV")
    named = open_drop(drop.brought_by, line=line)
    start = session.starts_at + factory.hours(0.5)
    arrivals = [
        bring(
            named,
            f"{ev}.tif",
            tiff(
                abs(ev) + 1,
                at=start + factory.hours(place / 100),
                exposure_s=2.0**ev,
                picture=glowing(seed, ev / 2),
            ),
        )
        for place, ev in enumerate((-1, 0, 1, 2))
    ]
    settle()
    frames = [frame_of(each) for each in arrivals]
    assert [frame.state for frame in frames] == [state] * 4
    for frame in frames:
        is_named = "It looks like AR 0052, not like AR 0070" in frame.waiting_because
        assert is_named == (state == FrameState.WAITING)


def test_the_same_file_under_two_names_is_stored_once_with_both(drop: Drop) -> None:
    first = bring(drop, "A.tif", GOOD)
    second = bring(drop, "B.tif", GOOD)
    settle()
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, second.state) == (ArrivalState.CHECKED, ArrivalState.ALREADY_HERE)
    assert first.frame_id == second.frame_id
    assert "Already here: exactly these bytes came as A.tif" in second.answer
    assert "with both names" in second.answer
    assert Frame.objects.count() == 1
    assert Copy.objects.count() == 2
    assert {a.name for a in frame_of(first).arrivals.all()} == {"A.tif", "B.tif"}
    assert may_format(queries.count_of(drop.pk)).is_safe


def test_the_copy_that_was_asked_for_takes_the_place_of_the_broken_one(line_drop: Drop) -> None:
    """The broken file said: copy it again from the card. The same name and time come again."""
    broken = bring(line_drop, "F1.tif", broken_inside(NOON))
    settle()
    assert frame_of(broken).state == FrameState.WAITING
    assert frame_of(broken).waiting_reason == "fault"
    again = bring(line_drop, "F1.tif", tiff(3, at=NOON))
    settle()
    assert frame_of(again).state == FrameState.PLACED
    assert frame_of(broken).state == FrameState.WAITING


def test_a_sentence_of_the_background_work_tells_the_time_of_the_studio(drop: Drop) -> None:
    """The clock of the studio is an hour ahead of UTC in summer."""
    at = datetime(2026, 7, 20, 8, 50, tzinfo=UTC)
    first = bring(drop, "A.tif", GOOD)
    assert jobs.run(Job.objects.get(subject_id=first.pk).pk, as_of=at) is jobs.Outcome.DONE
    second = bring(drop, "B.tif", GOOD)
    settle()
    second.refresh_from_db()
    assert "came as A.tif on 20 Jul 2026, 09:50" in second.answer


def test_two_files_of_one_name_with_different_bytes_are_both_stored(drop: Drop) -> None:
    first = bring(drop, "F0001.tif", tiff(1, at=factory.NOW))
    settle()
    second = bring(drop, "F0001.tif", tiff(2, at=factory.NOW))
    settle()
    assert frame_of(first).pk != frame_of(second).pk
    assert "Another file named F0001.tif with other bytes came" in second.answer
    assert "both are kept" in second.answer


def test_every_kind_of_bad_file_in_one_drop_gets_its_answer(line_drop: Drop) -> None:
    """The good files of the drop are kept and placed as if the bad ones had not come."""
    assert line_drop.session is not None
    session = line_drop.session
    uv = factory.shot_line(session, factory.museum_object("AR 0011"), "UV")
    drop = open_drop(line_drop.brought_by, line=uv)
    good = dict(bracket(session, (-1, 0, 1, 2)))
    first = next(iter(good))
    earlier = session.starts_at - factory.hours(30)
    held = {
        "eight.tif": tiff(21, at=earlier, picture=(pixels(21) // 257 * 257).astype(np.uint16)),
        "bare.tif": tiff(22, at=earlier, has_profile=False),
        "broken.tif": broken_inside(),
        first: tiff(23, at=earlier),
    }
    refused = {
        f"{number}-{name}": make() for number, (name, make, _) in enumerate(REFUSED.values())
    }
    for name, data in [*good.items(), *refused.items(), ("again.tif", good[first]), *held.items()]:
        bring(drop, name, data)
    settle()
    states = list(drop.arrivals.values_list("state", flat=True))
    assert states.count(ArrivalState.CHECKED) == len(good) + len(held)
    assert states.count(ArrivalState.REFUSED) == len(REFUSED)
    assert states.count(ArrivalState.ALREADY_HERE) == 1
    assert Frame.objects.filter(shot_line=uv, state=FrameState.PLACED).count() == len(good)
    reasons = dict(
        Frame.objects.filter(state=FrameState.WAITING).values_list("first_name", "waiting_because")
    )
    for name, words in (
        ("eight.tif", "Upgraded from 8 bit"),
        ("bare.tif", "No colour profile is embedded"),
        ("broken.tif", "cannot be decoded"),
        (first, "outside the session"),
    ):
        assert words in reasons[name]
    other = drop.arrivals.get(name=first, frame__state=FrameState.WAITING)
    assert f"Another file named {first} with other bytes came" in other.answer


# What becomes of refused bytes


@pytest.fixture
def refused(drop: Drop, django_capture_on_commit_callbacks: Any) -> Arrival:
    with django_capture_on_commit_callbacks(execute=True):
        arrival = bring(drop, "notes.tif", b"words, words, words, and no picture")
        settle()
    arrival.refresh_from_db()
    return arrival


def test_the_keeper_removes_refused_bytes_and_the_reason_stays(
    refused: Arrival, django_capture_on_commit_callbacks: Any
) -> None:
    keeper = factory.person("Hale", "keeper")
    with pytest.raises(NotAllowed, match="Removing refused files is for the system keeper"):
        actions.clear_refused(actor=refused.drop.brought_by, arrival_id=refused.pk)
    with django_capture_on_commit_callbacks(execute=True):
        actions.clear_refused(actor=keeper, arrival_id=refused.pk)
    assert not quarantine.refused_path(refused.token).exists()
    refused.refresh_from_db()
    assert "is a text file" in refused.answer
    assert AuditEvent.objects.filter(code="intake.refused_cleared", actor=keeper).exists()
    with pytest.raises(IllegalStep, match="No bytes of notes"):
        actions.clear_refused(actor=keeper, arrival_id=refused.pk)


def test_a_refused_file_that_nobody_needs_stops_counting(refused: Arrival) -> None:
    amaro: User = refused.drop.brought_by
    bring(refused.drop, "A.tif", GOOD)
    settle()
    assert not may_format(queries.count_of(refused.drop_id)).is_safe
    actions.give_up_arrival(actor=amaro, token=refused.token)
    assert may_format(queries.count_of(refused.drop_id)).is_safe
    assert quarantine.refused_path(refused.token).exists(), "its bytes stay until removed"


def test_an_answered_file_cannot_be_given_up(drop: Drop) -> None:
    arrival = bring(drop, "A.tif", GOOD)
    settle()
    with pytest.raises(IllegalStep, match="has had its answer already: checked"):
        actions.give_up_arrival(actor=drop.brought_by, token=arrival.token)
