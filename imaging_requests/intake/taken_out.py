"""Take frames from the table that surely show another object than their places ask for. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from imaging_requests.intake.decisions import Decision, Timed, Why, wait
from imaging_requests.intake.guessing import proposal_of
from imaging_requests.intake.layout import Finding
from imaging_requests.intake.likes import VISIBLE
from imaging_requests.intake.sheets import LineSheet
from imaging_requests.intake.strangers import LIGHTS, SIDE_WORDS
from imaging_requests.intake.table import Table


def strangers_of(frames: Sequence[Timed], table: Table) -> dict[int, Decision]:
    """Let frames wait that surely show another object, and take them from the table.

    They fill no place and rival nobody: the others of the session are laid out without them.
    """
    found: dict[int, Decision] = {}
    for timed in frames:
        finding = table.findings.get(timed.frame_id)
        words = _stranger_words(timed, finding, table) if finding and timed.sheet.is_read else ""
        if finding and words:
            likely = proposal_of(timed, finding, None, table.lines, table.limits)
            found[timed.frame_id] = wait(timed, Why.OTHER_OBJECT, words, likely)
    for frame_id in found:
        table.findings.pop(frame_id)
    return found


def _stranger_words(timed: Timed, finding: Finding, table: Table) -> str:
    """Say that a whole face surely shows another object, if it is so."""
    spots = [finding.spot] if finding.spot is not None else list(finding.options)
    lines = [table.lines[spot.line_id] for spot in spots]
    if not lines or any(each.grid.tiles > 1 or each.is_detail for each in lines):
        return ""
    name = _other_by_lightness(timed, lines, table) or _other_by_structure(timed, lines, table)
    if not name:
        return ""
    return f"It looks like {name}, not like {lines[0].words}. Look at it, then place it by hand."


def _other_by_lightness(timed: Timed, lines: Sequence[LineSheet], table: Table) -> str:
    """Name another object by its visible reference; other light may leave it alike.

    In other light nothing is said without a reference of its own: what it is most like of those
    that are known need not be it.
    """
    in_other_light = [each for each in lines if each.technique not in VISIBLE]
    if not all(each.technique in LIGHTS for each in in_other_light):
        return ""
    if not all((each.object_id, each.face) in table.references for each in in_other_light):
        return ""
    own = frozenset(line.object_id for line in lines)
    other = table.pictures.names_other(timed.sheet.pattern, own)
    return "" if other is None else table.names.get(other, "another object")


def _other_by_structure(timed: Timed, lines: Sequence[LineSheet], table: Table) -> str:
    """Name another face by the structure of what is known, front or back."""
    if table.strangers is None or len({each.object_id for each in lines}) != 1:
        return ""
    first = lines[0]
    other = table.strangers.names_other(
        timed.sheet.pattern, first.object_id, face=first.face, technique=first.technique
    )
    if other is None:
        return ""
    pk, side = other
    name = table.names.get(pk, "another object")
    return name if side == first.face else f"{name} {SIDE_WORDS.get(side, side)}"
