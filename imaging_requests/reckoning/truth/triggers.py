"""The table of re-shoot triggers: what an intervention does to the pictures taken before it.

A table version is data (JSON) and is never changed once published. A row names an intervention,
a column a technique on a face; the cell is an :class:`Effect`. Three rules resolve a cell for
one real event:

* mirror rule: on a two-sided object an intervention on face B uses the F columns for face B and
  the B columns for face F;
* area rule: a treated area that is small in share *and* in size softens O to D+ in the columns
  that the table names (never H, N, infrared or X-ray, never the rows flagged so);
* direction: a row that stands for "put on" and "taken off" has two effects in one cell.

>>> from pathlib import Path
>>> import json
>>> table = read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))
>>> table.row(2).name
'Varnish thinned or removed'
>>> str(table.cell(table.row(2), "UV", "F")), str(table.cell(table.row(2), "RK", "F"))
('O', 'D+')
>>> str(table.cell(table.row(2), "UV", "B", mirrored=True))
'O'
>>> str(table.cell(table.row(6), "UV", "F", area_cm2=3.0, area_pct=0.04))
'D+'
>>> str(table.cell(table.row(25), "VF", "B", puts_on=True))
'H'
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

from .terms import BACK, EDGES, FRONT, Effect

EITHER_WAY = "H/N"
_OTHER = {FRONT: BACK, BACK: FRONT}


class TableError(ValueError):
    """The trigger table cannot be used; the message says where and why."""


class SurfaceAct(StrEnum):
    """What a row does to the stack of surfaces of a face."""

    COVER = "cover"
    UNCOVER = "uncover"
    LINE = "line"
    UNLINE = "unline"
    BOARD = "board"
    REPLACE = "replace"


@dataclass(frozen=True, slots=True)
class LastLook:
    """A view that the step destroys for ever; ``as_of`` is ``before`` or ``cleaned``."""

    column: str
    as_of: str = "before"
    note: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One intervention of the table, read and checked."""

    number: int
    name: str
    said: str
    cells: Mapping[str, Effect | None]
    last_look: tuple[LastLook, ...]
    reason: str
    opens_state: bool = True
    outermost_only: bool = False
    softens: bool = True
    is_incident: bool = False
    act: SurfaceAct | None = None
    act_face: str = BACK
    by_kind: Mapping[str, Effect] | None = None
    flags: frozenset[str] = frozenset()

    @property
    def has_two_directions(self) -> bool:
        """Whether the row stands for "put on" and "taken off", so that a step must say which."""
        return self.act is SurfaceAct.BOARD or None in self.cells.values()


@dataclass(frozen=True)
class TriggerTable:
    """One published version of the table."""

    version: int
    columns: tuple[str, ...]
    families: Mapping[str, str]
    rows: Mapping[int, Row]
    max_area_cm2: float
    max_area_pct: float
    softened_columns: frozenset[str]
    witness_within_h: float
    min_reason_length: int

    def row(self, number: int) -> Row:
        """The row of an intervention; :class:`TableError` names the rows there are."""
        try:
            return self.rows[number]
        except KeyError:
            raise TableError(
                f"Trigger table version {self.version} has no row {number}; "
                f"it has the rows {min(self.rows)} to {max(self.rows)}. "
                "Record the event under one of them."
            ) from None

    @cached_property
    def _column_of(self) -> dict[tuple[str, str, bool], str]:
        known = set(self.columns)
        found: dict[tuple[str, str, bool], str] = {}
        for technique, family in self.families.items():
            for face in (FRONT, BACK, EDGES, "T"):
                for mirrored in (False, True):
                    side = _OTHER.get(face, face) if mirrored else face
                    if family in known:
                        name = family
                    elif face == EDGES:
                        name = EDGES
                    else:
                        name = f"{family}-{side}"
                    if name in known:
                        found[technique, face, mirrored] = name
        return found

    def column(self, technique: str, face: str, *, mirrored: bool = False) -> str:
        """Column of a technique on a face: VF and VC share VIS, any light on edges is E."""
        try:
            return self._column_of[technique, face, mirrored]
        except KeyError:
            raise TableError(
                f"Trigger table version {self.version} has no column for technique "
                f"{technique!r} on face {face!r}. Add the technique to the table's families."
            ) from None

    def cell(
        self,
        row: Row,
        technique: str,
        face: str,
        *,
        mirrored: bool = False,
        area_cm2: float | None = None,
        area_pct: float | None = None,
        puts_on: bool | None = None,
        kind: str = "painting",
    ) -> Effect:
        """Effect of one event on pictures of ``technique`` on ``face``, all rules applied.

        ``area_cm2`` and ``area_pct`` are the treated area (cm², per cent of the face); either
        one unknown means the area rule does not soften. ``puts_on`` chooses the direction of a
        row that has two; unknown counts as put on.
        """
        key = (row.number, technique, face, mirrored, puts_on, kind)
        effect = self._unsoftened.get(key)
        if effect is None:
            effect = self._unsoftened[key] = self._read(
                row, technique, face, mirrored, puts_on, kind
            )
        if (
            effect is Effect.OUT
            and row.softens
            and area_cm2 is not None
            and area_pct is not None
            and area_cm2 <= self.max_area_cm2
            and area_pct <= self.max_area_pct
            and not (row.by_kind and kind in row.by_kind)
            and self.column(technique, face, mirrored=mirrored) in self.softened_columns
        ):
            return Effect.ASK_OUT
        return effect

    @cached_property
    def _unsoftened(self) -> dict[tuple[int, str, str, bool, bool | None, str], Effect]:
        """Cells read so far: a table has few, and every picture of the house asks for them."""
        return {}

    def _read(
        self, row: Row, technique: str, face: str, mirrored: bool, puts_on: bool | None, kind: str
    ) -> Effect:
        if row.by_kind and kind in row.by_kind:
            return row.by_kind[kind]
        effect = row.cells[self.column(technique, face, mirrored=mirrored)]
        if effect is None:
            return Effect.NEW if puts_on is False else Effect.HIDDEN
        return effect


def home_face(row: Row) -> str:
    """The face that a kind of step is done to: where it changes surfaces, else where it does most.

    A step that does as much to one as to the other counts as one of the front.
    """
    if row.act is not None:
        return row.act_face

    def weight(face: str) -> tuple[int, int]:
        cells = [cell for column, cell in row.cells.items() if column.endswith(f"-{face}")]
        strong = sum(cell in (Effect.OUT, Effect.HIDDEN, Effect.NEW, None) for cell in cells)
        return strong, sum(cell is not Effect.VALID for cell in cells)

    return BACK if weight(BACK) > weight(FRONT) else FRONT


Tables = Mapping[int, TriggerTable]


def is_mirrored(*, two_sided: bool, face: str) -> bool:
    """Whether the mirror rule applies to an intervention on ``face``."""
    return two_sided and face == BACK


def read_table(data: Mapping[str, Any]) -> TriggerTable:
    """Turn the JSON of one table version into a checked table.

    Every row must fill every column with a known effect, last looks must name columns, row
    numbers must be unique; anything else raises :class:`TableError` with row and column.
    """
    try:
        columns = tuple(str(name) for name in data["columns"])
        rule = data["area_rule"]
        rows: dict[int, Row] = {}
        for raw in data["rows"]:
            row = _read_row(raw, columns)
            if row.number in rows:
                raise TableError(f"Row {row.number} stands twice in the trigger table.")
            rows[row.number] = row
        softened = frozenset(str(name) for name in rule["columns"])
        unknown = sorted(softened - set(columns))
        if unknown:
            raise TableError(f"The area rule names unknown columns: {', '.join(unknown)}.")
        return TriggerTable(
            version=int(data["version"]),
            columns=columns,
            families={str(k): str(v) for k, v in data["families"].items()},
            rows=rows,
            max_area_cm2=float(rule["max_area"]["value"]),
            max_area_pct=float(rule["max_share"]["value"]),
            softened_columns=softened,
            witness_within_h=float(data["emergency"]["witness_within"]["value"]),
            min_reason_length=int(data["sign_off"]["min_reason_length"]["value"]),
        )
    except KeyError as missing:
        raise TableError(f"The trigger table lacks the entry {missing}.") from None


def _read_row(raw: Mapping[str, Any], columns: tuple[str, ...]) -> Row:
    number = int(raw["row"])
    cells: dict[str, Effect | None] = {}
    for column in columns:
        text = raw["cells"].get(column)
        if text == EITHER_WAY:
            cells[column] = None
            continue
        try:
            cells[column] = Effect(text)
        except ValueError:
            known = ", ".join([*(e.value for e in Effect), EITHER_WAY])
            raise TableError(
                f"Row {number}, column {column}: {text!r} is no effect. Use one of {known}."
            ) from None
    looks = tuple(
        LastLook(look["column"], look.get("as_of", "before"), look.get("note", ""))
        for look in raw.get("last_look", ())
    )
    for look in looks:
        if look.column not in columns:
            raise TableError(f"Row {number}: last look on unknown column {look.column!r}.")
        if look.as_of not in ("before", "cleaned"):
            raise TableError(
                f"Row {number}: a last look is as of 'before' or 'cleaned', not {look.as_of!r}."
            )
    flags = frozenset(raw.get("flags", ()))
    act = raw.get("surface_act")
    by_kind = raw.get("by_kind")
    return Row(
        number=number,
        name=str(raw["name"]),
        said=str(raw["said"]),
        cells=cells,
        last_look=looks,
        reason=str(raw["reason"]),
        opens_state="opens no state" not in flags,
        outermost_only="outermost surface only" in flags,
        softens="area rule never softens" not in flags,
        is_incident="incident" in flags,
        act=SurfaceAct(act["act"]) if act else None,
        act_face=str(act["columns"]) if act else BACK,
        by_kind={k: Effect(v) for k, v in by_kind.items()} if by_kind else None,
        flags=flags,
    )
