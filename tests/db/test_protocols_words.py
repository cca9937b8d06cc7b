"""Rules in words, and the differences between two versions."""

from __future__ import annotations

import pytest

from imaging_requests.protocols import compare, words
from imaging_requests.protocols.models import RuleKind
from imaging_requests.reckoning.shots.protocol import read_line
from imaging_requests.reckoning.shots.settings import read_settings
from tests import factory
from tests.db.test_protocols_rules import document

FACTS = words.FactNames(read_settings(factory._read("studio/settings-1.json")))


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ({}, "always"),
        ({"fact": "warp_mm", "at_least": 10}, "warp is at least 10 mm"),
        ({"fact": "framed", "is": True}, "framed: yes"),
        ({"not": {"fact": "kind", "is": "frame"}}, "kind is not frame"),
        ({"not": {"fact": "framed", "is": True}}, "not (framed: yes)"),
        ({"fact": "support", "in": ["copper", "metal"]}, "support is copper or metal"),
        (
            {
                "all": [
                    {"fact": "framed", "is": False},
                    {
                        "any": [
                            {"fact": "support", "is": "canvas"},
                            {"fact": "warp_mm", "above": 2.5},
                        ]
                    },
                ]
            },
            "framed: no, and (support is canvas, or warp is above 2.5 mm)",
        ),
    ],
)
def test_a_condition_is_said_as_a_phrase(source: dict[str, object], said: str) -> None:
    assert words.condition(source, FACTS) == said


def test_a_line_says_its_view_and_where_it_departs_from_the_studio() -> None:
    line = read_line(
        {
            "id": "painted.rk.left",
            "technique": "RK",
            "face": "painted",
            "direction": "L",
            "px_per_mm": 6,
            "exposures_ev": [-1, 0, 1],
            "overlap": 0.2,
        }
    )
    assert words.view(line) == "raking light from the left, every painted face"
    assert words.departures(line) == "6 px/mm, overlap 20%, exposures -1, +0, +1 EV"


def test_lines_added_taken_out_and_changed_are_each_one_difference() -> None:
    older, newer = document("protocol"), document("protocol", version=4)
    gone = newer["lines"].pop(0)
    newer["lines"][0]["when"] = {"fact": "warp_mm", "at_least": 12}
    newer["lines"].append({"id": "back.ir", "technique": "IR", "face": "unpainted_back"})
    found = compare.differences(RuleKind.PROTOCOL, older, newer)
    assert [(each.place, each.part, each.before, each.after) for each in found] == [
        ("Line painted.vc", "when", "kind is not frame", "warp mm is at least 12"),
        ("Line back.ir", "added", "not there", "Infrared, back without paint"),
        (
            f"Line {gone['id']}",
            "taken out",
            "Visible light, flash, every painted face; as it is now; when: kind is not frame; "
            "mandatory: yes; waived by: lead; why: colour and condition; the reference for every "
            "other technique",
            "not there",
        ),
    ]


def test_a_changed_cell_of_the_trigger_table_names_row_and_column() -> None:
    older, newer = document("triggers"), document("triggers", version=2)
    newer["rows"][6]["cells"]["RK-F"] = "O"
    newer["sign_off"]["min_reason_length"]["value"] = 20
    found = compare.differences(RuleKind.TRIGGERS, older, newer)
    assert [(each.place, each.part, each.before, each.after) for each in found] == [
        ("Row 7, Varnish applied", "RK-F", "D+", "O"),
        (
            "Sign off",
            "min reason length",
            "unit: characters, value: 10",
            "unit: characters, value: 20",
        ),
    ]


def test_a_changed_number_of_the_studio_is_found() -> None:
    older, newer = document("studio"), document("studio", version=2)
    newer["values"]["uv.cap_min"]["value"] = 8
    found = compare.differences(RuleKind.STUDIO, older, newer)
    assert [(each.place, each.part, each.before, each.after) for each in found] == [
        ("Setting uv.cap_min", "value", "10", "8")
    ]


@pytest.mark.parametrize("kind", RuleKind)
def test_a_version_does_not_differ_from_itself(kind: RuleKind) -> None:
    assert compare.differences(kind, document(kind), document(kind)) == []
