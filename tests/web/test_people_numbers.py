"""Numbers in addresses and forms are read as the database can hold them."""

from __future__ import annotations

import pytest

from imaging_requests.people.requests import MOST_DIGITS, whole_number


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("0", 0),
        ("12", 12),
        ("9" * MOST_DIGITS, 10**MOST_DIGITS - 1),
        ("9" * (MOST_DIGITS + 1), None),
        ("²", None),
        ("٣", None),
        ("-1", None),
        ("1.0", None),
        (" 1", None),
        ("", None),
        (None, None),
    ],
)
def test_what_is_a_whole_number(text: object, number: int | None) -> None:
    assert whole_number(text) == number
