"""Wall clocks become instants; lines, places and gaps become words."""

from __future__ import annotations

import doctest
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from imaging_requests.intake import capture, words
from imaging_requests.intake.capture import Window, capture_instant, exposure_ev
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.words import Grid, gap_words, listed

LONDON = ZoneInfo("Europe/London")
BERLIN = ZoneInfo("Europe/Berlin")


def instant(
    text: str,
    *,
    offset: str = "",
    zone: ZoneInfo = LONDON,
    correction_s: float = 0,
    window: Window | None = None,
) -> tuple[str, bool]:
    found = capture_instant(
        datetime.fromisoformat(text),
        offset_text=offset,
        zone=zone,
        clock_offset_s=correction_s,
        window=window,
    )
    return f"{found.at:%d %H:%M}", found.is_ambiguous


@pytest.mark.parametrize(
    ("text", "more", "expected"),
    [
        pytest.param("2026-01-20T10:00", {}, "20 10:00", id="winter in London"),
        pytest.param("2026-04-17T10:00", {}, "17 09:00", id="summer in London"),
        pytest.param("2026-04-17T10:00", {"offset": "+02:00"}, "17 08:00", id="the camera's zone"),
        pytest.param("2026-04-17T10:00", {"correction_s": 3600}, "17 10:00", id="an hour slow"),
        pytest.param("2026-04-17T10:00", {"correction_s": -86400}, "16 09:00", id="a day fast"),
        pytest.param("2026-03-29T02:30", {"zone": BERLIN}, "29 01:30", id="a skipped hour"),
    ],
)
def test_a_wall_clock_becomes_an_instant(text: str, more: dict, expected: str) -> None:
    assert instant(text, **more) == (expected, False)


def test_the_hour_that_comes_twice_is_told_by_the_session() -> None:
    night = "2026-10-25T02:30"
    assert instant(night, zone=BERLIN) == ("25 00:30", True)
    early = Window(datetime(2026, 10, 24, 22, tzinfo=UTC), datetime(2026, 10, 25, 1, tzinfo=UTC))
    late = Window(datetime(2026, 10, 25, 1, tzinfo=UTC), datetime(2026, 10, 25, 5, tzinfo=UTC))
    both = Window(early.starts_at, late.ends_at)
    assert instant(night, zone=BERLIN, window=early) == ("25 00:30", False)
    assert instant(night, zone=BERLIN, window=late) == ("25 01:30", False)
    assert instant(night, zone=BERLIN, window=both) == ("25 00:30", True)


@pytest.mark.parametrize("missing", [(None, 8, 100), (1, None, 100), (1, 8, None), (0, 8, 100)])
def test_an_exposure_that_is_not_whole_is_not_known(missing: tuple) -> None:
    assert exposure_ev(*missing) is None


def test_one_more_ev_is_twice_the_light() -> None:
    base = exposure_ev(1, 8, 100)
    assert base is not None
    for brighter in ((2, 8, 100), (1, 8 / 2**0.5, 100), (1, 8, 200)):
        found = exposure_ev(*brighter)
        assert found is not None
        assert found - base == pytest.approx(1)


RAKING = (-1.0, 0.0, 1.0)


def places(across: int, evs: tuple[float, ...], slices: int = 1) -> list[Spot]:
    return [Spot(1, 0, x, s, ev) for x in range(across) for s in range(slices) for ev in evs]


@pytest.mark.parametrize(
    ("across", "evs", "have", "expected"),
    [
        pytest.param(1, RAKING, [0, 1], ["exposure +1 is missing; have −1 and 0"], id="one"),
        pytest.param(1, RAKING, [1], ["exposures −1 and +1 are missing; have 0"], id="two"),
        pytest.param(1, RAKING, [], ["nothing has come yet"], id="all"),
        pytest.param(1, RAKING, [0, 1, 2], [], id="none"),
        pytest.param(4, (0.0,), [0, 1], ["tiles 3 and 4 of 4 are missing"], id="tiles"),
        pytest.param(
            2,
            RAKING,
            [0, 1, 2, 3, 4],
            ["tile 2 of 2: exposure +1 is missing; have −1 and 0"],
            id="one exposure of a tile",
        ),
        pytest.param(
            9,
            (0.0,),
            [0],
            ["8 of 9 tiles are missing, from tile 2 on"],
            id="many tiles",
        ),
    ],
)
def test_gaps_are_said_tile_by_tile(
    across: int, evs: tuple[float, ...], have: list[int], expected: list[str]
) -> None:
    every = places(across, evs)
    filled = {every[number] for number in have}
    assert gap_words(every, filled, Grid(across, 1, evs, 1)) == expected


def test_words_are_joined_as_people_do() -> None:
    assert [listed(list("abc")[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]


@pytest.mark.parametrize("module", [capture, words])
def test_the_examples_run(module: object) -> None:
    result = doctest.testmod(module)  # type: ignore[arg-type]
    assert (result.failed, result.attempted > 0) == (0, True)
