"""A folder that is taken in: everything in it has its answer, and the card waits for what has none.

Names of files and of links are bytes here as on a card; the expectation of PEP 383 and of the
numbers of RFC 1740 stands beside each.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import call_command

from imaging_requests.campaigns.models import Session
from imaging_requests.intake import folders, queries
from imaging_requests.intake.management.commands import intake as command
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.intake.pages_receipt import receipt_of
from imaging_requests.intake.rules import may_format
from tests import factory
from tests.intake_scene import tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def session() -> Session:
    return factory.session(by=factory.photographer())


@pytest.fixture
def card(tmp_path: Path) -> Path:
    folder = tmp_path / "card"
    folder.mkdir()
    (folder / "IMG_0001.tif").write_bytes(tiff(1, at=factory.NOW))
    return folder


def taken_in(folder: Path, session: Session, *more: str) -> dict[str, Any]:
    out = StringIO()
    call_command("intake", str(folder), "--session", str(session.pk), "--json", *more, stdout=out)
    answer: dict[str, Any] = json.loads(out.getvalue())
    return answer


def answers(answer: dict[str, Any]) -> dict[str, tuple[str, str]]:
    return {file["name"]: (file["state"], file["answer"]) for file in answer["files"]}


def test_a_hidden_picture_is_taken_like_any_other(card: Path, session: Session) -> None:
    (card / ".IMG_0099.tif").write_bytes(tiff(2, at=factory.NOW))
    answer = taken_in(card, session)
    assert answers(answer)[".IMG_0099.tif"][0] == "checked"
    assert answer["card_may_be_formatted"] is True


@pytest.mark.parametrize(
    ("make", "name", "words"),
    [
        pytest.param(
            lambda card: (card / "more").symlink_to(card.parent, target_is_directory=True),
            "more",
            "is a link to a folder",
            id="folder reached by a link",
        ),
        pytest.param(
            lambda card: (card / "gone.tif").symlink_to(card / "nothing.tif"),
            "gone.tif",
            "leads nowhere",
            id="dead link",
        ),
        pytest.param(
            lambda card: os.mkfifo(card / "pipe.tif"), "pipe.tif", "neither a file", id="pipe"
        ),
        pytest.param(
            lambda card: (card / ".notes").write_bytes(b"words"), ".notes", "", id="hidden words"
        ),
    ],
)
def test_what_cannot_be_taken_is_named_and_holds_the_card_up(
    card: Path, session: Session, make: Any, name: str, words: str
) -> None:
    make(card)
    answer = taken_in(card, session)
    state, why = answers(answer)[name]
    assert state == "refused"
    assert words in why
    assert answer["card_may_be_formatted"] is False
    receipt = receipt_of(Drop.objects.get())
    assert [row.name for row in receipt.not_kept] == [name]
    assert "1 file refused" in receipt.card.sentence


def test_a_folder_that_cannot_be_opened_is_named(
    card: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    (card / "DCIM").mkdir()
    whole = os.scandir

    def closed(path: Any) -> Any:
        if Path(path).name == "DCIM":
            raise PermissionError(13, "Permission denied")
        return whole(path)

    # Only for the reader of the folder: the jobs that follow look into folders of their own.
    only_here = SimpleNamespace(**vars(os) | {"scandir": closed})
    monkeypatch.setattr(folders, "os", only_here)
    answer = taken_in(card, session)
    assert answers(answer)["DCIM"] == (
        "refused",
        "The folder cannot be opened (Permission denied), so nothing in it was taken.",
    )
    assert answer["card_may_be_formatted"] is False


def test_what_a_computer_left_is_named_and_does_not_hold_the_card_up(
    card: Path, session: Session
) -> None:
    (card / ".Trashes").mkdir()
    # RFC 1740, appendix A: the header file of a pair begins with 0x00051607
    (card / "._IMG_0001.tif").write_bytes(bytes.fromhex("0005160700020000") + b"\0" * 40)
    (card / "._IMG_0002.tif").write_bytes(tiff(3, at=factory.NOW))
    answer = taken_in(card, session)
    told = answers(answer)
    assert told[".Trashes"][0] == told["._IMG_0001.tif"][0] == "given_up"
    assert told["._IMG_0002.tif"][0] == "checked", "its first bytes say that it is a picture"
    assert answer["card_may_be_formatted"] is True
    left = {row.name for row in receipt_of(Drop.objects.get()).not_kept}
    assert left == {".Trashes", "._IMG_0001.tif"}


def test_a_name_that_is_no_text_is_kept_with_its_bytes_written_out(
    card: Path, session: Session
) -> None:
    (Path(os.fsdecode(os.fsencode(card) + b"/caf\xe9.tif"))).write_bytes(tiff(4, at=factory.NOW))
    (card / "z.tif").write_bytes(tiff(5, at=factory.NOW))
    told = answers(taken_in(card, session))
    assert told["caf[0xE9].tif"][0] == told["z.tif"][0] == "checked"


@pytest.mark.parametrize("change", ["grows", "shrinks"])
def test_a_file_that_changes_while_it_is_read_has_its_answer_and_the_rest_is_taken(
    card: Path, session: Session, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    (card / "z.tif").write_bytes(tiff(6, at=factory.NOW))
    whole = command._pieces

    def changing(path: Path) -> Iterator[bytes]:
        if path.name != "IMG_0001.tif":
            yield from whole(path)
            return
        yield from whole(path) if change == "grows" else [b"II*\0"]
        if change == "grows":
            yield b"more and more"

    monkeypatch.setattr(command, "_pieces", changing)
    answer = taken_in(card, session)
    told = answers(answer)
    assert told["IMG_0001.tif"][0] == "refused"
    words = "still being written to" if change == "grows" else "only up to byte 4"
    assert words in told["IMG_0001.tif"][1]
    assert told["z.tif"][0] == "checked"
    assert answer["card_may_be_formatted"] is False
    assert not Arrival.objects.filter(state=ArrivalState.ARRIVING).exists()


def test_a_watched_file_from_the_future_is_taken_once_it_rests_by_our_own_clock(
    card: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    ahead = time.time() + 86_400
    os.utime(card / "IMG_0001.tif", (ahead, ahead))
    monkeypatch.setattr(command, "STILL_S", 0.0)
    looks: list[float] = []

    def pause(seconds: float) -> None:
        looks.append(seconds)
        if len(looks) > 1:
            raise KeyboardInterrupt

    monkeypatch.setattr(command.time, "sleep", pause)
    told = answers(taken_in(card, session, "--watch"))
    assert told == {"IMG_0001.tif": ("checked", "Received and proven in two places.")}


def test_one_file_is_spoken_of_as_one(card: Path, session: Session) -> None:
    taken_in(card, session)
    said = may_format(queries.count_of(Drop.objects.get().pk)).sentence
    assert said.startswith(
        "You may format the card: the one file of this drop is proven in two places and opens"
    )
