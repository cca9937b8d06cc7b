"""The fifteen statuses of an owed view, each reached by a story, and the order between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from imaging_requests.reckoning.truth.sentences import explain
from imaging_requests.reckoning.truth.waiting import wait_of
from imaging_requests.reckoning.truth.words import Speech
from tests.pure.truth_story import (
    TABLES,
    Anchor,
    NotApplicable,
    PlannedShot,
    Status,
    Story,
    Unavailable,
    day,
)

SPEECH = Speech(TABLES, ZoneInfo("Europe/London"), {"s1": "Monday visit", "T": "T9"})
NOW = "2026-04-01"


def plan(
    story: Story, view: str = "UV-F", released: str | None = None, ends: str | None = None
) -> None:
    story.tell(
        "planned",
        PlannedShot(
            key=f"p{len(story.told.get('planned', []))}",
            recorded_at=day("2026-03-20"),
            view=view,
            session="s1",
            confirmed_at=day("2026-03-20"),
            released_at=day(released) if released else None,
            session_starts_at=day("2026-04-21"),
            session_ends_at=day(ends) if ends else None,
        ),
    )


def send_away(story: Story, ends: str | None = "2026-08-03", surface: str | None = None) -> None:
    story.tell(
        "unavailable",
        Unavailable(
            key=f"a{len(story.told.get('unavailable', []))}",
            recorded_at=day("2026-03-01"),
            kind="on loan",
            starts_at=day("2026-03-01"),
            ends_at=day(ends) if ends else None,
            surface=surface,
        ),
    )


def rule_out(story: Story, ends: str | None = None) -> None:
    story.tell(
        "not_applicable",
        NotApplicable(
            key="n1",
            recorded_at=day("2026-01-01"),
            view="UV-F",
            starts_at=day("2026-01-01"),
            ends_at=day(ends) if ends else None,
            reason="UV is forbidden",
        ),
    )


def replaced(story: Story) -> None:
    story.told["views"] = [
        replace(view, replaced_by="UV-F v4", replaced_at=day("2026-01-01"))
        for view in story.told["views"]
    ]


def waived(story: Story) -> None:
    story.waive("UV-F", "2026-01-10", text="in reach only from 2027")


def filed(story: Story) -> None:
    story.picture("UV-F", "2026-02-01")


def accepted(story: Story) -> None:
    story.picture("UV-F", "2026-02-01", filed=None)


def lost(story: Story) -> None:
    story.told["views"] = [replace(view, anchor=Anchor.before("T")) for view in story.told["views"]]
    story.step(2, "2026-02-01", treatment="T", step=1)


def undecided(story: Story) -> None:
    story.picture("UV-F", "2026-01-20")
    story.step(6, "2026-02-01", area_cm2=2.0, area_pct=0.04)


def to_review(story: Story) -> None:
    story.picture("UV-F", "2026-02-01", handed_in="2026-02-02")


def sent_back(story: Story) -> None:
    story.picture("UV-F", "2026-02-01", sent_back="2026-02-03")


def captured(story: Story) -> None:
    story.picture("UV-F", "2026-02-01", accepted=None)


def recalled(story: Story) -> None:
    story.picture("UV-F", "2026-02-01", recalled="2026-02-20")


def out_of_date(story: Story) -> None:
    story.picture("UV-F", "2026-01-20")
    story.step(2, "2026-02-01")


def nothing(story: Story) -> None:
    """No fact at all beyond the duty itself."""


# In the order in which they are tried: a story that holds two of them has the earlier status.
LADDER: list[tuple[Status, Callable[[Story], None]]] = [
    (Status.REPLACED, replaced),
    (Status.NOT_APPLICABLE, rule_out),
    (Status.WAIVED, waived),
    (Status.FILED, filed),
    (Status.ACCEPTED, accepted),
    (Status.LOST, lost),
    (Status.UNDECIDED, undecided),
    (Status.TO_REVIEW, to_review),
    (Status.SENT_BACK, sent_back),
    (Status.CAPTURED, captured),
    (Status.RECALLED, recalled),
    (Status.PLANNED, plan),
    (Status.BLOCKED, send_away),
    (Status.OUT_OF_DATE, out_of_date),
    (Status.OPEN, nothing),
]


def tell(*parts: Callable[[Story], None]) -> Story:
    story = Story()
    story.owe("UV-F")
    for part in parts:
        part(story)
    return story


@pytest.mark.parametrize(("status", "part"), LADDER)
def test_each_status_is_reached_and_has_a_sentence(
    status: Status, part: Callable[[Story], None]
) -> None:
    found = tell(part).status("UV-F", NOW)
    assert found.status is status
    sentence = explain(found, SPEECH)
    assert sentence.startswith(("UV of the front", "Varnish", "Retouching"))
    assert sentence.endswith(".")
    assert (wait_of(found) is None) == found.is_resolved


def test_the_ladder_names_every_status_once_in_the_order_of_the_words() -> None:
    assert [status for status, _ in LADDER] == list(Status)


DECIDED = (Status.REPLACED, Status.NOT_APPLICABLE)
IN_HAND = (Status.TO_REVIEW, Status.SENT_BACK, Status.CAPTURED, Status.RECALLED)
TO_MAKE = (Status.PLANNED, Status.BLOCKED, Status.OUT_OF_DATE)
PAIRS = [
    *(
        (upper, lower)
        for upper in DECIDED
        for lower in list(Status)[list(Status).index(upper) + 1 :]
    ),
    # An event that puts the view out of date would end the waiver.
    *((Status.WAIVED, lower) for lower in Status if lower in (*IN_HAND, *TO_MAKE[:2])),
    (Status.WAIVED, Status.FILED),
    (Status.WAIVED, Status.UNDECIDED),
    *(
        (upper, lower)
        for upper in (Status.FILED, Status.ACCEPTED, Status.UNDECIDED, *IN_HAND)
        for lower in TO_MAKE[:2]
    ),
    (Status.PLANNED, Status.BLOCKED),
    (Status.PLANNED, Status.OUT_OF_DATE),
    (Status.BLOCKED, Status.OUT_OF_DATE),
]


@pytest.mark.parametrize(("upper", "lower"), PAIRS)
def test_the_first_match_wins(upper: Status, lower: Status) -> None:
    parts = dict(LADDER)
    assert tell(parts[lower]).words(NOW)["UV-F"] is lower
    assert tell(parts[lower], parts[upper]).words(NOW)["UV-F"] is upper
