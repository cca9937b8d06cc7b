"""Surfaces over time: their times with the events at both ends, and the pictures that speak."""

from __future__ import annotations

import pytest

from imaging_requests.reckoning.truth.sights import Sight, sights
from imaging_requests.reckoning.truth.terms import Validity
from tests.pure.truth_story import Story, day

LINED = ("F.1", "B.1", "B.2", "E.1", "T.1")


def times(sight: Sight) -> list[tuple[str, str]]:
    """Each time as its two ends, an event named by its key."""
    return [
        (seen.opened_by.key if seen.opened_by else "", seen.closed_by.key if seen.closed_by else "")
        for seen in sight.seen
    ]


def by_code(story: Story, at: str) -> dict[str, Sight]:
    """The surfaces on a day."""
    return {sight.code: sight for sight in sights(story.at(at))}


def lining_off_and_on() -> Story:
    """A lined canvas whose lining comes off on 4 May and is replaced on 15 May."""
    story = Story("AR 0058", layers=LINED)
    story.picture("VF-B", "2026-03-02", surface="B.2")
    story.picture("VF-B", "2026-05-06", surface="B.1")
    story.step(12, "2026-05-04", key="off", face="B", exposure_until=day("2026-05-20"))
    story.step(11, "2026-05-15", key="on", face="B")
    return story


def test_each_surface_names_the_events_that_opened_and_closed_its_times() -> None:
    found = by_code(lining_off_and_on(), "2026-06-01")
    assert list(found) == ["F.1", "B.1", "B.2", "B.3", "E.1"]
    assert {code: times(sight) for code, sight in found.items()} == {
        "F.1": [("", "")],
        "B.1": [("off", "on")],
        "B.2": [("", "off")],
        "B.3": [("on", "")],
        "E.1": [("", "")],
    }
    (bare,) = found["B.1"].seen
    assert (bare.from_at, bare.until_at) == (day("2026-05-04"), day("2026-05-15"))
    assert found["B.2"].is_gone
    assert not found["B.1"].is_gone
    assert not found["B.1"].is_visible


def test_descriptions_follow_from_what_lay_there_and_what_was_done() -> None:
    words = {
        code: sight.words for code, sight in by_code(lining_off_and_on(), "2026-06-01").items()
    }
    assert words["B.1"] == "the original back, under the lining with which the object came"
    assert words["B.2"] == "the back of the lining with which the object came"
    assert words["B.3"] == "the back of a lining put on"
    story = Story()
    assert by_code(story, "2026-06-01")["B.1"].words == "the back"
    story.step(11, "2026-05-15", face="B")
    assert by_code(story, "2026-06-01")["B.1"].words == "the original back"


def test_pictures_of_a_surface_that_is_hidden_or_gone_speak_for_it_still() -> None:
    found = by_code(lining_off_and_on(), "2026-06-01")
    assert {code: (s.speaking, s.pictures) for code, s in found.items() if s.pictures} == {
        "B.1": (1, 1),
        "B.2": (1, 1),
    }


@pytest.mark.parametrize(
    ("verdict", "speaking"), [(None, 0), (Validity.VALID, 1), (Validity.OUT_OF_DATE, 0)]
)
def test_a_picture_in_doubt_speaks_once_it_is_decided_to_be_true(
    verdict: Validity | None, speaking: int
) -> None:
    story = Story()
    made = story.picture("RK-F-L", "2026-01-12")
    removed = story.step(2, "2026-02-20")
    story.decide(made, removed, verdict, "2026-03-01")
    front = by_code(story, "2026-03-05")["F.1"]
    assert (front.speaking, front.pictures) == (speaking, 1)


def test_a_recalled_picture_and_one_sent_back_count_for_nothing() -> None:
    story = Story()
    story.picture("VF-F", "2026-01-12", recalled="2026-01-20")
    story.picture("VC-F", "2026-01-12", sent_back="2026-01-13")
    assert by_code(story, "2026-03-05")["F.1"].pictures == 0


def test_a_planned_time_is_told_before_it_comes_and_its_planned_end_while_it_lasts() -> None:
    story = Story(layers=LINED)
    story.step(
        12,
        key="off",
        face="B",
        planned=("2026-05-04", "2026-05-04"),
        exposure_until=day("2026-05-15"),
    )
    (ahead,) = by_code(story, "2026-04-16")["B.1"].seen
    assert (ahead.is_planned, ahead.from_at, ahead.until_at) == (
        True,
        day("2026-05-04"),
        day("2026-05-15"),
    )
    story = lining_off_and_on()
    (now,) = by_code(story, "2026-05-06")["B.1"].seen
    assert (now.is_planned, now.closed_by, now.until_at) == (False, None, day("2026-05-20"))


def test_a_lining_nobody_recorded_is_said_to_be_one() -> None:
    story = Story()
    story.step(12, key="off", face="B", planned=("2026-05-04", "2026-05-04"))
    found = by_code(story, "2026-04-16")
    assert found["B.2"].words == "what lies under a lining that nobody has recorded"
    assert found["B.2"].seen[0].is_planned
