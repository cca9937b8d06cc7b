"""A whole drop with every kind of exception: each file gets its place or the right reason.

A small sample of the drop of `tests/drop_fixture.py`; `python -m tests.benchmarks.drop` brings all
2,000 files through the processes of the desk size.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from imaging_requests.intake.models import Arrival, Drop
from imaging_requests.people.models import User
from tests import drop_fixture, factory
from tests.intake_scene import bring, open_drop, settle

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
    pytest.mark.slow,
]
FILES = 70
REASONS = {
    "clock": "outside the session",
    "untagged": "No colour profile is embedded",
    "shallow": "Upgraded from 8 bit",
    "truncated": "The file is cut short",
}


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


def carry_in(card: Path, session_pk: int, drop: Drop) -> None:
    folder = card / f"session-{session_pk}"
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        bring(drop, path.name, path.read_bytes())
    settle()


def test_every_file_of_a_drop_is_placed_or_explained_and_the_second_time_known(
    amaro: User, tmp_path: Path
) -> None:
    sessions = drop_fixture.lay_out_sessions(FILES, sessions=1, by=amaro)
    card = tmp_path / "card"
    truths = drop_fixture.write_drop(card, sessions, FILES)
    assert len(truths) == FILES
    drop = open_drop(amaro, session=sessions[0])
    carry_in(card, sessions[0].pk, drop)
    found = drop_fixture.outcomes(card, drops={sessions[0].pk: drop.pk})
    table = drop_fixture.summary(found)
    assert not any("placed wrongly" in row for row in table.values()), table
    assert table["duplicate"] == {"already here": 2}
    assert table["truncated"] == {"refused": 1}
    for kind, words in REASONS.items():
        reasons = [each.reason for each in found if each.truth.kind == kind]
        assert reasons
        assert all(words in reason for reason in reasons), (kind, reasons)
    assert table["good"].get("placed", 0) >= len(truths) - 12, table

    again = open_drop(amaro, session=sessions[0])
    carry_in(card, sessions[0].pk, again)
    answers = Arrival.objects.filter(drop=again).values_list("answer", flat=True)
    assert len(answers) == FILES
    strange = [each for each in answers if not each.startswith("Already here: exactly these bytes")]
    assert strange == []
