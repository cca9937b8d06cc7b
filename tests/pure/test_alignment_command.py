"""`manage.py align`: files in, a map or a reason out, and no file is ever overwritten."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import tifffile
from django.core.management import call_command
from django.core.management.base import CommandError

from imaging_requests.imaging.alignment.files import load_schema
from imaging_requests.imaging.alignment.matrices import corner_errors, inverse, similarity
from tests.pure.alignment_scenes import moved, regions, seen

SIZE = (300, 380)
TRUTH = similarity(scale=0.97, rotation_deg=1.5, shift=(9.0, 4.0))
MATRIX = inverse(TRUTH)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("pictures")
    plane = regions(3, SIZE)
    wide = seen(plane, 1).astype(np.uint16) * 257
    tifffile.imwrite(made / "visible.tif", np.dstack((wide, wide, wide)), photometric="rgb")
    other = moved(seen(plane, 2), TRUTH, SIZE).astype(np.uint16) * 257
    tifffile.imwrite(made / "infrared.tif", other, photometric="minisblack")
    tifffile.imwrite(made / "else.tif", seen(regions(77, SIZE), 3), photometric="minisblack")
    tifffile.imwrite(made / "flat.tif", np.full(SIZE, 9, np.uint8), photometric="minisblack")
    tifffile.imwrite(made / "dot.tif", np.zeros((1, 1), np.uint8), photometric="minisblack")
    tifffile.imwrite(made / "bit.tif", seen(plane, 1) > 128, photometric="minisblack")
    tifffile.imwrite(made / "nan.tif", np.full(SIZE, np.nan, np.float32), photometric="minisblack")
    many = np.zeros((*SIZE, 9), np.uint8)
    tifffile.imwrite(made / "many.tif", many, photometric="rgb", extrasamples=[0] * 6)
    (made / "words.tif").write_text("no picture")
    whole = (made / "infrared.tif").read_bytes()
    (made / "half.tif").write_bytes(whole[: len(whole) // 2])
    return made


def answer(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, Any]:
    call_command("align", *map(str, arguments), "--json")
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, load_schema())
    return found


def test_a_map_is_found_and_the_moving_picture_written_on_the_grid_of_the_reference(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sums = {path: hashlib.sha256(path.read_bytes()).digest() for path in folder.iterdir()}
    output = tmp_path / "laid.tif"
    found = answer(capsys, folder / "visible.tif", folder / "infrared.tif", "--output", output)
    assert found["verdict"] == "aligned"
    matrix = np.array(found["matrix"])
    errors = corner_errors(matrix, MATRIX, SIZE[1], SIZE[0])
    assert float(np.median(errors)) < 0.5
    assert found["residual_px"] >= 0.5 * float(errors.max())
    laid = tifffile.imread(output)
    assert laid.shape == SIZE
    assert laid.dtype == np.uint16
    expected = seen(regions(3, SIZE), 2).astype(float) * 257
    inner = (slice(30, -30), slice(30, -30))
    assert np.corrcoef(laid[inner].ravel(), expected[inner].ravel())[0, 1] > 0.97
    assert {path: hashlib.sha256(path.read_bytes()).digest() for path in folder.iterdir()} == sums
    assert [path.name for path in tmp_path.iterdir()] == ["laid.tif"]


def test_an_output_that_exists_is_refused_before_anything_is_computed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    output = tmp_path / "there.tif"
    output.write_text("precious")
    arguments = [str(folder / "visible.tif"), str(folder / "infrared.tif")]
    with pytest.raises(SystemExit) as refusal:
        call_command("align", *arguments, "--output", str(output))
    assert refusal.value.code == 2
    assert "is not overwritten" in capsys.readouterr().err
    assert output.read_text() == "precious"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("else", "They may show different things"),
        ("flat", "the same value everywhere"),
        ("dot", "1 x 1 px"),
        ("nan", "32-bit"),
        ("many", "9 channels"),
        ("words", "text"),
        ("half", "cut short"),
    ],
)
def test_what_cannot_be_told_is_an_answer_with_a_reason(
    folder: Path, capsys: pytest.CaptureFixture[str], name: str, words: str
) -> None:
    found = answer(capsys, folder / "visible.tif", folder / f"{name}.tif")
    assert found["verdict"] == "cannot tell"
    assert words in found["reason"]


def test_a_picture_of_one_bit_is_laid_over(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = answer(capsys, folder / "visible.tif", folder / "bit.tif")
    assert float(corner_errors(np.array(found["matrix"]), np.eye(3), 380, 300).max()) < 0.5


def test_a_missing_file_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as refusal:
        call_command("align", str(folder / "visible.tif"), str(folder / "gone.tif"))
    assert refusal.value.code == 2
    assert "gone.tif" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["", "gone.tif"])
def test_a_folder_or_a_missing_file_is_told_as_json_too(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as end:
        call_command("align", str(folder / "visible.tif"), str(folder / name), "--json")
    assert end.value.code == 2
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, load_schema())
    assert found["verdict"] == "cannot tell"
    assert found["reason"]


@pytest.mark.parametrize("channels", [2, 5])
def test_channels_of_unknown_meaning_are_refused_by_number(
    channels: int, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plane = seen(regions(3, SIZE), 2)
    path = tmp_path / "channels.tif"
    stacked = np.dstack([plane] * channels)
    tifffile.imwrite(path, stacked, photometric="minisblack", planarconfig="contig")
    found = answer(capsys, folder / "visible.tif", path)
    assert found["verdict"] == "cannot tell"
    assert f"has {channels} channels" in found["reason"]
    for command in (
        ("check_image", path, "--technique", "IR"),
        ("join_tiles", "out.tif", path, path),
    ):
        with pytest.raises((SystemExit, CommandError)) as end:
            call_command(command[0], *map(str, command[1:]), "--json")
        said = capsys.readouterr()
        assert f"has {channels} channels" in f"{said.out}{said.err}{end.value}"


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda at: ([at / "nothing.tif", at / "b.tif"], []), "There is no file {at}/nothing.tif."),
        (lambda at: ([at, at / "b.tif"], []), "{at} is a folder or a special file, not a picture."),
        (
            lambda at: ([at / "b.tif"] * 2, ["--output", at / "b.tif"]),
            "{at}/b.tif is there already and is not overwritten.",
        ),
    ],
    ids=["missing", "folder", "output"],
)
def test_what_is_in_the_way_is_said_as_json_too(
    make: Any, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "b.tif").write_bytes(b"II*\0")
    files, more = make(tmp_path)
    with pytest.raises(SystemExit) as end:
        call_command("align", *map(str, [*files, *more]), "--json")
    told = capsys.readouterr()
    found = json.loads(told.out)
    jsonschema.validate(found, load_schema())
    assert end.value.code == 2
    assert found["verdict"] == "cannot tell"
    assert found["reason"].startswith(said.format(at=tmp_path))
    assert told.err.strip() == found["reason"]
