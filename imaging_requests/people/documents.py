"""Documents that people send as text: read as JSON that every database and page can hold."""

from __future__ import annotations

import json
import math
from typing import Any, NoReturn

#: Lists and groups inside one another; no document of this program comes near.
DEEPEST = 60


def read_json(text: str) -> Any:
    """Parse JSON, or raise ValueError with a sentence that says what cannot be read.

    Stricter than the parser of the standard library where a database, a page or a sum would fail
    later: no NaN and no infinity, no number beyond the range of a float, no NUL and no half of a
    character in a text, no nesting beyond `DEEPEST`.
    """
    try:
        document = json.loads(
            text, parse_constant=_refuse_word, parse_float=_decimal, parse_int=_whole
        )
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None
    layer = [document]
    for _ in range(DEEPEST):
        layer = [part for whole in layer for part in _parts(whole)]
        if not layer:
            return document
    raise ValueError(_TOO_DEEP)


_TOO_DEEP = f"it has lists or groups inside one another, more than {DEEPEST} deep"


def _parts(value: Any) -> list[Any]:
    if isinstance(value, str):
        _demand_text(value)
    if isinstance(value, dict):
        for name in value:
            _demand_text(name)
        return list(value.values())
    return value if isinstance(value, list) else []


def _demand_text(text: str) -> None:
    if "\0" in text or any("\ud800" <= letter <= "\udfff" for letter in text):
        shown = text.encode("ascii", "backslashreplace").decode().replace("\0", "\\u0000")
        raise ValueError(f"the text “{shown[:60]}” holds a character that no page can show")


def _refuse_word(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number that can be kept")


def _decimal(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise ValueError(f"{digits[:20]} is larger than any number that can be kept")
    return number


def _whole(digits: str) -> int:
    if len(digits) > 300:
        raise ValueError(f"{digits[:20]}… is larger than any number that can be kept")
    return int(digits)
