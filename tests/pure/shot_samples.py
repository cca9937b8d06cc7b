"""Objects and data that the tests of the shot derivation share."""

import json
from pathlib import Path
from typing import Any

from imaging_requests.reckoning.shots import (
    ObjectFacts,
    Protocol,
    ShotList,
    derive_shot_list,
    read_facts,
    read_protocol,
    read_settings,
)

FIXTURES = Path(__file__).parents[2] / "fixtures"


def load(path: str) -> Any:
    return json.loads((FIXTURES / path).read_text(encoding="utf-8"))


SETTINGS = read_settings(load("studio/settings-1.json"))
PROTOCOL_2 = read_protocol(load("protocols/catalogue-2.json"))
PROTOCOL_3 = read_protocol(load("protocols/catalogue-3.json"))
PROTOCOL_4_DRAFT = read_protocol(load("protocols/catalogue-4-draft.json"))

PLAIN_CANVAS: dict[str, Any] = {
    "object_number": "AR 0011",
    "height_mm": 920,
    "width_mm": 740,
    "depth_mm": 28,
    "warp_mm": 4,
    "weight_kg": 7,
    "support": "canvas",
    "framed": True,
    "glazed": False,
    "sealed": False,
    "painted_faces": ["F"],
    "flash_allowed": True,
    "uv_allowed": True,
    "light_class": "low",
}


def document(**changes: Any) -> dict[str, Any]:
    """A facts document: the plain canvas with changes."""
    return {**PLAIN_CANVAS, **changes}


def facts(**changes: Any) -> ObjectFacts:
    """Facts of the plain canvas with changes, read the way FACTS.json is read."""
    reading = read_facts(document(**changes), settings=SETTINGS)
    assert reading.facts is not None, reading.refusals
    return reading.facts


def shot_list(
    known: ObjectFacts | None = None, *, protocol: Protocol = PROTOCOL_3, **options: Any
) -> ShotList:
    """The shot list of an object under version 3 and the studio settings."""
    options.setdefault("settings", SETTINGS)
    return derive_shot_list(known or facts(), protocol=protocol, **options)
