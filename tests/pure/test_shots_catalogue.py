"""The demo catalogue: 40 entries, 48 objects, every count and every hour of the table."""

from collections import Counter

import pytest

from imaging_requests.reckoning.shots import ShotList, derive_owed, read_facts
from tests.pure.shot_samples import PROTOCOL_2, PROTOCOL_3, PROTOCOL_4_DRAFT, SETTINGS, load
from tests.pure.shot_samples import shot_list as derive

DEMO = load("demo/objects.json")
OBJECTS = {row["object_number"]: row for row in DEMO["objects"]}
ENTRIES = {row["no"]: row for row in DEMO["entries"]}


def known(number):
    reading = read_facts(OBJECTS[number]["facts"], settings=SETTINGS)
    assert reading.facts is not None, reading.refusals
    assert reading.remarks == ()
    return reading.facts


@pytest.fixture(scope="module")
def lists() -> dict[str, ShotList]:
    return {number: derive(known(number), provisional=True) for number in OBJECTS}


def counts(answers: list[ShotList]) -> dict[str, int]:
    views = [view for answer in answers for view in answer.views]
    first = [next(v for v in answer.views if v.view in ("VF-F", "VC-F")) for answer in answers]
    return {
        "owed": len(views),
        "vis_tiles": sum(view.tile_count for view in first),
        "ir_tiles": sum(view.tile_count for view in views if view.technique == "IR"),
        "plates": sum(view.tile_count for view in views if view.technique == "XR"),
        "frames": sum(view.frames for view in views),
    }


def test_the_demo_holds_forty_entries_and_forty_eight_objects():
    assert len(ENTRIES) == DEMO["totals"]["entries"] == 40
    assert len(OBJECTS) == DEMO["totals"]["objects"] == 48
    listed = [number for entry in DEMO["entries"] for number in entry["objects"]]
    assert sorted(listed) == sorted(OBJECTS)
    assert all(OBJECTS[n]["entry"] == no for no, e in ENTRIES.items() for n in e["objects"])


@pytest.mark.parametrize("no", ENTRIES)
def test_counts_of_an_entry(no, lists):
    entry = ENTRIES[no]
    found = counts([lists[number] for number in entry["objects"]])
    assert found == {key: entry["expected"][key] for key in found}


def test_totals_of_the_catalogue(lists):
    found = counts(list(lists.values()))
    assert (found["owed"], found["frames"]) == (479, 1952)
    assert (found["ir_tiles"], found["plates"]) == (257, 375)


def test_station_hours_with_reserve_and_desk_hours_without(lists):
    def hours(station: str) -> float:
        totals = (answer.station(station) for answer in lists.values())
        return sum(total.minutes_with_reserve for total in totals if total) / 60

    assert round(hours("bay"), 1) == 211.7
    assert round(hours("ir"), 1) == 114.1
    assert round(hours("xray"), 1) == 77.7
    assert round(sum(answer.desk_minutes for answer in lists.values()) / 60, 2) == 170.75


def test_auxiliary_frames_are_about_fifteen_percent(lists):
    frames = sum(answer.frames for answer in lists.values())
    files = sum(answer.expected_files for answer in lists.values())
    assert 0.12 < files / frames - 1 < 0.18


def test_near_miss_of_the_harbour_fire(lists):
    miss = next(m for m in lists["AR 0038"].near_misses if "VF-F" in m.views)
    assert (miss.px_per_mm, miss.change_percent) == (11.83, -1.4)
    assert (miss.count_now, miss.count_then) == (4, 2)


@pytest.mark.parametrize("number", OBJECTS)
def test_bulk_derivation_owes_the_same_views_as_the_shot_list(number, lists):
    owed = derive_owed(known(number), protocol=PROTOCOL_3)
    live = Counter(view.code for view in owed if view.not_applicable is None)
    assert live == Counter(view.view for view in lists[number].views)


def test_the_new_acquisition_has_questions_and_no_list_until_measured(lists):
    answer = derive(known("AR 0118"))
    assert answer.views == ()
    assert [question.fact for question in answer.questions] == ["depth_mm", "warp_mm", "glazed"]
    assert lists["AR 0118"].provisional
    assert len(lists["AR 0118"].views) == 10
    others = [number for number in OBJECTS if number != "AR 0118"]
    assert all(not lists[number].questions for number in others)


def test_status_exceptions_name_owed_views_and_add_up_to_the_totals(lists):
    total: Counter[str] = Counter()
    for entry in DEMO["entries"]:
        named: Counter[str] = Counter()
        for status, items in entry["status_exceptions"].items():
            for item in items:
                owed = {view.view for view in lists[item["object"]].views}
                assert item["view"] == "all" or item["view"] in owed, (entry["no"], item)
                named[status] += len(owed) if item["view"] == "all" else 1
        named["filed"] += entry["expected"]["owed"] - named.total()
        assert +named == Counter(entry["expected"]["by_status"]), entry["no"]
        total += named
    assert total == Counter(DEMO["totals"]["by_status"])


def test_version_2_owes_fewer_views_and_version_4_more():
    def codes(protocol, number):
        views = derive_owed(known(number), protocol=protocol)
        return {view.code for view in views if view.not_applicable is None}

    assert codes(PROTOCOL_3, "AR 0073") - codes(PROTOCOL_2, "AR 0073") == {"VC-F", "RK-F-T"}
    assert codes(PROTOCOL_3, "AR 0012") - codes(PROTOCOL_2, "AR 0012") == {"VC-F"}
    opened = {n: codes(PROTOCOL_4_DRAFT, n) - codes(PROTOCOL_3, n) for n in OBJECTS}
    assert {number for number, views in opened.items() if views} == {
        number
        for number, row in OBJECTS.items()
        if row["facts"]["support"] == "panel" and row["facts"]["painted_faces"] == ["F"]
    }
    assert {view for views in opened.values() for view in views} == {"IR-B"}
