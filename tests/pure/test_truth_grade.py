"""Grades of catalogue entries and what they count."""

from __future__ import annotations

from dataclasses import replace

import pytest

from imaging_requests.reckoning.truth.facts import ProtocolPin
from imaging_requests.reckoning.truth.grade import (
    Figure,
    GapStatement,
    ObstacleCode,
    count_statuses,
    grade_entry,
    is_print_ready,
    pinned_version,
    read_object,
)
from imaging_requests.reckoning.truth.terms import Grade
from tests.pure.truth_story import (
    Anchor,
    Correction,
    NotApplicable,
    PlannedShot,
    Status,
    Story,
    Validity,
    day,
)

NOW = "2026-04-01"


def full() -> Story:
    story = Story()
    story.owe("UV-F", "XR")
    story.picture("UV-F", "2026-01-01")
    story.picture("XR", "2026-01-01")
    return story


def grade(*stories: Story, **more: object) -> Grade:
    return grade_entry([read_object(story.at(NOW)) for story in stories], **more).grade


def obstacles(story: Story) -> set[ObstacleCode]:
    return {o.code for o in grade_entry([read_object(story.at(NOW))]).obstacles}


def test_an_entry_with_every_view_filed_is_full_and_one_accepted_view_keeps_it_in_progress() -> (
    None
):
    assert grade(full()) is Grade.FULL
    story = full()
    story.told["filings"].pop()
    assert grade(story) is Grade.IN_PROGRESS
    assert obstacles(story) == {ObstacleCode.VIEW_OPEN}


def test_a_waiver_makes_it_full_with_waivers_and_is_counted() -> None:
    story = full()
    story.owe("IR-F")
    story.waive("IR-F", "2026-01-01")
    result = grade_entry([read_object(story.at(NOW))])
    assert (result.grade, result.waived, result.total) == (Grade.FULL_WAIVED, 1, 3)
    assert result.counts[Status.FILED] == 2
    assert sum(result.counts.values()) == result.total


def test_not_applicable_counts_as_settled() -> None:
    story = full()
    story.owe("IR-F")
    story.tell(
        "not_applicable",
        NotApplicable(
            key="n", recorded_at=day("2026-01-01"), view="IR-F", starts_at=day("2026-01-01")
        ),
    )
    assert grade(story) is Grade.FULL


@pytest.mark.parametrize(
    "name", ["height_mm", "depth_mm", "warp_mm", "support", "framed", "glazed", "light_class"]
)
def test_a_missing_fact_keeps_an_entry_from_being_full(name: str) -> None:
    story = full()
    story.facts[0] = replace(story.facts[0], **{name: None})
    assert grade(story) is Grade.IN_PROGRESS
    assert obstacles(story) == {ObstacleCode.FACTS_MISSING}


def test_one_unfinished_object_holds_the_whole_entry_back() -> None:
    other = Story("AR 0002")
    other.owe("UV-F", prefix="other ")
    assert grade(full(), other) is Grade.IN_PROGRESS


def test_an_entry_that_owes_nothing_is_not_full() -> None:
    assert grade(Story()) is Grade.NOT_STARTED
    assert obstacles(Story()) == {ObstacleCode.NOTHING_OWED}


def test_an_entry_is_not_started_until_a_picture_exists_for_it() -> None:
    story = Story()
    story.owe("UV-F", "XR")
    assert grade(story) is Grade.NOT_STARTED
    story.tell(
        "planned",
        PlannedShot(
            key="p",
            recorded_at=day("2026-03-01"),
            view="XR",
            session="s",
            confirmed_at=day("2026-03-01"),
        ),
    )
    assert grade(story) is Grade.NOT_STARTED
    story.picture("UV-F", "2026-03-01", accepted=None)
    assert grade(story) is Grade.IN_PROGRESS


def test_a_view_out_of_date_but_planned_again_does_not_make_an_entry_not_started() -> None:
    story = Story()
    story.owe("UV-F")
    story.picture("UV-F", "2026-01-01")
    story.step(2, "2026-02-01")
    story.tell(
        "planned",
        PlannedShot(
            key="p",
            recorded_at=day("2026-03-01"),
            view="UV-F",
            session="s",
            confirmed_at=day("2026-03-01"),
        ),
    )
    assert grade(story) is Grade.IN_PROGRESS


def test_an_open_case_a_correction_and_a_step_under_way_each_hold_an_entry_back() -> None:
    story = full()
    picture = story.picture("RK-F-L", "2026-01-01")
    event = story.step(7, "2025-12-01")
    event = story.step(28, "2026-02-01")
    assert obstacles(story) == {ObstacleCode.CASE_OPEN}
    story.decide(picture, event, Validity.VALID, "2026-02-02")
    assert grade(story) is Grade.FULL
    story.tell(
        "corrections",
        Correction(key="x", recorded_at=day("2026-03-01"), chain="c", opened_at=day("2026-03-01")),
    )
    assert obstacles(story) == {ObstacleCode.CORRECTION_OPEN}
    story.told["corrections"] = [replace(story.told["corrections"][0], closed_at=day("2026-03-05"))]
    assert grade(story) is Grade.FULL
    story.step(30, started="2026-03-20")
    assert obstacles(story) == {ObstacleCode.STEP_UNDER_WAY}


def replace_view(story: Story, key: str, by: str) -> None:
    story.told["views"] = [
        replace(v, replaced_by=by, replaced_at=day("2026-01-01")) if v.key == key else v
        for v in story.told["views"]
    ]


def test_a_replaced_view_counts_only_if_its_chain_ends_in_a_settled_one() -> None:
    story = full()
    story.owe("IR-F", "VF-F")
    replace_view(story, "IR-F", "VF-F")
    replace_view(story, "VF-F", "UV-F")
    assert grade(story) is Grade.FULL
    replace_view(story, "VF-F", "nowhere")
    assert obstacles(story) == {ObstacleCode.REPLACEMENT_OPEN}
    replace_view(story, "VF-F", "IR-F")
    assert obstacles(story) == {ObstacleCode.REPLACEMENT_CIRCLE}
    story.owe("VF-B")
    replace_view(story, "VF-F", "VF-B")
    assert ObstacleCode.REPLACEMENT_OPEN in obstacles(story)


def test_only_views_that_count_for_the_catalogue_are_graded() -> None:
    story = full()
    story.owe("IR-F", catalogue=None)
    moment = story.at(NOW)
    assert grade_entry([read_object(moment)]).grade is Grade.IN_PROGRESS
    assert grade_entry([read_object(moment, catalogue="catalogue")]).grade is Grade.FULL


def lost() -> Story:
    story = full()
    story.owe("UV-B", anchor=Anchor.before("T"))
    story.step(23, "2026-02-01", treatment="T", step=1)
    return story


def statement(*views: str, **more: object) -> GapStatement:
    return GapStatement(
        key="g",
        recorded_at=day("2026-03-01"),
        signed_at=day("2026-03-01"),
        by="Corvin",
        views=frozenset(views),
        **more,
    )


def test_a_gap_needs_the_heads_signature_for_every_lost_view_and_nothing_else_missing() -> None:
    story = lost()
    result = grade_entry([read_object(story.at(NOW))])
    assert (result.grade, [s.view.key for s in result.lost]) == (Grade.IN_PROGRESS, ["UV-B"])
    assert grade(story, gaps=[statement("UV-B")]) is Grade.GAP
    assert grade(story, gaps=[statement("VF-B")]) is Grade.IN_PROGRESS
    assert grade(story, gaps=[statement("UV-B", ended_at=day("2026-03-05"))]) is Grade.IN_PROGRESS
    assert grade(story, gaps=[statement("UV-B", withdrawn=True)]) is Grade.IN_PROGRESS
    story.owe("IR-F")
    assert grade(story, gaps=[statement("UV-B")]) is Grade.IN_PROGRESS


def test_every_status_is_counted_and_the_sum_is_the_number_of_views() -> None:
    readings = [read_object(story.at(NOW)) for story in (full(), lost())]
    counts = count_statuses(readings)
    assert set(counts) == set(Status)
    assert sum(counts.values()) == 5
    assert (counts[Status.FILED], counts[Status.LOST]) == (4, 1)


def test_a_figure_of_a_past_state_may_be_printed_only_if_its_caption_says_so() -> None:
    story = full()
    picture = story.told["pictures"][0]
    story.step(2, "2026-02-01")
    readings = [read_object(story.at(NOW))]

    def figure(**more: bool) -> Figure:
        settings = {"names_state": False, "is_cleared": True, **more}
        return Figure(picture.chain, picture.version, **settings)

    assert not is_print_ready(readings, [figure()])
    assert is_print_ready(readings, [figure(names_state=True)])
    assert not is_print_ready(readings, [figure(names_state=True, is_cleared=False)])
    assert is_print_ready([read_object(story.at("2026-01-20"))], [figure()])
    assert not is_print_ready(readings, [Figure("unknown", 1, True, True)])


def test_the_pinned_protocol_version_is_the_latest_pin_that_was_known() -> None:
    pins = [
        ProtocolPin(
            key=str(n),
            recorded_at=day(known),
            entry="24",
            version=str(n),
            starts_at=day(starts),
        )
        for n, (starts, known) in enumerate(
            [("2025-09-15", "2025-09-15"), ("2026-02-02", "2026-02-10")], start=2
        )
    ]
    assert pinned_version(pins, "24", t=day("2026-02-05"), u=day("2026-02-05")) == "2"
    assert pinned_version(pins, "24", t=day("2026-02-05"), u=day("2026-02-11")) == "3"
    assert pinned_version(pins, "24", t=day("2025-01-01"), u=day(NOW)) is None
    assert pinned_version(pins, "25", t=day(NOW), u=day(NOW)) is None
