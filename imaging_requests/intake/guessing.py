"""Likely places of frames that the order of time leaves in doubt. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from imaging_requests.intake.decisions import Timed, as_proposal
from imaging_requests.intake.layout import Finding, Spot
from imaging_requests.intake.limits import PlacingLimits
from imaging_requests.intake.sheets import LineSheet

OPTIONS_SHOWN = 4


def guesses_of(
    fitting: Sequence[Timed],
    findings: Mapping[int, Finding],
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> dict[int, Spot]:
    """Give each doubtful frame at most one likely place, each place to at most one frame.

    Of frames that compete for a place the newest is proposed, so that a repeated exposure stands
    for the spoilt one before it; gaps are assumed at the end.
    """
    guesses: dict[int, Spot] = {}
    taken: set[Spot] = set()
    doubtful = [f for f in fitting if findings[f.sheet.frame_id].options]
    extra = [f for f in doubtful if findings[f.sheet.frame_id].may_be_extra]
    steady = [f for f in doubtful if not findings[f.sheet.frame_id].may_be_extra]
    for timed in [*steady, *reversed(extra)]:
        options = _ranked(timed, findings[timed.sheet.frame_id].options, lines, limits)
        spot = next((spot for spot in options if spot not in taken), None)
        if spot is not None:
            guesses[timed.sheet.frame_id] = spot
            taken.add(spot)
    return guesses


def _ranked(
    timed: Timed, options: Sequence[Spot], lines: Mapping[int, LineSheet], limits: PlacingLimits
) -> list[Spot]:
    """Put those options first that the set-up card's own exposure speaks for."""
    return sorted(options, key=lambda spot: not _card_speaks_for(timed, spot, lines, limits))


def _card_speaks_for(
    timed: Timed, spot: Spot, lines: Mapping[int, LineSheet], limits: PlacingLimits
) -> bool:
    line = lines[spot.line_id]
    amount = timed.sheet.amount_ev
    if amount is None or line.card_amount_ev is None or not line.layout.is_bracket:
        return False
    return abs(amount - spot.ev - line.card_amount_ev) <= limits.tolerance_ev


def proposal_of(
    timed: Timed,
    finding: Finding,
    guess: Spot | None,
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> tuple[dict[str, Any], ...]:
    """Return the likely places of a frame, best first, each with its reason."""
    if finding.spot is not None:
        return (as_proposal(finding.spot, "it fits there by time and exposure"),)
    rest = [spot for spot in _ranked(timed, finding.options, lines, limits) if spot != guess]
    spots = [*([guess] if guess is not None else []), *rest]
    return tuple(
        as_proposal(spot, _why_likely(timed, spot, guess, lines, limits))
        for spot in spots[:OPTIONS_SHOWN]
    )


def _why_likely(
    timed: Timed,
    spot: Spot,
    guess: Spot | None,
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> str:
    if _card_speaks_for(timed, spot, lines, limits):
        return "the exposure of the set-up card speaks for it"
    if spot == guess:
        return "the first that is free in the order of the list"
    return "it would fit by time and exposure"
