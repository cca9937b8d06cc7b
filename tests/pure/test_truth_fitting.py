"""A step that is planned against what lies on the object, held against the history of surfaces."""

from __future__ import annotations

import json
import random
from datetime import timedelta
from pathlib import Path

import pytest

from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.fitting import Misfit, misfit
from imaging_requests.reckoning.truth.stateline import draw_line
from imaging_requests.reckoning.truth.surfaces import follow
from imaging_requests.reckoning.truth.triggers import read_table
from tests.factory import NOW

TABLES = {1: read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))}
CANVAS, LINED = ("F.1", "B.1"), ("F.1", "B.1", "B.2")
FACING_ON, FACING_OFF, LINING_ON, LINING_OFF, BOARD, TRANSFER = 9, 10, 11, 12, 25, 31


def step(number: int, row: int, *, puts_on: bool | None = None, face: str = "F") -> Event:
    at = NOW + timedelta(days=number)
    return Event(
        key=f"i{number}",
        recorded_at=at,
        order=number,
        row=row,
        table_version=1,
        ended_at=at,
        puts_on=puts_on,
        face=face,
    )


def asked(
    *rows: int | Event, layers: tuple[str, ...] = CANVAS, two_sided: bool = False
) -> Misfit | None:
    """Ask about the last of some steps after all the others."""
    events = [row if isinstance(row, Event) else step(n, row) for n, row in enumerate(rows)]
    return misfit(events[:-1], events[-1], TABLES, layers=layers, two_sided=two_sided)


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ((FACING_OFF,), ("facing", "F", False, None)),
        ((FACING_ON,), None),
        ((FACING_ON, FACING_OFF), None),
        ((FACING_ON, FACING_ON), ("facing", "F", True, "i0")),
        ((FACING_ON, FACING_OFF, FACING_OFF), ("facing", "F", False, None)),
        ((LINING_OFF,), ("lining", "B", False, None)),
        ((LINING_ON, LINING_OFF, LINING_ON), None),
        ((LINING_ON, TRANSFER, LINING_OFF), ("lining", "B", False, None)),
        ((LINING_ON, 2, 7, LINING_ON), ("lining", "B", True, "i0")),
        ((step(0, BOARD, puts_on=False),), ("backing board", "B", False, None)),
        ((step(0, BOARD, puts_on=True), step(1, BOARD, puts_on=False)), None),
        (
            (step(0, BOARD, puts_on=True), step(1, BOARD, puts_on=True)),
            ("backing board", "B", True, "i0"),
        ),
        ((step(0, BOARD), step(1, BOARD, puts_on=False)), None),
        (
            (step(0, BOARD, puts_on=True), LINING_ON, step(2, BOARD, puts_on=False)),
            ("backing board", "B", False, None),
        ),
        ((FACING_ON, step(1, BOARD, puts_on=False)), ("backing board", "B", False, None)),
        ((FACING_ON, LINING_ON, FACING_OFF), None),
    ],
)
def test_a_step_fits_what_the_steps_before_it_left(
    rows: tuple[int | Event, ...], found: tuple[str, str, bool, str | None] | None
) -> None:
    assert asked(*rows) == (None if found is None else Misfit(*found))


def test_a_lining_from_the_beginning_comes_off_and_a_second_does_not_go_on() -> None:
    assert asked(LINING_OFF, layers=LINED) is None
    assert asked(LINING_ON, layers=LINED) == Misfit("lining", "B", is_on=True, since=None)


def test_a_two_sided_panel_has_a_facing_on_either_face() -> None:
    inner, outer = step(0, FACING_ON), step(1, FACING_ON, face="B")
    assert asked(inner, outer, two_sided=True) is None
    gone = step(2, FACING_OFF, face="B")
    assert asked(inner, gone, two_sided=True) == Misfit("facing", "B", is_on=False, since=None)


def test_it_agrees_with_the_history_of_surfaces_wherever_every_step_fits() -> None:
    dice = random.Random(12)
    kept = refused = 0
    for _ in range(200):
        done: list[Event] = []
        layers = dice.choice((CANVAS, LINED))
        for number in range(12):
            row = dice.choice((FACING_ON, FACING_OFF, LINING_ON, LINING_OFF, BOARD, TRANSFER, 2))
            on = dice.choice((True, False)) if row == BOARD else None
            event = step(number, row, puts_on=on)
            if misfit(done, event, TABLES, layers=layers, two_sided=False) is not None:
                refused += 1
                continue
            done.append(event)
            kept += 1
            line = draw_line(done, TABLES, event.ended_at or NOW)
            found = follow(line, layers, two_sided=False)
            for face, on_row, off_row in (("F", FACING_ON, FACING_OFF), ("B", BOARD, BOARD)):
                probe_off = step(50, off_row, puts_on=False if off_row == BOARD else None)
                covered = misfit(done, probe_off, TABLES, layers=layers, two_sided=False) is None
                assert covered == (found.top(face) is None), (face, on_row, [e.row for e in done])
            backs = [life for life in found.lives.values() if life.code[0] == "B"]
            standing = [life for life in backs if life.gone is None]
            is_lined = (
                misfit(done, step(50, LINING_OFF), TABLES, layers=layers, two_sided=False) is None
            )
            assert is_lined == (len(standing) > 1)
    assert min(kept, refused) > 400, "both answers were met often enough to be compared"
