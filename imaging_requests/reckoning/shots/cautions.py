"""Cautions by fact. They name a hazard and defer to people; they never permit anything."""

from imaging_requests.reckoning.shots.facts import ObjectFacts
from imaging_requests.reckoning.shots.settings import StudioSettings


def object_cautions(
    facts: ObjectFacts, techniques: frozenset[str], *, settings: StudioSettings
) -> tuple[str, ...]:
    """Cautions that the facts of the object raise: for handling, and for the techniques used.

    Cautions that hold for every object whatever its facts belong to the single views instead.
    """
    return tuple(
        rule.text
        for rule in settings.cautions
        if rule.when.facts_used
        and rule.when.holds(facts)
        and (not rule.techniques or techniques.intersection(rule.techniques))
    )


def view_cautions(
    facts: ObjectFacts, technique: str, *, settings: StudioSettings
) -> tuple[str, ...]:
    """Cautions to be read before one view of this technique is made."""
    return tuple(
        rule.text
        for rule in settings.cautions
        if technique in rule.techniques and rule.when.holds(facts)
    )
