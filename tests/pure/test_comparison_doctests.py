"""The examples in the docstrings of comparison, optics and drift run and are right."""

import doctest
import importlib
import pkgutil

import pytest

from imaging_requests.imaging import comparison, drift, optics

PACKAGES = (comparison, drift, optics)
MODULES = [
    f"{package.__name__}.{module.name}"
    for package in PACKAGES
    for module in pkgutil.iter_modules(package.__path__)
]
#: The last two read files; tests/db/test_deliverables_comparing.py runs them.
WITHOUT_EXAMPLE = {"limits", "rows_light", "formulas", "ask", "files"}


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0
    assert result.attempted > 0 or name.rsplit(".", 1)[-1] in WITHOUT_EXAMPLE
