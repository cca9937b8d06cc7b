"""The columns of the catalogue board: faces and techniques in the order of the shot list."""

from __future__ import annotations

from dataclasses import dataclass

from imaging_requests.requesting.words import view_words


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
_FACE = (
    ("VF", ""),
    ("VC", ""),
    ("RK", "L"),
    ("RK", "T"),
    ("UV", ""),
    ("IR", ""),
)


COLUMNS: tuple[Column, ...] = (
    *(
        Column(face, technique, variant, view_words(technique, face, variant))
        for face in ("F", "B")
        for technique, variant in _FACE
    ),
    Column("E", "VF", "", view_words("VF", "E")),
    Column("T", "XR", "", view_words("XR", "T")),
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
