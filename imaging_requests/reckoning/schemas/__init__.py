"""JSON schemas of what goes into the shot derivation and what comes out of it."""

import json
from importlib import resources
from typing import Any


def load_schema(name: str) -> dict[str, Any]:
    """Return the schema ``facts`` or ``shot_list``.

    >>> load_schema("facts")["title"]
    'Object facts (FACTS.json)'
    """
    text = resources.files(__name__).joinpath(f"{name}.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
