"""The published table reads as the conservators wrote it, and its rules resolve each cell."""

from __future__ import annotations

import copy

import pytest

from imaging_requests.reckoning.truth.terms import Effect
from imaging_requests.reckoning.truth.triggers import TableError, read_table
from tests.pure.truth_story import TABLE_DATA, TABLES

TABLE = TABLES[1]
COLUMNS = ["VIS-F", "RK-F", "UV-F", "IR-F", "XR", "VIS-B", "RK-B", "UV-B", "IR-B", "E"]
GRID = """
1  O  V  O  V  V  V  V  V  V  V
2  O  D+ O  D- V  V  V  V  V  V
3  O  O  O  O  D+ V  V  V  V  V
4  O  O  O  O  O  V  V  V  V  V
5  O  O  O  D- D+ V  V  V  V  V
6  O  V  O  D- D- V  V  V  V  V
7  O  D+ O  V  V  V  V  V  V  V
8  D- O  D+ V  V  V  V  V  V  V
9  H  H  H  H  D- V  V  V  V  V
10 D- D+ D+ V  V  V  V  V  V  V
11 D- O  D- V  O  H  H  H  H  O
12 D- O  V  V  O  N  N  N  N  O
13 D- D+ V  V  D- O  O  O  O  D-
14 O  O  O  D- O  O  O  O  D- V
15 V  D- V  V  D- O  D+ O  V  O
16 V  O  V  V  O  O  O  O  D- O
17 V  O  V  V  V  V  D- V  V  V
18 D- O  V  V  V  D- O  V  V  V
19 D- O  V  V  O  O  O  O  O  O
20 O  O  D+ D- O  O  O  D+ V  D+
21 V  D+ V  V  D+ O  O  D- D- D+
22 V  V  V  V  D- O  D+ O  D- D-
23 V  V  V  V  V  O  D- O  D- V
24 V  V  V  V  D- O  D+ O  O  V
26 O  O  O  O  O  O  O  O  O  O
27 D- V  V  V  V  V  V  V  V  V
28 V  D- V  V  V  V  V  V  V  V
29 V  V  V  V  V  V  V  V  V  V
30 V  V  V  V  V  V  V  V  V  V
31 O  O  O  O  O  H  H  H  H  O
32 D+ D+ D- D- D- D+ D+ D- D- D-
"""
LAST_LOOKS = {
    2: "UV-F",
    3: "VIS-F UV-F IR-F",
    6: "IR-F",
    8: "RK-F",
    9: "VIS-F RK-F",
    11: "VIS-B RK-B UV-B IR-B",
    12: "VIS-B",
    13: "VIS-B",
    14: "VIS-F VIS-B XR",
    15: "E",
    16: "VIS-B",
    18: "RK-F",
    19: "VIS-B",
    21: "VIS-B",
    23: "VIS-B",
    24: "VIS-B UV-B IR-B",
    26: " ".join(COLUMNS),
    31: "VIS-B RK-B UV-B IR-B XR E",
}
VIEW_OF = {
    "VIS-F": ("VF", "F"),
    "RK-F": ("RK", "F"),
    "UV-F": ("UV", "F"),
    "IR-F": ("IR", "F"),
    "XR": ("XR", "T"),
    "VIS-B": ("VC", "B"),
    "RK-B": ("RK", "B"),
    "UV-B": ("UV", "B"),
    "IR-B": ("IR", "B"),
    "E": ("VF", "E"),
}


def test_every_cell_of_the_grid_is_as_published() -> None:
    seen = 0
    for line in GRID.strip().splitlines():
        number, *cells = line.split()
        for column, cell in zip(COLUMNS, cells, strict=True):
            assert TABLE.cell(TABLE.row(int(number)), *VIEW_OF[column]) == cell, (number, column)
            seen += 1
    assert seen == 31 * 10
    for puts_on, effects in ((True, "HHHHV"), (False, "NNNNV")):
        row = TABLE.row(25)
        for (technique, face), effect in zip(
            [VIEW_OF[c] for c in ("VIS-B", "RK-B", "UV-B", "IR-B", "E")], effects, strict=True
        ):
            assert TABLE.cell(row, technique, face, puts_on=puts_on) == effect


def test_last_looks_are_as_published_and_infrared_before_retouching_is_of_the_cleaned_state() -> (
    None
):
    found = {n: {look.column for look in row.last_look} for n, row in TABLE.rows.items()}
    assert found == {n: set(LAST_LOOKS.get(n, "").split()) for n in range(1, 33)}
    cleaned = [
        (n, look.column)
        for n, row in TABLE.rows.items()
        for look in row.last_look
        if look.as_of == "cleaned"
    ]
    assert cleaned == [(6, "IR-F")]


def test_every_row_names_its_source_and_mark() -> None:
    assert len(TABLE_DATA["rows"]) == 32
    assert all(row["source"] and row["mark"] == "cp" for row in TABLE_DATA["rows"])
    assert all(row["reason"] and row["said"] for row in TABLE_DATA["rows"])


def test_only_the_examination_opens_no_state() -> None:
    assert [n for n, row in TABLE.rows.items() if not row.opens_state] == [30]


def test_both_visible_techniques_share_a_column_and_light_on_edges_has_its_own() -> None:
    assert TABLE.column("VF", "F") == TABLE.column("VC", "F") == "VIS-F"
    assert TABLE.column("VF", "E") == TABLE.column("RK", "E") == "E"
    assert TABLE.column("XR", "T") == TABLE.column("XR", "F") == "XR"


@pytest.mark.parametrize(
    ("row", "technique", "face", "cm2", "pct", "expected"),
    [
        (14, "VF", "F", 25.0, 0.5, "D+"),
        (14, "RK", "B", 3.0, 0.1, "D+"),
        (14, "UV", "F", 3.0, 0.1, "D+"),
        (14, "VF", "F", 25.1, 0.5, "O"),
        (14, "VF", "F", 25.0, 0.51, "O"),
        (14, "VF", "F", None, 0.1, "O"),
        (14, "VF", "F", 3.0, None, "O"),
        (14, "XR", "T", 3.0, 0.1, "O"),
        (4, "IR", "F", 3.0, 0.1, "O"),
        (15, "VF", "E", 3.0, 0.1, "O"),
        (11, "VF", "B", 3.0, 0.1, "H"),
        (12, "VF", "B", 3.0, 0.1, "N"),
        (26, "VF", "F", 3.0, 0.1, "O"),
        (31, "VF", "F", 3.0, 0.1, "O"),
        (6, "RK", "F", 3.0, 0.1, "V"),
    ],
)
def test_a_small_area_softens_out_of_date_to_a_question_where_the_rule_says_so(
    row: int, technique: str, face: str, cm2: float | None, pct: float | None, expected: str
) -> None:
    assert TABLE.cell(TABLE.row(row), technique, face, area_cm2=cm2, area_pct=pct) == expected


def test_on_a_two_sided_object_work_on_the_back_uses_the_front_columns_for_the_back() -> None:
    retouching = TABLE.row(6)
    assert TABLE.cell(retouching, "UV", "B", mirrored=True) is Effect.OUT
    assert TABLE.cell(retouching, "UV", "F", mirrored=True) is Effect.VALID
    assert TABLE.cell(retouching, "XR", "T", mirrored=True) is Effect.ASK_VALID
    back_cleaned = TABLE.row(23)
    assert TABLE.cell(back_cleaned, "VF", "F", mirrored=True) is Effect.OUT
    assert TABLE.cell(TABLE.row(15), "VF", "E", mirrored=True) is Effect.OUT


def test_reframing_asks_about_a_frame_and_leaves_a_painting_alone() -> None:
    row = TABLE.row(29)
    assert TABLE.cell(row, "VF", "F", kind="frame") is Effect.ASK_VALID
    assert TABLE.cell(row, "VF", "F") is Effect.VALID


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("rows", 1, "cells", "UV-F"), "X", "Row 2, column UV-F: 'X' is no effect"),
        (("rows", 1, "row"), 1, "Row 1 stands twice"),
        (("rows", 1, "last_look"), [{"column": "UV-Z"}], "last look on unknown column 'UV-Z'"),
        (("rows", 1, "last_look"), [{"column": "UV-F", "as_of": "x"}], "'before' or 'cleaned'"),
        (("area_rule", "columns"), ["VIS-Q"], "area rule names unknown columns: VIS-Q"),
    ],
)
def test_a_faulty_table_is_refused_with_the_place_of_the_fault(
    path: tuple[object, ...], value: object, words: str
) -> None:
    data = copy.deepcopy(TABLE_DATA)
    spot = data
    for name in path[:-1]:
        spot = spot[name]
    spot[path[-1]] = value
    with pytest.raises(TableError, match=words.replace("(", r"\(")):
        read_table(data)


def test_a_missing_entry_an_unknown_row_and_an_unknown_technique_are_named() -> None:
    data = {k: v for k, v in TABLE_DATA.items() if k != "area_rule"}
    with pytest.raises(TableError, match="lacks the entry 'area_rule'"):
        read_table(data)
    with pytest.raises(TableError, match="no row 99"):
        TABLE.row(99)
    with pytest.raises(TableError, match="no column for technique 'TL'"):
        TABLE.column("TL", "F")
