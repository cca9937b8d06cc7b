"""The small demo, built as a visitor builds it: real files, real intake, statuses derived."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.demo_scene import CHECKOUT, Built, build, run

ONE_GIGABYTE = 10**9
#: The exposures of the one raking view that was shot without a session.
LOOSE = (-1, 0, 1)
pytestmark = [
    pytest.mark.slow,
    pytest.mark.xdist_group("demo small"),
    pytest.mark.skipif(
        bool(os.environ.get("DATABASE_URL")), reason="the demo is proven at desk size"
    ),
]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return build(tmp_path_factory.mktemp("demo"))


def test_it_is_the_museum_that_the_story_tells(built: Built) -> None:
    assert "0 differences to the story." in built.printed
    present = dict(
        built.rows(
            "SELECT s.status, count(*) FROM progress_viewstatus s "
            "JOIN requesting_owedview v ON v.id = s.owed_view_id "
            "WHERE v.ended_at IS NULL AND v.anchor = 'CUR' AND EXISTS (SELECT 1 FROM "
            "requesting_demand d WHERE d.owed_view_id = v.id AND d.source = 'protocol' "
            "AND d.until IS NULL) GROUP BY s.status"
        )
    )
    assert present == {
        "filed": 85,
        "open": 23,
        "out_of_date": 3,
        "to_review": 3,
        "undecided": 2,
        "sent_back": 2,
        "planned": 1,
    }
    assert built.rows("SELECT grade, count(*) FROM progress_entrystatus GROUP BY grade") == [
        ("full", 4),
        ("in_progress", 6),
        ("not_started", 2),
    ]


def test_treatments_owe_what_the_story_says(built: Built) -> None:
    counted = built.rows(
        "SELECT t.code, sum(s.is_met), sum(s.status = 'lost'), count(*) "
        "FROM progress_viewstatus s JOIN requesting_owedview v ON v.id = s.owed_view_id "
        "JOIN treatments_treatment t ON t.id = v.treatment_id "
        "WHERE v.ended_at IS NULL GROUP BY t.code ORDER BY t.code"
    )
    assert counted == [("T1", 13, 0, 13), ("T2", 5, 0, 10), ("T4", 4, 0, 5), ("T7", 3, 3, 6)]


def test_every_file_came_in_whole_and_lies_in_two_proven_places(built: Built) -> None:
    frames = built.count("intake_frame")
    assert isinstance(frames, int)
    assert frames > 300
    assert built.count("intake_frame WHERE state = 'placed'") == frames - len(LOOSE)
    assert built.count("intake_copy WHERE is_good AND verified_at IS NOT NULL") == 2 * frames
    assert built.count("intake_job WHERE state <> 'done'") == 0
    assert built.rows(
        "SELECT DISTINCT d.state, d.technique FROM intake_filecheck c "
        "JOIN deliverables_deliverableframe p ON p.frame_id = c.frame_id "
        "JOIN deliverables_deliverable d ON d.id = p.deliverable_id WHERE c.verdict = 'fail'"
    ) == [("sent_back", "UV")], "what was shot without the barrier filter, and nothing else"
    assert built.count("intake_filecheck WHERE verdict = 'fail' AND rule = 'U1'") == 4
    assert built.rows("SELECT DISTINCT bits, profile <> '' FROM intake_frame") == [(16, 1)]


def test_loose_files_wait_for_a_person_and_nothing_is_guessed(built: Built) -> None:
    waiting = built.rows("SELECT first_name FROM intake_frame WHERE state = 'waiting'")
    assert len(waiting) == len(LOOSE)
    answers = dict(
        built.rows(
            "SELECT a.state, count(*) FROM intake_arrival a JOIN intake_drop d ON d.id = a.drop_id "
            "WHERE d.session_id IS NULL GROUP BY a.state"
        )
    )
    assert answers == {"checked": len(LOOSE), "already_here": 2, "refused": 1}


def test_nobody_reviewed_an_own_picture_and_every_event_has_its_time(built: Built) -> None:
    assert built.count("deliverables_review") > 90
    assert (
        built.count(
            "deliverables_review r JOIN deliverables_deliverable d ON d.id = r.deliverable_id "
            "WHERE r.by_id = d.photographer_id"
        )
        == 0
    )
    (codes,) = built.rows("SELECT count(DISTINCT code) FROM people_auditevent")[0]
    assert codes >= 25
    ordered = built.rows("SELECT recorded_at FROM people_auditevent ORDER BY id")
    assert ordered == sorted(ordered)


#: Asks in the demo's own settings how far Harbour Fire was, at an instant and as known then.
SLIDER = """
from datetime import date
from zoneinfo import ZoneInfo
from imaging_requests.collection.models import Catalogue, ObjectNumber
from imaging_requests.demo.calendar import Calendar
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.reckoning.truth.grade import grade_entry, read_object
from imaging_requests.reckoning.truth.moment import look
from django.utils import timezone
zone = ZoneInfo("Europe/London")
told = Calendar(written_for=date(2026, 4, 16), today=timezone.localdate(), zone=zone)
pk = ObjectNumber.objects.get(number="AR 0038").object_id
case, tables = gather_cases([pk])[pk], speech_for([pk]).tables
for at, known in (("2026-02-26", "2026-02-26"), ("2026-02-26", "2026-04-16")):
    moment = look(case, tables, t=told.at(f"{at} 12:00"), u=told.at(f"{known} 12:00"))
    reading = read_object(moment, catalogue=str(Catalogue.objects.get().pk))
    print("GRADE", grade_entry([reading]).grade)
"""


def test_a_treatment_entered_late_was_not_known_before_and_counts_from_its_day(
    built: Built,
) -> None:
    answer = run(built.folder, "shell", "-v", "0", "-c", SLIDER)
    assert answer.returncode == 0, answer.stderr
    grades = [line for line in answer.stdout.splitlines() if line.startswith("GRADE")]
    assert grades == ["GRADE full", "GRADE in_progress"]


def test_the_caches_equal_a_derivation_from_scratch(built: Built) -> None:
    answer = run(built.folder, "reckon", "--verify")
    assert answer.returncode == 0, answer.stdout + answer.stderr


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--size", "huge"), "There is no demo of size “huge”. Choose small"),
        (("--reduction", "0.5"), "Pictures can be 1 to 40 times smaller"),
        (("--objects", "300"), "is given for the large demo only"),
    ],
)
def test_what_cannot_be_built_is_refused_in_words(
    tmp_path: Path, arguments: tuple[str, ...], sentence: str
) -> None:
    answer = run(tmp_path, "demo", "--no-start", *arguments)
    assert answer.returncode != 0
    assert sentence in answer.stderr
    assert not (tmp_path / "demo.json").exists()
    assert not (tmp_path / "imaging.sqlite3").exists()


def test_a_large_demo_stands_without_pictures_and_is_replaced(tmp_path: Path) -> None:
    for _ in range(2):
        built = build(tmp_path, "--size", "large", "--objects", "60")
        assert built.count("collection_collectionobject") == 60
        assert built.count("intake_frame") == 0
        assert built.count("requesting_owedview") >= 60
    assert "The earlier demo is removed." in built.printed
    assert "http://127.0.0.1:8000/catalogues/" in built.printed


def test_it_is_small_and_leaves_no_painted_files_behind(built: Built) -> None:
    size = sum(path.stat().st_size for path in built.folder.rglob("*") if path.is_file())
    assert size < ONE_GIGABYTE
    assert not (built.folder / "demo-frames").exists()


def test_it_says_where_it_is_and_who_can_sign_in(built: Built) -> None:
    people = json.loads((CHECKOUT / "fixtures" / "demo" / "people.json").read_text())
    for person in people["people"]:
        assert person["email"] in built.printed
    assert people["password"] in built.printed
    assert built.printed.count("http://127.0.0.1:8000/entries/") == 2
    assert "http://127.0.0.1:8000/treatments/" in built.printed


def test_a_demo_with_somebodys_account_in_it_is_not_replaced(built: Built) -> None:
    with closing(sqlite3.connect(built.folder / "imaging.sqlite3")) as database, database:
        database.execute(
            "UPDATE people_user SET email = 'brann@ardenmoor.example' WHERE name = 'Hale'"
        )
    answer = run(built.folder, "demo", "--no-start")
    assert answer.returncode != 0
    assert "holds 1 account that no demo made" in answer.stderr
    assert built.count("people_user") == 12
