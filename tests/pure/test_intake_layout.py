"""Frames find places only where every best layout agrees; held against a brute-force oracle."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imaging_requests.intake.layout import (
    MARGIN,
    Base,
    Line,
    Shot,
    Spot,
    TooManyWaysError,
    fits,
    lay_out,
)

START = datetime(2026, 4, 17, 9, tzinfo=UTC)
TOLERANCE = 0.15


def line(
    line_id: int = 1,
    *,
    tiles: tuple[int, int] = (1, 1),
    evs: Sequence[float] = (0.0,),
    slices: int = 1,
    without: Sequence[int] = (),
    base: Base | None = None,
    body: str = "",
) -> Line:
    across, down = tiles
    spots = [
        Spot(line_id, y, x, focus, ev)
        for y in range(down)
        for x in range(across)
        for focus in range(slices)
        for ev in evs
    ]
    free = tuple(spot for place, spot in enumerate(spots) if place not in without)
    return Line(line_id, free, is_bracket=len(evs) > 1, base=base, body_serial=body)


def shots(amounts: Sequence[float | None], *, step_s: float = 30, body: str = "FO-1") -> list[Shot]:
    return [
        Shot(number, START + timedelta(seconds=step_s * number), amount, 8.0, 100, body)
        for number, amount in enumerate(amounts)
    ]


def placed(frames: Sequence[Shot], lines: Sequence[Line]) -> list[tuple[int, int, float] | None]:
    """Return (line, tile from the left, exposure) of each frame that has a certain place."""
    found = lay_out(frames, lines, tolerance_ev=TOLERANCE)
    spots = [found[frame.frame_id].spot for frame in frames]
    return [(spot.line_id, spot.tile_x, spot.ev) if spot else None for spot in spots]


RAKING = (-1.0, 0.0, 1.0)
ULTRAVIOLET = (-1.0, 0.0, 1.0, 2.0)


@pytest.mark.parametrize(
    ("amounts", "lines", "expected"),
    [
        pytest.param([3, 4, 5], [line(evs=RAKING)], [-1, 0, 1], id="a whole bracket"),
        pytest.param([4, 3, 5], [line(evs=RAKING)], [0, -1, 1], id="in the order of a camera"),
        pytest.param([3, 5], [line(evs=RAKING)], [-1, 1], id="the middle is missing"),
        pytest.param([3.1, 4, 5.1], [line(evs=RAKING)], [-1, 0, 1], id="within tolerance"),
        pytest.param(
            [2, 3, 5], [line(evs=ULTRAVIOLET)], [-1, 0, 2], id="+1 of ultraviolet is missing"
        ),
    ],
)
def test_an_exposure_step_tells_the_place(
    amounts: list[float], lines: list[Line], expected: list[float]
) -> None:
    assert [spot and spot[2] for spot in placed(shots(amounts), lines)] == expected


@pytest.mark.parametrize(
    ("amounts", "lines"),
    [
        pytest.param([3, 4], [line(evs=RAKING)], id="two steps of three fit twice"),
        pytest.param([3], [line(evs=RAKING)], id="one step of three fits three times"),
        pytest.param([3, 3, 3], [line(tiles=(2, 2))], id="three tiles of four"),
        pytest.param([3, 3], [line()], id="two frames for one place"),
        pytest.param([3, 4, 5], [line(1, evs=RAKING), line(2, evs=RAKING)], id="two lines alike"),
        pytest.param([3, 3.66, 4.33], [line(evs=RAKING)], id="steps of two thirds"),
        pytest.param([None, None, None], [line(evs=RAKING)], id="a bracket without exposures"),
    ],
)
def test_a_doubt_places_nothing_that_it_touches(
    amounts: list[float | None], lines: list[Line]
) -> None:
    assert set(placed(shots(amounts), lines)) == {None}


def test_a_repeated_exposure_leaves_only_itself_in_doubt() -> None:
    assert placed(shots([4, 3, 4, 5]), [line(evs=RAKING)]) == [
        None,
        (1, 0, -1.0),
        None,
        (1, 0, 1.0),
    ]


def test_a_whole_session_is_laid_out_in_the_order_of_the_list() -> None:
    lines = [line(1, tiles=(2, 1)), line(2, evs=RAKING), line(3, evs=ULTRAVIOLET)]
    assert placed(shots([6, 6, 1, 2, 3, -1, 0, 1, 2]), lines) == [
        (1, 0, 0.0),
        (1, 1, 0.0),
        (2, 0, -1.0),
        (2, 0, 0.0),
        (2, 0, 1.0),
        (3, 0, -1.0),
        (3, 0, 0.0),
        (3, 0, 1.0),
        (3, 0, 2.0),
    ]


def test_frames_placed_before_tell_the_base_of_a_late_one() -> None:
    known = Base(4.0, 8.0, 100)
    missing_last = line(evs=RAKING, without=(0, 1), base=known)
    assert placed(shots([5]), [missing_last]) == [(1, 0, 1.0)]
    assert placed(shots([4]), [missing_last]) == [None]


def test_another_aperture_or_iso_is_no_step_of_the_bracket() -> None:
    frames = shots([3, 4, 5])
    frames[1] = Shot(1, frames[1].at, 4, 11.0, 100)
    assert placed(frames, [line(evs=RAKING)]) == [(1, 0, -1.0), None, (1, 0, 1.0)]


def test_another_camera_than_the_set_up_card_names_fits_nowhere() -> None:
    assert placed(shots([3], body="FO-2"), [line(body="FO-1")]) == [None]
    assert placed(shots([3], body="FO-1"), [line(body="FO-1")]) == [(1, 0, 0.0)]
    assert placed(shots([3], body=""), [line(body="FO-1")]) == [(1, 0, 0.0)]


def test_frames_of_one_second_are_not_told_apart_by_chance() -> None:
    assert placed(shots([3, 3], step_s=0), [line(tiles=(2, 1))]) == [None, None]
    assert placed(shots([3, 4, 5], step_s=0), [line(evs=RAKING)]) == [
        (1, 0, -1.0),
        (1, 0, 0.0),
        (1, 0, 1.0),
    ]


def test_focus_slices_follow_one_another_within_a_tile() -> None:
    found = lay_out(shots([3] * 4), [line(tiles=(2, 1), slices=2)], tolerance_ev=TOLERANCE)
    spots = [found[number].spot for number in range(4)]
    assert [(spot.tile_x, spot.focus_slice) for spot in spots if spot is not None] == [
        (0, 0),
        (0, 1),
        (1, 0),
        (1, 1),
    ]


def test_no_place_and_no_frame_are_answered() -> None:
    assert lay_out([], [line()], tolerance_ev=TOLERANCE) == {}
    finding = lay_out(shots([3]), [], tolerance_ev=TOLERANCE)[0]
    assert (finding.spot, finding.may_be_extra) == (None, True)


def test_a_picture_tells_which_tile_of_a_row_is_missing() -> None:
    row = [line(tiles=(4, 1))]
    frames = shots([3, 3, 3])
    assert placed(frames, row) == [None, None, None]
    seen = [
        replace(frame, likes={(1, 0, x): 1.0 if x == tile else -0.8 for x in range(4)})
        for frame, tile in zip(frames, (0, 2, 3), strict=True)
    ]
    assert placed(seen, row) == [(1, 0, 0.0), (1, 2, 0.0), (1, 3, 0.0)]


def test_a_frame_out_of_its_time_is_left_over_and_harms_no_neighbour() -> None:
    row = [line(1, tiles=(2, 1)), line(2, tiles=(2, 1))]
    shown = [(1, 0), (2, 1), (1, 1), (2, 0)]
    frames = [
        replace(
            frame,
            likes={(n, 0, x): 1.0 if (n, x) == seen else -1.0 for n in (1, 2) for x in (0, 1)},
        )
        for frame, seen in zip(shots([3] * 4), shown, strict=True)
    ]
    assert placed(frames, row) == [(1, 0, 0.0), None, (1, 1, 0.0), (2, 0, 0.0)]


def test_another_lens_than_the_set_up_card_names_fits_nowhere() -> None:
    named = replace(line(), lens_serial="L-1")
    assert placed([replace(shots([3])[0], lens_serial="L-2")], [named]) == [None]
    assert placed([replace(shots([3])[0], lens_serial="L-1")], [named]) == [(1, 0, 0.0)]
    assert placed(shots([3]), [named]) == [(1, 0, 0.0)]


def test_too_many_ways_are_said_and_not_guessed() -> None:
    lines = [line(number, tiles=(3, 3)) for number in range(1, 9)]
    with pytest.raises(TooManyWaysError):
        lay_out(shots([3] * 40), lines, tolerance_ev=TOLERANCE, most_states=2_000)


def layouts(frames: Sequence[Shot], lines: Sequence[Line]) -> Iterator[dict[int, Spot]]:
    """Yield every layout that the rules allow, by trying all; for small cases."""
    groups = [
        (each, list(together))
        for each in lines
        for _, together in itertools.groupby(
            each.free, key=lambda s: (s.tile_y, s.tile_x, s.focus_slice)
        )
    ]
    rank = {spot: place for place, (_, group) in enumerate(groups) for spot in group}
    owner = {spot: each for each, group in groups for spot in group}
    every = [None, *rank]
    for choice in itertools.product(every, repeat=len(frames)):
        used = [spot for spot in choice if spot is not None]
        ranks = [rank[spot] for spot in used]
        if len(set(used)) < len(used) or ranks != sorted(ranks):
            continue
        bases: dict[int, Base | None] = {each.line_id: each.base for each in lines}
        for frame, spot in zip(frames, choice, strict=True):
            if spot is None:
                continue
            base = bases[spot.line_id]
            if not fits(frame, spot, owner[spot], base, TOLERANCE):
                break
            if base is None and frame.amount_ev is not None:
                bases[spot.line_id] = Base(frame.amount_ev - spot.ev, frame.f_number, frame.iso)
        else:
            yield {
                frame.frame_id: spot
                for frame, spot in zip(frames, choice, strict=True)
                if spot is not None
            }


@st.composite
def small_cases(draw: st.DrawFn) -> tuple[list[Shot], list[Line]]:
    lines = []
    for number in range(1, draw(st.integers(1, 2)) + 1):
        evs = draw(st.sampled_from([(0.0,), (-1.0, 0.0, 1.0), (0.0, 1.0)]))
        tiles = draw(st.sampled_from([(1, 1), (2, 1)])) if len(evs) < 3 else (1, 1)
        lines.append(line(number, tiles=tiles, evs=evs))
    amounts = draw(st.lists(st.sampled_from([None, 2, 3, 4, 5]), min_size=1, max_size=4))
    frames = shots(amounts)
    if draw(st.booleans()):
        tiles_of_all = sorted(
            {(s.line_id, s.tile_y, s.tile_x) for each in lines for s in each.free}
        )
        says = st.sampled_from([-1.0, -0.7, -0.3, 0.0, 0.3, 0.8])
        frames = [
            replace(frame, likes={tile: draw(says) for tile in tiles_of_all}) for frame in frames
        ]
    return frames, lines


def worth(layout: dict[int, Spot], frames: Sequence[Shot]) -> float:
    return sum(1 + f.likes_spot(layout[f.frame_id]) for f in frames if f.frame_id in layout)


@settings(max_examples=150, deadline=None)
@given(small_cases())
def test_the_search_agrees_with_trying_everything(case: tuple[list[Shot], list[Line]]) -> None:
    frames, lines = case
    every = list(layouts(frames, lines))
    enough = max(worth(layout, frames) for layout in every) - MARGIN + 1e-9
    best = [layout for layout in every if worth(layout, frames) > enough]
    found = lay_out(frames, lines, tolerance_ev=TOLERANCE)
    for frame in frames:
        places = {layout.get(frame.frame_id) for layout in best}
        finding = found[frame.frame_id]
        said = {finding.spot} if finding.spot is not None else set(finding.options)
        assert said == places - {None}
        assert finding.may_be_extra == (None in places)
        assert (finding.spot is not None) == (len(places) == 1 and None not in places)
