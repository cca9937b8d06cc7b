"""The examples in the docstrings of the shot derivation run and are right."""

import doctest
import importlib
import pkgutil

import pytest

from imaging_requests.reckoning import schemas, shots

MODULES = [f"{shots.__name__}.{module.name}" for module in pkgutil.iter_modules(shots.__path__)]
WITHOUT_EXAMPLE = {
    "cautions", "checking", "derive", "near_miss", "printed", "reading", "settings", "spec",
    "visit", "owed",
}  # fmt: skip


@pytest.mark.parametrize("name", [*MODULES, schemas.__name__])
def test_examples_run(name):
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0
    assert result.attempted > 0 or name.rsplit(".", 1)[-1] in WITHOUT_EXAMPLE
