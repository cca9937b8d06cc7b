"""The whole story in its usual size: its numbers on the demo day, from the code of the pages."""

from __future__ import annotations

import json
import os

import pytest

from tests.demo_scene import Built, build, run

#: As it is built without a wish: plates three times smaller overlap too little to be joined.
REDUCTION = "12"
#: The numbers page asked in the demo's own settings, as of the afternoon of the demo day.
NUMBERS = """
import json
from datetime import date
from zoneinfo import ZoneInfo
from django.utils import timezone
from imaging_requests.collection.models import Catalogue
from imaging_requests.demo.calendar import Calendar
from imaging_requests.progress.metrics import metrics_of
from imaging_requests.progress.metrics_known import read_catalogue
zone = ZoneInfo("Europe/London")
told = Calendar(written_for=date(2026, 4, 16), today=timezone.localdate(), zone=zone)
known = read_catalogue(Catalogue.objects.get(), now=told.at("2026-04-16 17:00"))
print("NUMBERS", json.dumps({found.key: found.answer for found in metrics_of(known)}))
"""
pytestmark = [
    pytest.mark.slow,
    pytest.mark.xdist_group("demo full"),
    pytest.mark.skipif(
        not os.environ.get("IMAGING_LONG_TESTS"),
        reason="builds forty entries, ten minutes on two cores: set IMAGING_LONG_TESTS=yes",
    ),
]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    return build(tmp_path_factory.mktemp("full"), "--size", "full", "--reduction", REDUCTION)


def test_all_forty_entries_and_seven_treatments_stand_as_told(built: Built) -> None:
    assert "0 differences to the story." in built.printed
    assert (
        "479 present views (336 filed, 88 open, 16 out of date, 10 planned, 7 undecided, "
        "6 to review, 5 waived, 4 sent back, 4 blocked, 2 accepted, 1 recalled) and 63 of "
        "treatments." in built.printed
    )
    met = built.rows(
        "SELECT t.code, count(*) FROM progress_viewstatus s "
        "JOIN requesting_owedview v ON v.id = s.owed_view_id "
        "JOIN treatments_treatment t ON t.id = v.treatment_id "
        "WHERE v.ended_at IS NULL GROUP BY t.code ORDER BY t.code"
    )
    assert met == [
        ("T1", 13),
        ("T2", 10),
        ("T3", 11),
        ("T4", 5),
        ("T5", 4),
        ("T6", 14),
        ("T7", 6),
    ]


def test_the_head_reads_the_numbers_of_the_demo_day(built: Built) -> None:
    answer = run(built.folder, "shell", "-v", "0", "-c", NUMBERS)
    assert answer.returncode == 0, answer.stderr
    line = next(line for line in answer.stdout.splitlines() if line.startswith("NUMBERS "))
    found = json.loads(line.removeprefix("NUMBERS "))
    assert {key: found[key] for key in TOLD} == TOLD


TOLD = {
    "fully-documented": "10 + 4 with waivers of 40, 35.0 %",
    "present-views": "341 of 479, 71.2 %",
    "all-views": "383 of 542, 70.7 %",
    "debt": "16 out of date + 7 undecided = 23 views in 4 entries",
    "spreadsheet": "17 of 40 entries, 3 too many; views: 359 of 479, 74.9 %",
    "gates": "1",
    "windows": "1 with 5 views",
    "lost": "3 views in 1 entry",
    "to-review": "6, the oldest for 11 working days",
    "waivers": "5 present + 3 treatment views",
}


def test_objects_keep_their_history_of_numbers_and_records(built: Built) -> None:
    numbers = built.rows(
        "SELECT n.number, n.in_force_to IS NULL FROM collection_objectnumber n "
        "WHERE n.object_id = (SELECT object_id FROM collection_objectnumber "
        "WHERE number = 'AR 0064') ORDER BY n.in_force_from"
    )
    assert numbers == [("AR 1911.7", 0), ("AR 0064", 1)]
    kept = built.rows(
        "SELECT n.number FROM collection_collectionobject o "
        "JOIN collection_objectnumber n ON n.object_id = o.merged_into_id "
        "WHERE o.record_state = 'merged'"
    )
    assert kept == [("AR 0061",)]


def test_a_session_over_the_changing_clocks_is_as_long_as_it_was(built: Built) -> None:
    (hours,) = built.rows(
        "SELECT round((julianday(s.ends_at) - julianday(s.starts_at)) * 24, 2) "
        "FROM campaigns_session s JOIN campaigns_campaign c ON c.id = s.campaign_id "
        "WHERE c.name = 'Nights in the hall'"
    )[0]
    assert hours in (4.5, 6.5)
    assert built.count("intake_frame WHERE state = 'waiting'") == 3


def test_requests_end_as_the_story_tells(built: Built) -> None:
    lines = dict(built.rows("SELECT state, count(*) FROM requesting_requestline GROUP BY state"))
    assert sum(lines.values()) == 35
    assert lines["withdrawn"] == 5
    assert lines["fulfilled"] > 0
    assert built.count("requesting_request") == 14
