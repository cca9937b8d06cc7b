"""Who sees how much of a picture: every role under every kind, scopes, dates, grants."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest

from imaging_requests.people.models import Role
from imaging_requests.pictures.models import RestrictionKind
from imaging_requests.pictures.numbers import access_numbers
from imaging_requests.pictures.rules import Decision, Given, Limit, Seen, Shown, decide
from tests.factory import NOW

CHAIN, OTHER_CHAIN = UUID(int=1), UUID(int=2)
DAY = timedelta(days=1)
BACK = Shown(
    objects=(7, 3),
    surfaces=frozenset({"B", "B.1"}),
    techniques=frozenset({"UV"}),
    chains=frozenset({CHAIN}),
    is_accepted=True,
)
OPEN = Given(object_id=7, seen=Seen.FULL, since=NOW - DAY, until=NOW + DAY, ended_at=None)
NOTHING, SMALL, FULL = Seen.NOTHING, Seen.SMALL, Seen.FULL


def limit(kind: str = "personal_data", **changes: Any) -> Limit:
    values: dict[str, Any] = {
        "words": f"{kind} words",
        "object_id": 7,
        "surface": "",
        "chain": None,
        "techniques": frozenset(),
        "since": NOW - DAY,
        "until": None,
        "lifted_at": None,
    }
    return Limit(kind=kind, **(values | changes))


def seen(
    *roles: str, shown: Shown = BACK, limits: Any = (), grants: Any = (), now: Any = NOW
) -> Decision:
    return decide(roles, shown, limits=limits, grants=grants, now=now, table=access_numbers().table)


#: What each role sees: without a restriction, then under each kind in the order of the kinds below;
#: people from outside hold a full grant. After the table of roles and restrictions of the trade.
KINDS = ("", "embargo", "consent", "copyright", "security", "attribution", "personal_data")
EXPECTED = {
    "curator": (FULL, FULL, NOTHING, FULL, NOTHING, FULL, NOTHING),
    "conservator": (FULL, FULL, NOTHING, FULL, FULL, FULL, FULL),
    "photographer": (FULL, FULL, FULL, FULL, FULL, FULL, FULL),
    "lead": (FULL, FULL, FULL, FULL, FULL, FULL, FULL),
    "head": (FULL, FULL, FULL, FULL, FULL, FULL, FULL),
    "keeper": (SMALL, SMALL, NOTHING, SMALL, NOTHING, NOTHING, NOTHING),
    "co_author": (FULL, NOTHING, NOTHING, SMALL, NOTHING, NOTHING, NOTHING),
    "lender": (FULL, NOTHING, NOTHING, SMALL, NOTHING, NOTHING, NOTHING),
}


def test_the_table_names_every_role_and_every_kind() -> None:
    assert set(EXPECTED) == set(Role.values)
    assert set(KINDS) - {""} == set(RestrictionKind.values)


@pytest.mark.parametrize("role", EXPECTED)
@pytest.mark.parametrize("kind", KINDS)
def test_each_role_under_each_kind(role: str, kind: str) -> None:
    found = seen(role, limits=[limit(kind)] if kind else [], grants=[OPEN])
    assert found.seen is EXPECTED[role][KINDS.index(kind)]
    assert bool(found.because) == (found.seen is not FULL)


def test_the_strictest_of_several_counts() -> None:
    both = [limit("copyright"), limit("embargo")]
    assert seen("co_author", limits=both, grants=[OPEN]).seen is NOTHING
    assert seen("co_author", limits=both[::-1], grants=[OPEN]).because == "embargo words"


def test_nobody_without_a_role_sees_anything() -> None:
    assert seen().seen is NOTHING
    assert seen(grants=[OPEN]).seen is NOTHING


def test_the_best_role_of_a_person_counts() -> None:
    assert seen("curator", "conservator", limits=[limit()]).seen is FULL


@pytest.mark.parametrize(
    ("changes", "covers"),
    [
        ({}, True),
        ({"object_id": 3}, True),
        ({"object_id": 4}, False),
        ({"surface": "B"}, True),
        ({"surface": "B.1"}, True),
        ({"surface": "B.2"}, False),
        ({"surface": "F"}, False),
        ({"chain": CHAIN}, True),
        ({"chain": OTHER_CHAIN}, False),
        ({"techniques": frozenset({"UV", "XR"})}, True),
        ({"techniques": frozenset({"XR"})}, False),
        ({"surface": "B", "techniques": frozenset({"XR"})}, False),
    ],
)
def test_what_a_restriction_covers(changes: dict[str, Any], covers: bool) -> None:
    assert limit(**changes).covers(BACK) is covers
    assert seen("curator", limits=[limit(**changes)]).seen is (NOTHING if covers else FULL)


def test_a_frame_that_serves_two_surfaces_is_as_closed_as_the_stricter() -> None:
    both = replace(BACK, surfaces=frozenset({"F", "F.1", "B", "B.1"}))
    assert seen("curator", shown=both, limits=[limit(surface="F.1")]).seen is NOTHING


@pytest.mark.parametrize(
    ("changes", "holds"),
    [
        ({"since": NOW}, True),
        ({"since": NOW + timedelta(seconds=1)}, False),
        ({"until": NOW + timedelta(seconds=1)}, True),
        ({"until": NOW}, False),
        ({"lifted_at": NOW}, False),
        ({"lifted_at": NOW + timedelta(seconds=1)}, True),
    ],
)
def test_restrictions_hold_from_their_first_instant_to_before_their_last(
    changes: dict[str, Any], holds: bool
) -> None:
    assert limit(**changes).holds_at(NOW) is holds


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, FULL),
        ({"seen": SMALL}, SMALL),
        ({"until": NOW}, NOTHING),
        ({"until": NOW - DAY + timedelta(hours=1)}, NOTHING),
        ({"since": NOW + timedelta(seconds=1)}, NOTHING),
        ({"ended_at": NOW}, NOTHING),
        ({"object_id": 8}, NOTHING),
        ({"object_id": 3}, FULL),
    ],
)
@pytest.mark.parametrize("role", ["co_author", "lender"])
def test_what_a_grant_opens(role: str, changes: dict[str, Any], expected: Seen) -> None:
    assert seen(role, grants=[replace(OPEN, **changes)]).seen is expected


def test_a_grant_of_a_part_does_not_open_its_whole() -> None:
    whole = replace(BACK, objects=(3,))
    assert seen("lender", shown=whole, grants=[OPEN]).seen is NOTHING


def test_people_from_outside_see_only_finished_and_accepted_pictures() -> None:
    for closed in (replace(BACK, is_accepted=False), replace(BACK, is_frame=True)):
        assert seen("co_author", shown=closed, grants=[OPEN]).seen is NOTHING
        assert seen("curator", shown=closed).seen is FULL


@pytest.mark.parametrize("role", EXPECTED)
def test_frames_of_no_picture_stay_with_the_studio(role: str) -> None:
    alone = replace(BACK, chains=frozenset(), is_frame=True, is_accepted=False)
    expected = FULL if role in ("photographer", "lead") else NOTHING
    assert seen(role, shown=alone, grants=[OPEN]).seen is expected


def test_a_restriction_lasts_through_the_next_version_of_a_picture() -> None:
    """I-38: versions of one picture share their chain."""
    assert seen("curator", limits=[limit(chain=CHAIN)]).seen is NOTHING


RECALLED = "This picture was recalled on 3 Apr 2026: wrong filter."


@pytest.mark.parametrize("role", EXPECTED)
def test_a_recalled_picture_is_seen_small_by_all_but_the_studio(role: str) -> None:
    recalled = replace(BACK, recalled_because=RECALLED, is_accepted=False)
    found = seen(role, shown=recalled, grants=[OPEN])
    if role in ("photographer", "lead"):
        assert found == Decision(FULL)
    elif role in ("co_author", "lender"):
        assert found.seen is NOTHING
    else:
        assert found.seen is SMALL
        assert role == "keeper" or found.because == RECALLED


def test_a_restriction_still_closes_a_recalled_picture() -> None:
    recalled = replace(BACK, recalled_because=RECALLED)
    assert seen("curator", shown=recalled, limits=[limit("consent")]).seen is NOTHING
