"""A small sample of the fault generators: every rule finds its fault and leaves clean material."""

import pytest

from imaging_requests.imaging.files.verdicts import Outcome
from tests.benchmarks.fault_cases import CASES

SLOW = {"V1", "V2", "V9", "V14", "G10", "U6", "I2", "R5", "R6", "X7"}


@pytest.mark.parametrize("case", CASES, ids=[case.rule for case in CASES])
def test_a_fault_fails_and_clean_material_does_not(case):
    for seed in range(1 if case.rule in SLOW else 2):
        assert case.run(seed, True) is Outcome.FAIL
        assert case.run(seed, False) in (Outcome.PASS, Outcome.WARN)


def test_cases_have_rules_and_no_rule_has_two():
    assert len({case.rule for case in CASES}) == len(CASES) >= 44
