"""The examples in the docstrings of the measurements run and are right."""

import doctest
import importlib
import pkgutil

import pytest

from imaging_requests.imaging import measure

MODULES = [f"{measure.__name__}.{module.name}" for module in pkgutil.iter_modules(measure.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_most_modules_have_examples():
    counts = [doctest.testmod(importlib.import_module(name)).attempted for name in MODULES]
    assert sum(count > 0 for count in counts) >= 13
