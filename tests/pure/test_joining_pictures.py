"""Joined pictures: every level accounted for, bad input a sentence, names never written over."""

import cv2
import jsonschema
import numpy as np
import pytest
import pyvips

from imaging_requests.imaging.joining.join import JoinRequest, join_tiles
from imaging_requests.imaging.joining.paint_plane import XrayGeometry
from imaging_requests.imaging.joining.report import OrderVerdict, Verdict
from imaging_requests.imaging.joining.schemas import load_schema
from imaging_requests.imaging.joining.words import Trouble, Unjoined
from tests.joining_scene import (
    LIMITS,
    SETTINGS,
    Cut,
    cut_tiles,
    radiograph,
    scene_size,
    texture,
    true_error_px,
    write_tiles,
)

CUT = Cut(columns=3, rows=2, tile_px=(300, 360), overlap=0.1, is_whole=True)


@pytest.fixture(scope="module")
def scene():
    return texture(*scene_size(CUT), seed=5)


@pytest.fixture(scope="module")
def tiles(scene):
    return cut_tiles(scene, CUT, seed=5)


def _join(folder, pictures, *, grid=(3, 2), name="joined.tif", **wishes):
    folder.mkdir(exist_ok=True)
    paths = write_tiles(folder, pictures)
    request = JoinRequest(grid=grid, **wishes)
    return join_tiles(paths, folder / name, request, settings=SETTINGS, limits=LIMITS)


def _pixels(path):
    return pyvips.Image.new_from_file(str(path)).numpy()


def test_whole_shifts_give_back_the_scene_level_by_level(scene, tiles, tmp_path):
    report = _join(tmp_path, tiles[0], inverted=tmp_path / "inverted.tif", px_per_mm=10)
    assert report.verdict is Verdict.JOINED, report.reasons
    assert report.order is OrderVerdict.AS_GIVEN
    jsonschema.validate(report.as_data(), load_schema("join_tiles"))
    joined = _pixels(tmp_path / "joined.tif")
    assert joined.dtype == np.uint16
    assert joined.shape == (report.height_px, report.width_px)
    shift = tiles[1][0][:2, 2] - np.array(report.tiles[0].matrix)[:2, 2]
    left, top = shift.round().astype(int)
    true = np.rint(scene[top : top + joined.shape[0], left : left + joined.shape[1]] * 65_535)
    covered = joined > 0
    assert covered.mean() > 0.97
    assert np.array_equal(joined[covered], true[covered])
    inverted = _pixels(tmp_path / "inverted.tif")
    assert (inverted.astype(int) + joined == 65_535).all()
    assert sorted(path.name for path in tmp_path.iterdir() if path.name.startswith(".")) == []


@pytest.mark.parametrize(
    ("turn_deg", "limit_px"), [(0.0, 0.05), (1.0, 0.2)], ids=["shifts", "turns, gain and noise"]
)
def test_a_real_radiograph_is_put_together_again(turn_deg, limit_px, tmp_path):
    cut = Cut(
        columns=2,
        rows=2,
        tile_px=(800, 850),
        overlap=0.08,
        turn_deg=turn_deg,
        gain=0.05 if turn_deg else 0,
        noise=0.01 if turn_deg else 0,
    )
    pictures, truth = cut_tiles(radiograph(), cut, seed=9)
    report = _join(tmp_path, pictures, grid=(2, 2))
    assert report.verdict is Verdict.JOINED, report.reasons
    found = {n: np.array(tile.matrix) for n, tile in enumerate(report.tiles)}
    rms, _ = true_error_px(found, dict(enumerate(truth)), cut.tile_px)
    assert rms <= limit_px
    assert abs(report.worst_step_percent) < 1


def test_swapped_and_turned_tiles_are_found_and_said(tiles, tmp_path):
    pictures = list(tiles[0])
    pictures[2], pictures[3] = pictures[3], pictures[2]
    pictures[4] = pictures[4][::-1, ::-1]
    report = _join(tmp_path, pictures)
    assert report.order is OrderVerdict.CORRECTED, report.reasons
    assert [(t.place.column, t.place.row) for t in report.tiles[2:4]] == [(0, 1), (2, 0)]
    assert report.tiles[4].turn.quarters == 2
    said = " ".join(report.notes)
    assert "Tiles 3 and 4 fit the other way round." in said
    assert "Tile 5 (plate-05.tif) lies upside down in its file." in said


def test_an_order_that_nobody_knows_is_found(tiles, tmp_path):
    shuffled = [tiles[0][n] for n in (4, 0, 3, 5, 1, 2)]
    report = _join(tmp_path, shuffled, grid=None)
    assert (report.columns, report.rows) == (3, 2)
    assert report.verdict is Verdict.JOINED, report.reasons
    assert [(t.place.column, t.place.row) for t in report.tiles] == [
        (1, 1), (0, 0), (0, 1), (2, 1), (1, 0), (2, 0)
    ]  # fmt: skip


def test_a_tile_of_another_object_is_left_out_and_its_place_stays_a_hole(tiles, tmp_path):
    pictures = list(tiles[0])
    pictures[1] = (texture(360, 300, seed=77) * 65_535).astype(np.uint16)
    report = _join(tmp_path, pictures)
    assert report.verdict is Verdict.UNCERTAIN
    assert "another object" in report.reasons[0]
    assert report.tiles[1].matrix is None
    assert len(report.holes) == 1
    hole = report.holes[0]
    joined = _pixels(tmp_path / "joined.tif")
    assert joined[60:250, hole[0] + 60 : hole[0] + hole[2] - 60].max() == 0


def test_a_missing_tile_leaves_a_hole_that_is_said(tiles, tmp_path):
    report = _join(tmp_path, tiles[0][:5])
    assert report.verdict is Verdict.JOINED, report.reasons
    assert len(report.holes) == 1
    assert "stay empty" in " ".join(report.notes)


def test_gains_are_evened_and_blank_borders_hide_nothing(tiles, tmp_path):
    pictures = [tile.copy() for tile in tiles[0]]
    pictures[1] = np.rint(pictures[1] * 0.9).astype(np.uint16)
    for tile in pictures:
        tile[:6], tile[-6:], tile[:, :6], tile[:, -6:] = 0, 0, 0, 0
    report = _join(tmp_path, pictures)
    assert report.levels_model == "gain"
    assert report.worst_step_percent < 0.2
    gains = [tile.gain for tile in report.tiles]
    assert gains[1] / gains[0] == pytest.approx(1 / 0.9, rel=0.005)
    joined = _pixels(tmp_path / "joined.tif")
    middle = joined[20:-20, 20:-20]
    assert (middle == 0).mean() < 0.002


def test_the_paint_plane_is_put_right_and_bars_are_explained(tiles, tmp_path):
    geometry = XrayGeometry(1000, 20, 45)
    report = _join(tmp_path, tiles[0], xray=geometry, px_per_mm=1)
    matrix = np.array(report.tiles[0].matrix)
    assert matrix[0, 0] == pytest.approx(0.98)
    assert report.verdict is Verdict.JOINED, report.reasons
    said = " ".join(report.notes)
    assert "M = 1000 / (1000 − 20) = 1.0204" in said
    assert "the bars cannot be" in said


def _bent(picture, share):
    """A tile as a lens bends it: radii about the middle grow by a share of r²."""
    rows, columns = picture.shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    middle, half = ((columns - 1) / 2, (rows - 1) / 2), columns / 2
    dx, dy = (x - middle[0]) / half, (y - middle[1]) / half
    longer = 1 + share * (dx**2 + dy**2)
    return cv2.remap(
        picture,
        middle[0] + half * dx * longer,
        middle[1] + half * dy * longer,
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REFLECT,
    )


def test_places_that_do_not_fit_count_against_the_join(scene, tmp_path):
    two = Cut(columns=2, rows=1, tile_px=(480, 420), overlap=0.15, is_whole=True)
    tiles = [
        _bent(tile, 0.02) for tile in cut_tiles(texture(*scene_size(two), seed=5), two, seed=5)[0]
    ]
    report = _join(tmp_path, tiles, grid=(2, 1))
    lengths = np.array([np.hypot(point.dx, point.dy) for point in report.residuals])
    assert lengths.max() > SETTINGS.residual_warn_px
    assert report.worst_px == pytest.approx(lengths.max())
    assert report.rms_px == pytest.approx(np.sqrt(np.mean(lengths**2)))
    assert report.seams[0].rms_px == pytest.approx(report.rms_px)
    is_within = report.rms_px <= SETTINGS.residual_warn_px
    assert (report.verdict is Verdict.JOINED) == (is_within and report.seams[0].is_proven)
    excused = _join(tmp_path / "xray", tiles, grid=(2, 1), is_xray=True)
    assert excused.worst_px <= SETTINGS.agree_px
    assert any("off the paint plane" in words for words in excused.notes)


def _with(pictures, index, tile):
    return [tile if n == index else picture for n, picture in enumerate(pictures)]


def test_bad_tiles_give_a_reason_and_no_picture(tiles, tmp_path):
    grey = tiles[0]
    flat = [np.full((360, 300), 30_000, np.uint16)] * 6
    cases = {
        "channels": (_with(grey, 1, np.dstack([grey[1]] * 3)), Trouble.MIXED),
        "depth": (_with(grey, 1, (grey[1] >> 8).astype(np.uint8)), Trouble.MIXED),
        "small": (_with(grey, 1, np.array([[7]], np.uint16)), Trouble.TOO_SMALL),
        "flat": (flat, Trouble.NOTHING_FITS),
        "many": ([*grey, grey[0]], Trouble.GRID),
        "one": (grey[:1], Trouble.TOO_FEW),
    }
    for name, (pictures, reason) in cases.items():
        answer = _join(tmp_path / name, pictures)
        assert isinstance(answer, Unjoined), name
        assert answer.reason is reason, name
        jsonschema.validate(answer.as_data(), load_schema("join_tiles"))
        assert not (tmp_path / name / "joined.tif").exists()


@pytest.mark.parametrize("kind", ["float with NaN", "one bit", "cut short", "text"])
def test_files_that_are_no_tiles_give_a_reason(kind, tiles, tmp_path):
    paths = write_tiles(tmp_path, tiles[0][:2])
    if kind == "float with NaN":
        pyvips.Image.new_from_array(np.full((360, 300), np.nan, np.float32)).tiffsave(str(paths[1]))
    elif kind == "one bit":
        image = pyvips.Image.new_from_array((tiles[0][1] >> 8).astype(np.uint8))
        image.copy(interpretation="b-w").tiffsave(str(paths[1]), bitdepth=1)
    elif kind == "cut short":
        paths[1].write_bytes(paths[1].read_bytes()[:9000])
    else:
        paths[1].write_text("no picture")
    answer = join_tiles(
        paths, tmp_path / "joined.tif", JoinRequest(grid=(2, 1)), settings=SETTINGS, limits=LIMITS
    )
    assert isinstance(answer, Unjoined)
    assert answer.tile == 2
    assert answer.sentence.startswith("Tile 2 (plate-02.tif)")


def test_a_name_that_is_taken_is_not_written_over(tiles, tmp_path):
    (tmp_path / "joined.tif").write_bytes(b"mine")
    answer = _join(tmp_path, tiles[0])
    assert isinstance(answer, Unjoined)
    assert answer.reason is Trouble.EXISTS
    assert (tmp_path / "joined.tif").read_bytes() == b"mine"


def test_one_exposure_delivered_twice_is_never_called_joined(tiles, tmp_path):
    pictures = _with(tiles[0], 1, tiles[0][0])
    answer = _join(tmp_path, pictures)
    assert answer.verdict is Verdict.UNCERTAIN


def test_a_blank_tile_is_left_out_with_its_reason(tiles, tmp_path):
    pictures = _with(tiles[0], 4, np.full((360, 300), 30_000, np.uint16))
    answer = _join(tmp_path, pictures)
    assert answer.verdict is Verdict.UNCERTAIN
    assert "Tile 5 (plate-05.tif) was left out: it shows no structure" in answer.reasons[0]
    assert len(answer.holes) == 1
