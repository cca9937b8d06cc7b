"""Conditions over facts: three-valued logic, cell by cell."""

from itertools import product
from types import SimpleNamespace

import pytest

from imaging_requests.reckoning.shots import read_condition

KNOWN = {"a", "b", "faces"}
A, B = {"fact": "a", "is": True}, {"fact": "b", "is": True}
VALUES = (True, False, None)


def ask(source, **facts):
    facts = {"a": None, "b": None, "faces": None} | facts
    return read_condition(source, known=KNOWN).holds(SimpleNamespace(**facts))


@pytest.mark.parametrize(("a", "b"), list(product(VALUES, VALUES)))
def test_all_and_any_follow_kleene(a, b):
    both = False if False in (a, b) else None if None in (a, b) else True
    either = True if True in (a, b) else None if None in (a, b) else False
    assert ask({"all": [A, B]}, a=a, b=b) is both
    assert ask({"any": [A, B]}, a=a, b=b) is either
    assert ask({"not": {"all": [A, B]}}, a=a, b=b) is (None if both is None else not both)


@pytest.mark.parametrize(
    ("test", "value", "answer"),
    [
        ({"at_least": 10}, 10, True),
        ({"at_least": 10}, 9.99, False),
        ({"at_most": 10}, 10, True),
        ({"above": 10}, 10, False),
        ({"below": 10}, 9, True),
        ({"is": "x"}, "x", True),
        ({"in": ["x", "y"]}, "z", False),
    ],
)
def test_comparisons(test, value, answer):
    assert ask({"fact": "a", **test}, a=value) is answer


def test_includes_looks_into_a_list_of_faces():
    assert ask({"fact": "faces", "includes": "B"}, faces=("F", "B")) is True
    assert ask({"fact": "faces", "includes": "B"}, faces=("F",)) is False


@pytest.mark.parametrize("source", [None, {}])
def test_no_condition_always_holds(source):
    assert ask(source) is True


def test_missing_names_only_unknown_facts():
    condition = read_condition({"all": [A, B]}, known=KNOWN)
    assert condition.missing(SimpleNamespace(a=True, b=None)) == ("b",)
