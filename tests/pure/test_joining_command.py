"""The command ``join_tiles``: JSON after its schema, exit codes, sentences on stderr."""

import json

import jsonschema
import numpy as np
import pytest
from django.core.management import CommandError, call_command

from imaging_requests.imaging.joining.schemas import load_schema
from tests.joining_scene import Cut, cut_tiles, scene_size, texture, write_tiles

CUT = Cut(columns=2, rows=1, tile_px=(220, 300), overlap=0.12, is_whole=True)


@pytest.fixture(scope="module")
def tiles():
    return cut_tiles(texture(*scene_size(CUT), seed=3), CUT, seed=3)[0]


def _call(*arguments):
    call_command("join_tiles", *(str(argument) for argument in arguments))


def test_the_answer_follows_the_schema_and_places_each_tile(tiles, tmp_path, capsys):
    _call(tmp_path / "out.tif", *write_tiles(tmp_path, tiles), "--grid", "2x1", "--json")
    answer = json.loads(capsys.readouterr().out)
    jsonschema.validate(answer, load_schema("join_tiles"))
    assert answer["verdict"] == "joined"
    matrices = [np.array(tile["matrix"]) for tile in answer["tiles"]]
    assert np.allclose(matrices[1][:2, :2], np.eye(2))
    assert 180 <= matrices[1][0, 2] - matrices[0][0, 2] <= 210


def test_the_answer_in_words_gives_size_and_residual(tiles, tmp_path, capsys):
    _call(tmp_path / "out.tif", *write_tiles(tmp_path, tiles), "--px-per-mm", "10")
    said = capsys.readouterr().out
    assert "from 2 of 2 tiles in 2 × 1" in said
    assert "mm)" in said


def test_a_refusal_is_a_sentence_and_exit_code_2(tiles, tmp_path, capsys):
    with pytest.raises(SystemExit) as end:
        _call(tmp_path / "out.tif", *write_tiles(tmp_path, tiles[:1]))
    assert end.value.code == 2
    assert "two tiles or more" in capsys.readouterr().err


def test_a_picture_that_is_uncertain_has_exit_code_3(tiles, tmp_path, capsys):
    other = (texture(300, 220, seed=90) * 65_535).astype(np.uint16)
    with pytest.raises(SystemExit) as end:
        _call(tmp_path / "out.tif", *write_tiles(tmp_path, [*tiles, other]), "--grid", "3x1")
    assert end.value.code == 3
    assert "Tile 3 (plate-03.tif) was left out" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("wishes", "said"),
    [
        (["--grid", "two"], "two is no grid"),
        (["--sdd-mm", "1000", "--odd-mm", "2000"], "must lie between source and detector"),
        (["--sdd-mm", "1000"], "Give both"),
    ],
)
def test_wishes_that_make_no_sense_are_refused(wishes, said, tiles, tmp_path, capsys):
    paths = write_tiles(tmp_path, tiles)
    with pytest.raises((SystemExit, CommandError)) as end:
        _call(tmp_path / "out.tif", *paths, *wishes)
    assert said in capsys.readouterr().err + str(end.value)
    assert not (tmp_path / "out.tif").exists()
