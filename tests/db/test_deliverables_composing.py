"""How frames make a picture: seats, gaps, faults; and the names of filed masters."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imaging_requests.deliverables import naming
from imaging_requests.deliverables.composing import Composition, Placed, compose, kind_of
from imaging_requests.deliverables.naming import Master, file_names
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.words import Grid

AT = datetime(2026, 4, 16, 9, tzinfo=UTC)


def spots(grid: Grid) -> list[Spot]:
    places = product(range(grid.down), range(grid.across), range(grid.slices))
    return [Spot(1, y, x, s, ev) for y, x, s in places for ev in sorted(grid.exposures_ev)]


def placed(spot: Spot, number: int, **changes: Any) -> Placed:
    values: dict[str, Any] = {
        "frame_id": number,
        "tile_x": spot.tile_x,
        "tile_y": spot.tile_y,
        "focus_slice": spot.focus_slice,
        "ev": spot.ev,
        "captured_at": AT + timedelta(minutes=number),
        "f_number": 8.0,
        "iso": 200,
    }
    return Placed(**(values | changes))


def made(grid: Grid, frames: list[Placed], span_min: float = 15) -> Composition:
    return compose(spots(grid), grid, frames, tolerance_ev=0.15, span_min=span_min)


UV = Grid(1, 1, (-1.0, 0.0, 1.0, 2.0), 1)


def full(grid: Grid) -> list[Placed]:
    return [placed(spot, number) for number, spot in enumerate(spots(grid))]


@pytest.mark.parametrize(
    ("grid", "kind"),
    [
        (Grid(1, 1, (0.0,), 1), "single"),
        (UV, "bracket"),
        (Grid(2, 3, (0.0,), 1), "mosaic"),
        (Grid(2, 1, (-1.0, 0.0, 1.0), 1), "bracket_mosaic"),
    ],
)
def test_tiles_and_exposures_say_what_kind_of_picture_it_is(grid: Grid, kind: str) -> None:
    assert kind_of(tiles=grid.tiles, exposures=len(grid.exposures_ev)) == kind
    whole = made(grid, full(grid))
    assert (whole.kind, whole.is_complete, whole.missing, whole.faults) == (kind, True, (), ())


def test_the_middle_exposure_of_the_first_tile_is_the_cover() -> None:
    grid = Grid(2, 1, (-1.0, 0.0, 1.0, 2.0), 1)
    whole = made(grid, full(grid))
    cover = next(s for s in whole.seats if s.frame.frame_id == whole.cover_id)
    assert (cover.spot.tile_x, cover.spot.tile_y, cover.spot.ev) == (0, 0, 0.0)
    assert whole.captured_at == AT


def test_a_missing_exposure_is_said_with_what_is_there() -> None:
    partial = made(UV, full(UV)[:2])
    assert not partial.is_complete
    assert partial.missing == ("Exposures +1 and +2 are missing; have −1 and 0.",)


def test_nothing_placed_makes_nothing() -> None:
    empty = made(UV, [])
    assert (empty.is_complete, empty.cover_id, empty.captured_at) == (False, None, None)
    assert empty.missing == ("Nothing has come yet.",)


shapes = st.builds(
    Grid,
    st.integers(1, 4),
    st.integers(1, 3),
    st.sampled_from([(0.0,), (-1.0, 0.0, 1.0), (-2.0, -1.0, 0.0, 1.0, 2.0)]),
    st.integers(1, 2),
)


@given(shapes, st.data())
def test_complete_means_every_tile_exposure_and_slice(grid: Grid, data: st.DataObject) -> None:
    wanted = spots(grid)
    present = data.draw(st.sets(st.sampled_from(wanted)))
    frames = [placed(spot, number) for number, spot in enumerate(wanted) if spot in present]
    result = made(grid, frames, span_min=1e9)
    assert result.is_complete is (present == set(wanted))
    assert bool(result.missing) is (present != set(wanted))
    assert {seat.spot for seat in result.seats} == present
    assert len({seat.frame.frame_id for seat in result.seats}) == len(result.seats)


@pytest.mark.parametrize(("ev", "fits"), [(0.15, True), (-0.15, True), (0.16, False)])
def test_an_exposure_fits_within_the_tolerance(ev: float, fits: bool) -> None:
    grid = Grid(1, 1, (0.0,), 1)
    assert made(grid, [placed(spots(grid)[0], 1, ev=ev)]).is_complete is fits


def test_the_newest_of_two_equal_frames_is_taken() -> None:
    grid = Grid(1, 1, (0.0,), 1)
    spot = spots(grid)[0]
    result = made(grid, [placed(spot, 1), placed(spot, 2)])
    assert [seat.frame.frame_id for seat in result.seats] == [2]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"f_number": 11.0}, "The exposures were made at f/8 and f/11"),
        ({"iso": 400}, "The exposures were made at ISO 200 and ISO 400"),
        (
            {"captured_at": AT + timedelta(minutes=40)},
            "The exposures took 40 min; one bracket takes at most 15 min",
        ),
    ],
)
def test_a_bracket_that_does_not_belong_together_is_a_fault(
    changes: dict[str, Any], said: str
) -> None:
    frames = full(UV)
    frames[3] = placed(spots(UV)[3], 3, **changes)
    result = made(UV, frames)
    assert result.is_complete
    assert len(result.faults) == 1
    assert result.faults[0].startswith(said)


def test_what_the_camera_does_not_say_is_no_fault() -> None:
    frames = [placed(s, n, f_number=None, iso=None) for n, s in enumerate(spots(UV))]
    assert made(UV, frames).faults == ()


def test_frames_without_an_instant_are_a_fault() -> None:
    frames = [placed(s, n, captured_at=None) for n, s in enumerate(spots(UV))]
    result = made(UV, frames)
    assert result.captured_at is None
    assert result.faults == (
        "No frame says when it was taken; the start of the session is taken instead.",
    )


def master(**changes: Any) -> Master:
    values: dict[str, Any] = {
        "object_id": 1,
        "number": "AR 0011",
        "surface": "F.1",
        "technique": "RK",
        "variant": "L",
        "anchor": "CUR",
        "captured_on": date(2025, 11, 20),
        "tile": 1,
        "ev": -1.0,
        "focus_slice": 0,
        "has_slices": False,
        "version": 2,
        "chain": "0a1b2c3d-0000-0000-0000-000000000000",
        "extension": "tif",
    }
    return Master(**(values | changes))


def test_a_name_says_object_view_day_place_and_version() -> None:
    assert file_names([master()]) == ["AR-0011_F1_RK-L_CUR_20251120_t01_m1_v02_master.tif"]


def test_numbers_that_would_be_confused_get_a_short_id() -> None:
    other = "9f8e7d6c-0000-0000-0000-000000000000"
    names = file_names(
        [master(number="AR 12/1"), master(number="AR 12-1", object_id=2, chain=other)]
    )
    assert names == [
        "AR-12-1_F1_RK-L_CUR_20251120_t01_m1_v02_0a1b2c3d_master.tif",
        "AR-12-1_F1_RK-L_CUR_20251120_t01_m1_v02_9f8e7d6c_master.tif",
    ]


@given(st.text(min_size=1, max_size=60), st.text(max_size=24), st.floats(-3, 3))
def test_every_name_is_short_and_plain(number: str, variant: str, ev: float) -> None:
    (name,) = file_names([master(number=number, variant=variant, ev=ev)])
    assert len(name) <= 100
    assert name.isascii()
    assert not set(name) - set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.")
    assert name.endswith("_master.tif")


def test_the_manifests_sum_follows_from_its_content_alone() -> None:
    one = {"b": 1, "a": [1.5, "ä"]}
    other = {"a": [1.5, "ä"], "b": 1}
    assert naming.manifest_text(one) == '{"a":[1.5,"ä"],"b":1}'
    assert naming.manifest_sha256(one) == naming.manifest_sha256(other)
    assert naming.manifest_sha256(one) != naming.manifest_sha256({"a": [1.5, "ä"], "b": 2})
