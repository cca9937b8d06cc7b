"""The examples in the docstrings of the joining run."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

from imaging_requests.imaging import joining

MODULES = sorted(module.name for module in pkgutil.iter_modules(joining.__path__))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_hold(name: str) -> None:
    module = importlib.import_module(f"{joining.__name__}.{name}")
    assert doctest.testmod(module).failed == 0


def test_there_are_examples() -> None:
    finder = doctest.DocTestFinder()
    modules = [importlib.import_module(f"{joining.__name__}.{name}") for name in MODULES]
    examples = [test for module in modules for test in finder.find(module) if test.examples]
    assert len(examples) >= 6
