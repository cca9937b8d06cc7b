"""Facts that cannot be right are refused in words; facts that are missing become questions."""

import math
from collections.abc import Iterator
from typing import Any

from imaging_requests.reckoning.shots.answer import FactQuestion
from imaging_requests.reckoning.shots.facts import ObjectFacts
from imaging_requests.reckoning.shots.outline import bounding_box
from imaging_requests.reckoning.shots.settings import FactRule, StudioSettings
from imaging_requests.reckoning.shots.words import FACE_NAMES, FRONT


def refuse_facts(facts: ObjectFacts, *, settings: StudioSettings) -> tuple[str, ...]:
    """Say in full sentences which known facts cannot be true; empty if none.

    Checks every fact that has a rule in the settings: range for numbers, list for words.
    """
    sentences: list[str] = []
    for name, rule in settings.facts.items():
        value: Any = getattr(facts, name)
        if value is None:
            continue
        if name == "pinned_px_per_mm":
            for key, density in value.items():
                if key not in settings.densities:
                    known = ", ".join(settings.densities)
                    sentences.append(f"{name} names “{key}”, but there are only: {known}.")
                sentences += number_refusals(f"{name} for {key}", density, rule)
        elif name == "painted_faces":
            sentences += [
                _not_a_choice(name, face, rule) for face in value if face not in rule.choices
            ]
        elif rule.choices:
            if value not in rule.choices:
                sentences.append(_not_a_choice(name, value, rule))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            sentences += number_refusals(name, value, rule)
    return tuple(sentences)


def ask_facts(facts: ObjectFacts, *, settings: StudioSettings) -> tuple[FactQuestion, ...]:
    """Questions to people about facts that are missing or doubtful; empty if there are none.

    Doubtful are: height and width that fit the outline only the other way round, an outline that
    fits neither way, a depth larger than both sides, a bow too deep for the size, a sealed object
    that is said to be without a frame, and a painting without paint on its front.
    """
    questions = [
        _missing(settings.facts[name])
        for name in settings.values.texts("facts.required")
        if getattr(facts, name) is None and settings.facts[name].only_if.holds(facts) is not False
    ]
    questions += _size_doubts(facts, settings)
    questions += _bow_doubts(facts, settings)
    if facts.sealed and facts.framed is False:
        questions.append(_sealed_unframed(settings.facts["sealed"]))
    painted = facts.painted_faces
    if painted is not None and FRONT not in painted and facts.kind != "frame":
        questions.append(_unpainted_front(settings.facts["painted_faces"]))
    return tuple(questions)


def number_refusals(name: str, value: float, rule: FactRule) -> Iterator[str]:
    """Sentences about a number outside its range; ``rule`` gives the range and the unit."""
    if not math.isfinite(value):
        yield f"{name} is {value}, which is not a number that can be measured. {_who(rule)}"
    elif rule.above is not None and value <= rule.above:
        yield (
            f"{name} is {_plain(value)} {rule.unit}, but the {rule.name} must be more than "
            f"{_plain(rule.above)} {rule.unit}. {_who(rule)}"
        )
    elif rule.at_least is not None and value < rule.at_least:
        doubt = ": check the unit and the digits" if value > 0 else ""
        yield (
            f"{name} is {_plain(value)} {rule.unit}, but the {rule.name} cannot be less than "
            f"{_plain(rule.at_least)} {rule.unit}{doubt}. {_who(rule)}"
        )
    elif rule.at_most is not None and value > rule.at_most:
        yield (
            f"{name} is {_plain(value)} {rule.unit}, which is more than the studio believes "
            f"({_plain(rule.at_most)} {rule.unit} at most): check the unit and the digits. "
            f"{_who(rule)}"
        )


def _missing(rule: FactRule) -> FactQuestion:
    is_measure = rule.above is not None or rule.at_least is not None
    what = f"the {rule.name} of the object" if is_measure else "how it is with this object"
    return FactQuestion(
        fact=rule.fact,
        question=f"{rule.fact} is missing: {what} is not known. {_who(rule)}",
        who=rule.who,
    )


def _unpainted_front(rule: FactRule) -> FactQuestion:
    return FactQuestion(
        fact="painted_faces",
        question="painted_faces does not hold F: is the front of this object really without "
        f"paint? {_who(rule)}",
        who=rule.who,
    )


def _sealed_unframed(rule: FactRule) -> FactQuestion:
    return FactQuestion(
        fact="sealed",
        question="sealed is true, but framed is false: what can the object not be taken out of? "
        f"{_who(rule)}",
        who=rule.who,
    )


def _bow_doubts(facts: ObjectFacts, settings: StudioSettings) -> Iterator[FactQuestion]:
    height, width, warp = facts.height_mm, facts.width_mm, facts.warp_mm
    if height is None or width is None or warp is None:
        return
    fraction = settings.number("facts.warp_doubtful_fraction")
    if warp > fraction * max(height, width):
        rule = settings.facts["warp_mm"]
        yield FactQuestion(
            fact="warp_mm",
            question=f"warp_mm ({_plain(warp)} mm) is more than {_plain(fraction * 100)} % of the "
            f"long side ({_plain(max(height, width))} mm): is that the depth of the bow? "
            f"{_who(rule)}",
            who=rule.who,
        )


def _size_doubts(facts: ObjectFacts, settings: StudioSettings) -> Iterator[FactQuestion]:
    height, width, depth = facts.height_mm, facts.width_mm, facts.depth_mm
    if height is None or width is None:
        return
    rule = settings.facts["height_mm"]
    if depth is not None and depth > max(height, width):
        yield FactQuestion(
            fact="depth_mm",
            question=f"depth_mm ({_plain(depth)} mm) is more than both height and width: are the "
            f"three sizes in the right order? {_who(settings.facts['depth_mm'])}",
            who=settings.facts["depth_mm"].who,
        )
    tolerance = settings.number("facts.outline_tolerance_mm")
    for face, outline in facts.outlines_mm.items():
        left, top, right, bottom = bounding_box(outline)
        across, down = right - left, bottom - top
        if abs(across - width) <= tolerance and abs(down - height) <= tolerance:
            continue
        stated = f"height {_plain(height)} mm and width {_plain(width)} mm"
        drawn = f"{_plain(down)} mm high and {_plain(across)} mm wide"
        side = FACE_NAMES.get(face, face)
        if abs(across - height) <= tolerance and abs(down - width) <= tolerance:
            text = (
                f"The outline of the {side} is {drawn}, but the record says {stated}: "
                f"height and width look swapped. Swap them?"
            )
        else:
            text = (
                f"The outline of the {side} is {drawn}, which does not fit {stated}. "
                f"Which is right?"
            )
        yield FactQuestion(fact="height_mm", question=f"{text} {_who(rule)}", who=rule.who)


def _not_a_choice(name: str, value: object, rule: FactRule) -> str:
    return f"{name} is “{value}”, but must be one of: {', '.join(rule.choices)}. {_who(rule)}"


def _who(rule: FactRule) -> str:
    return f"{rule.who[0].upper()}{rule.who[1:]} {rule.how}."


def _plain(value: float) -> str:
    return f"{value:,.10g}" if abs(value) < 1e15 else f"{value:g}"
