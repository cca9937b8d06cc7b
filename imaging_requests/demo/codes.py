"""Views of the scenario by their short codes, such as "RK-F-L", and how each is made."""

from __future__ import annotations

from dataclasses import dataclass

from imaging_requests.demo.scenario import Scenario, Thing, fixture
from imaging_requests.reckoning import shots

THROUGH = "T"
DIRECTIONS = frozenset("LRTB")


@dataclass(frozen=True, slots=True)
class View:
    """Technique, face and light direction."""

    technique: str
    face: str
    variant: str = ""

    @property
    def code(self) -> str:
        """The short code.

        >>> View("RK", "F", "L").code, View("XR", "T").code
        ('RK-F-L', 'XR')
        """
        if self.technique == "XR":
            return "XR"
        return "-".join(part for part in (self.technique, self.face, self.variant) if part)


def view_of(code: str) -> View:
    """Read a short code.

    >>> view_of("UV-B"), view_of("XR").face
    (View(technique='UV', face='B', variant=''), 'T')
    """
    technique, face, variant = [*code.split("-"), "", ""][:3]
    return View(technique, face or THROUGH, variant)


def protocol(number: int) -> shots.Protocol:
    """Read a protocol version of the house."""
    return shots.read_protocol(fixture(f"protocols/catalogue-{number}.json"))


def facts_of(thing: Thing, studio: shots.StudioSettings) -> shots.ObjectFacts:
    """Return an object's facts, typed; what nobody has measured stays unknown."""
    reading = shots.read_facts(dict(thing.facts), settings=studio)
    if reading.facts is None:
        raise ValueError(f"{thing.number}: {' '.join(reading.refusals)}")
    return reading.facts


def owed_codes(thing: Thing, studio: shots.StudioSettings, rules: shots.Protocol) -> list[str]:
    """Return the codes of the present views that a protocol version asks for."""
    return [
        View(view.technique, view.face, view.direction or "").code
        for view in shots.derive_owed(facts_of(thing, studio), protocol=rules)
        if view.not_applicable is None
    ]


def spec_of_view(thing: Thing, view: View, studio: shots.StudioSettings) -> shots.ViewSpec:
    """Work out tiles, exposures, slices and minutes of one view."""
    line = shots.read_line(
        {
            "id": f"demo.{view.code.lower()}",
            "technique": view.technique,
            "face": view.face,
            "direction": view.variant or None,
            "method": "edges" if view.face == "E" else view.technique.lower(),
        }
    )
    owed = shots.OwedView(line, view.technique, view.face, view.variant or None, "CUR")
    return shots.view_spec(owed, facts_of(thing, studio), settings=studio)


def never_made(scenario: Scenario, number: str) -> frozenset[str]:
    """Return the codes of an object's views that nobody has photographed up to the demo day."""
    return frozenset(scenario["campaigns"]["not_made"].get(number, ()))
