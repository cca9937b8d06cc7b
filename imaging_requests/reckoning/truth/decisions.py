"""Decision cases: which pictures a conservator must judge, exactly one case per chain and event.

A case is owed for every accepted picture chain that an event touches with a D+ or D- effect (also
by softening, and for a re-exposed surface), as long as there is something to decide: a picture
that an earlier event has already put out of date is not asked about again. Softened and
re-exposing cells propose "out of date".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..records import record
from .carry import carry
from .facts import Event, Picture
from .moment import Moment, Standing
from .stateline import Point
from .terms import Carry, Effect, Validity, Verdict


@record
@dataclass(frozen=True, slots=True)
class Case:
    """One question. ``verdict`` is ``None`` while it is open; ``is_recorded``: a case exists."""

    chain: str
    event: Event
    picture: Picture
    effect: Effect
    proposal: Validity
    verdict: Validity | None
    is_recorded: bool

    @property
    def key(self) -> tuple[str, str]:
        """Chain and event: there is one case for each pair."""
        return (self.chain, self.event.key)


def cases(moment: Moment) -> tuple[Case, ...]:
    """Every case that the facts call for at this moment, decided or not, in order of events."""
    return moment.keep("cases", _every_case)


def _every_case(moment: Moment) -> tuple[Case, ...]:
    asking: dict[int, list[tuple[Event, Effect, list[Standing]]]] = {}
    for (surface, technique, _), standings in moment.pictures.items():
        for number, event, effect in moment.touching(surface, technique):
            asking.setdefault(number, []).append((event, effect, standings))
    found: dict[tuple[str, str], Case] = {}
    for number in sorted(asking):
        for event, effect, standings in asking[number]:
            _ask(moment, number, event, effect, standings, found)
    return tuple(found.values())


def cases_after(moment: Moment, event: str) -> tuple[Case, ...]:
    """The cases that one finished event calls for; empty if the event opened no state."""
    number = moment.index.get(event)
    if number is None:
        return ()
    found: dict[tuple[str, str], Case] = {}
    opener = moment.line.openers[number]
    for (surface, technique, _), standings in moment.pictures.items():
        _ask(moment, number, opener, moment.effect(opener, surface, technique), standings, found)
    return tuple(found.values())


def open_cases(moment: Moment) -> tuple[Case, ...]:
    """The cases that still wait for a decision."""
    return tuple(case for case in cases(moment) if case.verdict is None)


def pairs_to_decide(moment: Moment, standing: Standing, point: Point) -> tuple[Event, ...]:
    """The events that leave it undecided whether a picture speaks for an anchor.

    For pictures made *after* an event, which may still speak for the state before it: there the
    case is opened on demand, when a view's status is undecided because of it.
    """
    carried = carry(moment, standing, point)
    return carried.events if carried.verdict is Carry.UNDECIDED else ()


def _ask(
    moment: Moment,
    number: int,
    event: Event,
    effect: Effect,
    standings: Iterable[Standing],
    found: dict[tuple[str, str], Case],
) -> None:
    if effect is not Effect.ASK_OUT and effect is not Effect.ASK_VALID:
        return
    point = Point(number, number)
    for standing in standings:
        picture = standing.picture
        key = (picture.chain, event.key)
        if standing.verdict is not Verdict.ACCEPTED or standing.state > number or key in found:
            continue
        if carry(moment, standing, point).verdict is Carry.OUT:
            continue
        found[key] = Case(
            chain=picture.chain,
            event=event,
            picture=picture,
            effect=effect,
            proposal=Validity.OUT_OF_DATE if effect is Effect.ASK_OUT else Validity.VALID,
            verdict=moment.verdicts.get(key),
            is_recorded=key in moment.verdicts,
        )


def is_reason_enough(moment: Moment, event: Event, reason: str) -> bool:
    """Whether a verdict's reason is long enough to sign the treatment off."""
    shortest = moment.tables[event.table_version].min_reason_length
    return len(reason.strip()) >= shortest


def sign_off_obstacles(moment: Moment, treatment: str) -> tuple[Case, ...]:
    """The open cases of a treatment's own steps: it can be signed off when there is none."""
    return tuple(case for case in open_cases(moment) if case.event.treatment == treatment)
