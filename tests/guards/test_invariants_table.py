"""Every promise has a row in docs/invariants.md, and every test named there exists."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "docs" / "invariants.md"
#: Promises that must each be kept and tested.
REQUIRED = {f"I-{number:02}" for number in (*range(1, 22), 26, 29, 31, 32, 33, 34, 36, 40)}
#: Those that the database must keep by itself.
BY_DATABASE = {f"I-{number:02}" for number in (1, 2, 4, 8, 10, 12, 13, 14, 18, 29, 34)}


def rows() -> dict[str, tuple[str, list[str]]]:
    """Return how each promise is kept and the tests that try to break it."""
    found = {}
    for line in TABLE.read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 5 and re.fullmatch(r"I-\d\d", cells[0]):
            found[cells[0]] = (cells[2], re.findall(r"`(tests/[^`]+)`", cells[4]))
    return found


def missing(node: str) -> bool:
    """Whether a test that is named by its node id cannot be imported."""
    path, _, name = node.partition("::")
    if not (ROOT / path).is_file():
        return True
    module = importlib.import_module(path.removesuffix(".py").replace("/", "."))
    return not callable(getattr(module, name, None)) or not name.startswith("test_")


def test_every_promise_has_a_row_with_tests() -> None:
    found = rows()
    assert found.keys() >= REQUIRED
    assert [number for number, (_, tests) in found.items() if not tests] == []


def test_every_test_of_the_table_exists() -> None:
    nodes = [node for _, tests in rows().values() for node in tests]
    assert len(nodes) >= 70
    assert [node for node in nodes if missing(node)] == []


def test_what_the_database_keeps_is_tried_on_the_database() -> None:
    found = rows()
    for number in BY_DATABASE:
        kept_by, tests = found[number]
        assert "D" in kept_by, number
        assert any(node.startswith("tests/db/") for node in tests), number


def test_a_test_that_is_gone_is_noticed() -> None:
    assert missing("tests/guards/test_invariants_table.py::test_of_yesterday")
    assert missing("tests/db/test_gone.py::test_a")
    assert not missing("tests/guards/test_invariants_table.py::test_a_test_that_is_gone_is_noticed")
