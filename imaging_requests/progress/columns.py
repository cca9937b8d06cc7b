"""The columns of the catalogue board: faces and techniques in the order of the shot list."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Column:
    """One column: a technique on a face, raking with its direction."""

    face: str
    technique: str
    variant: str
    words: str

    @property
    def code(self) -> str:
        """Short head of the column within its face."""
        return f"{self.technique} {self.variant}" if self.variant else self.technique

    @property
    def key(self) -> str:
        """Key of the column in cached cells."""
        return f"{self.technique}-{self.face}-{self.variant}"


FACE_WORDS = {"F": "Front", "B": "Back", "E": "Edges", "T": "Through"}
TECHNIQUE_WORDS = {
    "VF": "visible, flash",
    "VC": "visible, continuous light",
    "RK": "raking light",
    "UV": "UV fluorescence",
    "IR": "infrared",
    "XR": "X-ray",
}
DIRECTION_WORDS = {
    "L": "from the left",
    "R": "from the right",
    "T": "from the top",
    "B": "from below",
}
_FACE = (
    ("VF", ""),
    ("VC", ""),
    ("RK", "L"),
    ("RK", "T"),
    ("UV", ""),
    ("IR", ""),
)


def view_words(technique: str, face: str, variant: str = "") -> str:
    """Say a view in words: "raking light from the left, front"."""
    words = TECHNIQUE_WORDS.get(technique, technique)
    if technique == "RK" and variant in DIRECTION_WORDS:
        words = f"{words} {DIRECTION_WORDS[variant]}"
    elif variant:
        words = f"{words}, detail {variant}"
    return words if face == "T" else f"{words}, {FACE_WORDS.get(face, face).lower()}"


def view_code(technique: str, face: str, variant: str = "") -> str:
    """Return the short code of a view, as in "RK-F-L" or "XR"."""
    if face == "T":
        return technique
    return "-".join(part for part in (technique, face, variant) if part)


COLUMNS: tuple[Column, ...] = (
    *(
        Column(face, technique, variant, view_words(technique, face, variant))
        for face in ("F", "B")
        for technique, variant in _FACE
    ),
    Column("E", "VF", "", "edges, four frames"),
    Column("T", "XR", "", "X-ray"),
)
GROUPS: tuple[tuple[str, int], ...] = (
    ("Front", len(_FACE)),
    ("Back", len(_FACE)),
    ("Edges", 1),
    ("Through", 1),
)
OPENS: tuple[bool, ...] = tuple(
    index in (0, len(_FACE), 2 * len(_FACE), 2 * len(_FACE) + 1) for index in range(len(COLUMNS))
)
KEYS = {column.key: column for column in COLUMNS}
