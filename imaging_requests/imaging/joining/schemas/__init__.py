"""JSON schema of what is said about a join."""

import json
from importlib import resources
from typing import Any


def load_schema(name: str) -> dict[str, Any]:
    """Return the schema ``join_tiles``.

    >>> load_schema("join_tiles")["title"]
    'What is said about a join'
    """
    text = resources.files(__name__).joinpath(f"{name}.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
