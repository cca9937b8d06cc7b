"""A thousand picture files, good and bad, made by others: a picture or a sentence, nothing else.

Source: the test pictures of the Pillow source distribution, version 13.0.0 (licence MIT-CMU), file
``pillow-13.0.0.tar.gz``, folder ``Tests/images``: broken headers, loops, truncated and malicious
files, odd bit depths, and many good ones. They are fetched once in the set-up of a test machine.
"""

from __future__ import annotations

import hashlib
import os
import tarfile
import time
import warnings
from collections import Counter
from pathlib import Path

import pytest
from PIL import Image, ImageOps

from imaging_requests.imaging.files.ask import derive
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.guard import GuardFailure, GuardPool, Trouble
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.structure import read_structure
from tests.pure.files_samples import limits, recipe

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("picture files of others")]

CHECKOUT = Path(__file__).resolve().parents[2]
CORPORA = Path(os.environ.get("IMAGING_CORPORA_DIR", CHECKOUT / "var" / "corpora"))
ARCHIVE = "pillow-13.0.0.tar.gz"
ARCHIVE_SHA256 = "cdcd1ba258178f7356d74170c9a81ba4eab6a5d55748bc402a5a2a6fe6be3510"
COMMAND = f"pip download --no-deps --no-binary pillow pillow==13.0.0 -d {CORPORA}"
HEADER_S, DECODE_S, MEMORY_BYTES = 1.0, 20.0, 1_500_000_000


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The unpacked pictures; without the archive the test fails on a test machine."""
    archive = CORPORA / ARCHIVE
    if not archive.exists():
        words = f"{ARCHIVE} is not there; fetch it with: {COMMAND}"
        if os.environ.get("CI") == "true":
            pytest.fail(words)
        pytest.skip(words)
    assert hashlib.sha256(archive.read_bytes()).hexdigest() == ARCHIVE_SHA256
    folder = tmp_path_factory.mktemp("corpora")
    with tarfile.open(archive) as packed:
        chosen = [one for one in packed if "/Tests/images/" in one.name and one.isfile()]
        packed.extractall(folder, members=chosen, filter="data")
    return sorted(path for path in folder.rglob("*") if path.is_file())


@pytest.fixture(scope="module")
def outcomes(
    files: list[Path], tmp_path_factory: pytest.TempPathFactory
) -> dict[Path, Derived | Unreadable | GuardFailure]:
    """Every file through the header reader and through the guarded process."""
    found: dict[Path, Derived | Unreadable | GuardFailure] = {}
    before = {path: path.stat() for path in files}
    out = tmp_path_factory.mktemp("out")
    with GuardPool(limits=limits(memory_bytes=MEMORY_BYTES)) as pool:
        for path in files:
            started = time.monotonic()
            structure = read_structure(path)
            assert time.monotonic() - started < HEADER_S, path.name
            sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
            megapixels = 0.0 if isinstance(structure, Unreadable) else structure.pixels / 1e6
            started = time.monotonic()
            found[path] = derive(
                pool, path, out, recipe(), source_sha256=sha256, megapixels=megapixels
            )
            assert time.monotonic() - started < DECODE_S, path.name
            assert hashlib.sha256(path.read_bytes()).hexdigest() == sha256, path.name
            assert path.stat().st_mtime_ns == before[path].st_mtime_ns
    return found


def test_the_corpus_is_whole(files: list[Path]) -> None:
    assert len(files) == 1_060


def test_every_file_ends_in_a_picture_or_a_sentence(
    outcomes: dict[Path, Derived | Unreadable | GuardFailure],
) -> None:
    kinds: Counter[str] = Counter()
    for path, found in outcomes.items():
        if isinstance(found, Derived):
            kinds["picture"] += 1
            continue
        assert found.sentence.endswith("."), path.name
        assert len(found.sentence) > 60, path.name
        if isinstance(found, GuardFailure):
            assert found.reason in (Trouble.TIME, Trouble.MEMORY, Trouble.CRASH), found
        kinds[found.reason.value] += 1
    assert kinds["picture"] > 500, kinds
    assert sum(kinds.values()) - kinds["picture"] > 400, kinds


def test_known_bad_files_are_refused_for_the_right_reason(
    outcomes: dict[Path, Derived | Unreadable | GuardFailure],
) -> None:
    expected = {
        "multipage_single_frame_loop.tiff": Reason.DAMAGED,
        "seek_too_large.tif": Reason.TRUNCATED,
        "truncated_image.png": Reason.TRUNCATED,
        "truncated_jpeg.jpg": Reason.TRUNCATED,
        "10ct_32bit_128.tiff": Reason.UNSUPPORTED,
        "old-style-jpeg-compression.tif": Reason.UNSUPPORTED,
    }
    seen = {path.name: found for path, found in outcomes.items() if path.name in expected}
    assert seen.keys() == expected.keys()
    for name, found in seen.items():
        assert isinstance(found, Unreadable), name
        assert found.reason is expected[name], name


def test_sizes_agree_with_a_second_reader(
    outcomes: dict[Path, Derived | Unreadable | GuardFailure],
) -> None:
    """Pillow says width and height of the upright picture too; it must say the same."""
    compared = 0
    for path, found in outcomes.items():
        if not isinstance(found, Derived) or path.suffix == ".mpo":
            continue
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                with Image.open(path) as opened:
                    opened.load()
                    size = ImageOps.exif_transpose(opened).size
        except Exception:
            continue
        assert (found.width_px, found.height_px) == size, path.name
        compared += 1
    assert compared > 450
