"""The commands of the intake do what the pages do, and answer for people and for programs."""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake.management.commands import intake as command
from imaging_requests.intake.models import Drop, Frame, FrameState, Job
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import bracket, bring, open_drop, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


@pytest.fixture
def raking(session: Session) -> ShotLine:
    return factory.shot_line(session, factory.museum_object("AR 0070"), "RK", "F", "L")


@pytest.fixture
def folder(tmp_path: Path, session: Session) -> Path:
    card = tmp_path / "card" / "DCIM"
    card.mkdir(parents=True)
    for name, data in bracket(session, (-1, 0, 1)):
        (card / name).write_bytes(data)
    (card / ".DS_Store").write_bytes(b"left by another program")
    return card.parent


def run(*arguments: Any, **options: Any) -> str:
    out = StringIO()
    call_command("intake", *[str(each) for each in arguments], stdout=out, stderr=out, **options)
    return out.getvalue()


def test_a_folder_becomes_a_drop_with_an_answer_for_each_file(
    folder: Path, raking: ShotLine
) -> None:
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    said = run(folder, "--line", raking.pk)
    assert "F0100.tif: Received and proven in two places. Placed" in said
    assert "AR 0070 front, raking light from the left: 3 of 3, complete" in said
    assert "You may format the card: all 3 files" in said
    assert Frame.objects.filter(state=FrameState.PLACED).count() == 3
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before


def test_the_answer_for_programs_names_every_file_and_gap(
    folder: Path, raking: ShotLine, session: Session
) -> None:
    (folder / "DCIM" / "F0101.tif").unlink()
    (folder / "DCIM" / "notes.tif").write_bytes(b"no picture, only words, only words")
    answer = json.loads(run(folder, "--session", session.pk, "--json"))
    names = [file["name"] for file in answer["files"]]
    assert names == [".DS_Store", "F0100.tif", "F0102.tif", "notes.tif"]
    states = [file["state"] for file in answer["files"]]
    assert states == ["given_up", "checked", "checked", "refused"]
    assert [file["ev"] for file in answer["files"][1:3]] == [-1.0, 1.0]
    assert answer["lines"][0]["missing"] == "exposure 0 is missing; have −1 and +1"
    assert answer["card_may_be_formatted"] is False


def test_the_same_folder_again_is_already_here(folder: Path, raking: ShotLine) -> None:
    run(folder, "--line", raking.pk)
    answer = json.loads(run(folder, "--line", raking.pk, "--json"))
    assert {file["state"] for file in answer["files"][1:]} == {"already_here"}
    assert answer["card_may_be_formatted"] is True


def test_without_waiting_the_work_is_left_to_the_workers(folder: Path, raking: ShotLine) -> None:
    said = run(folder, "--line", raking.pk, "--no-wait")
    assert "Do not format the card yet: 3 files still on the way" in said
    assert Job.objects.filter(kind="receive", state="due").count() == 3
    call_command("work", "--until-empty", verbosity=0)
    assert Frame.objects.filter(state=FrameState.PLACED).count() == 3


def test_a_watched_folder_gives_its_new_files_to_the_same_drop(
    folder: Path, raking: ShotLine, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pause between two looks brings another file, the second one Ctrl-C."""
    monkeypatch.setattr(command, "STILL_S", -1.0)
    looks = 0

    def pause(seconds: float) -> None:
        nonlocal looks
        looks += 1
        if looks > 1:
            raise KeyboardInterrupt
        late = tiff(77, at=session.starts_at + timedelta(minutes=40))
        (folder / "late.tif").write_bytes(late)

    monkeypatch.setattr(command.time, "sleep", pause)
    answer = json.loads(run(folder, "--session", session.pk, "--watch", "--json"))
    assert [file["name"] for file in answer["files"]][-1] == "late.tif"
    assert len(answer["files"]) == 5
    assert Drop.objects.count() == 1


def test_a_file_that_is_still_being_written_is_left_until_it_rests(
    folder: Path, raking: ShotLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(command.time, "sleep", stop)
    answer = json.loads(run(folder, "--line", raking.pk, "--watch", "--json"))
    assert [file["state"] for file in answer["files"]] == ["given_up", *["refused"] * 3]
    assert "had come to rest" in answer["files"][1]["answer"]
    assert answer["card_may_be_formatted"] is False


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "Say who brings the files with --as, or name --session or --line"),
        (("--as", "nobody@ardenmoor.example"), "Nobody has the address nobody@"),
        (("--as", "oda@ardenmoor.example"), "Bringing files is for the photographer"),
        (("--as", "amaro@ardenmoor.example", "--line", "98765"), "There is no shot line"),
        (("--as", "amaro@ardenmoor.example", "--session", "98765"), "There is no session"),
    ],
)
def test_what_cannot_be_done_is_said(
    folder: Path, amaro: User, arguments: tuple[str, ...], words: str
) -> None:
    factory.curator()
    with pytest.raises(CommandError, match=words):
        run(folder, *arguments)
    assert not Drop.objects.exists()


def test_a_folder_that_is_none_is_refused(tmp_path: Path, raking: ShotLine) -> None:
    with pytest.raises(CommandError, match="is no folder that can be read"):
        run(tmp_path / "nothing", "--line", raking.pk)


def test_a_file_that_cannot_be_read_does_not_hold_up_the_others(
    folder: Path, raking: ShotLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = command._pieces

    def failing(path: Path) -> Any:
        if path.name == "F0101.tif":
            yield b"II*\0"
            raise OSError(5, "Input/output error")
        yield from whole(path)

    monkeypatch.setattr(command, "_pieces", failing)
    answer = json.loads(run(folder, "--line", raking.pk, "--json"))
    needed = [each for each in answer["not_taken"] if each.pop("is_needed")]
    assert needed == [
        {"name": "F0101.tif", "answer": "Could be read only up to byte 4. Look at the card."}
    ]
    states = [file["state"] for file in answer["files"][1:]]
    assert states == ["checked", "refused", "checked"]
    assert answer["card_may_be_formatted"] is False


def test_work_keeps_to_its_queues(amaro: User) -> None:
    bring(open_drop(amaro), "A.tif", tiff(1, at=factory.NOW))
    out = StringIO()
    call_command("work", "--until-empty", "--queue", "ingest", stdout=out)
    assert out.getvalue() == "1 job done; nothing is left.\n"
    assert Job.objects.get(kind="derive").state == "due"
