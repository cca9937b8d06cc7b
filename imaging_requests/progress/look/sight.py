"""What an address asks to be shown: face, pictures, mode, spot and measure, all in mm.

The same words stand in the address, in the form without scripts and in the link that reopens a
view. What cannot be read is said and left out; the rest of the view opens.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.http import QueryDict

from imaging_requests.people.requests import whole_number

FACES = {"F": "Front", "B": "Back", "E": "Edges"}
MODES = {
    "one": "One",
    "fade": "Fade",
    "split": "Split",
    "blink": "Blink",
    "side": "Side by side",
    "grid": "Grid",
}
MOST_PICTURES = 4
#: No address leads further away than this, in mm.
FARTHEST_MM = 100_000.0
LEAST_ACROSS_MM = 0.1


@dataclass(frozen=True, slots=True)
class Chosen:
    """A picture by its key, and which exposure of its bracket; None is the middle one."""

    picture_id: int
    ev: float | None = None

    def as_text(self) -> str:
        """Write it as it stands in an address: ``12`` or ``12:-2``."""
        return str(self.picture_id) if self.ev is None else f"{self.picture_id}:{self.ev:g}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """One view of an object, complete enough to be opened again."""

    face: str = ""
    mode: str = "one"
    pictures: tuple[Chosen, ...] = ()
    centre_mm: tuple[float, float] | None = None
    across_mm: float | None = None
    mix_percent: float = 50
    is_inverted: bool = False
    measure_mm: tuple[float, float, float, float] | None = None
    note_id: int | None = None
    are_notes_shown: bool = True

    def as_query(self) -> str:
        """Write the address of this view, without what stands at its usual value."""
        pairs: list[tuple[str, str]] = []
        if self.face:
            pairs.append(("face", self.face))
        if self.mode != "one":
            pairs.append(("mode", self.mode))
        pairs += [("p", each.as_text()) for each in self.pictures]
        if self.centre_mm is not None and self.across_mm is not None:
            pairs += [("x", _plain(self.centre_mm[0])), ("y", _plain(self.centre_mm[1]))]
            pairs.append(("across", _plain(self.across_mm)))
        if self.mix_percent != 50:
            pairs.append(("mix", _plain(self.mix_percent)))
        if self.is_inverted:
            pairs.append(("inverted", "1"))
        if self.measure_mm is not None:
            pairs.append(("measure", ",".join(_plain(each) for each in self.measure_mm)))
        if self.note_id is not None:
            pairs.append(("note", str(self.note_id)))
        if not self.are_notes_shown:
            pairs.append(("notes", "0"))
        return urlencode(pairs)


def _plain(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def read_sight(data: QueryDict) -> tuple[Sight, list[str]]:
    """Read an address; returns the view and a sentence for everything that could not be read."""
    refusals: list[str] = []
    sight = Sight(
        face=_one_of(data, "face", FACES, "", "face", refusals),
        mode=_one_of(data, "mode", MODES, "one", "way of looking", refusals),
        pictures=_chosen(data.getlist("p"), refusals),
        is_inverted=data.get("inverted") == "1",
        are_notes_shown=data.get("notes") != "0",
    )
    spot = [_number(data, name, refusals) for name in ("x", "y", "across")]
    if spot.count(None) in (1, 2):
        refusals.append("A part in view needs x, y and across together; the whole is shown.")
    if None not in spot:
        x, y, across = (float(each) for each in spot if each is not None)
        if across < LEAST_ACROSS_MM:
            refusals.append(f"A view is at least {LEAST_ACROSS_MM:g} mm wide; the whole is shown.")
        else:
            sight = replace(sight, centre_mm=(x, y), across_mm=across)
    mix = _number(data, "mix", refusals)
    if mix is not None:
        if not 0 <= mix <= 100:
            refusals.append(f"A mix is 0 to 100 per cent; {mix:g} was brought to the nearer end.")
        sight = replace(sight, mix_percent=min(max(mix, 0.0), 100.0))
    note = data.get("note", "")
    if note:
        if (note_id := whole_number(note)) is not None:
            sight = replace(sight, note_id=note_id)
        else:
            refusals.append(f"“{note[:40]}” names no note.")
    return replace(sight, measure_mm=_measure(data, refusals)), refusals


def _one_of(
    data: QueryDict, name: str, known: Iterable[str], usual: str, word: str, refusals: list[str]
) -> str:
    value = data.get(name, "") or usual
    if value == usual or value in known:
        return value
    refusals.append(f"“{value[:40]}” is no {word}; it is left out.")
    return usual


def _chosen(values: list[str], refusals: list[str]) -> tuple[Chosen, ...]:
    found: list[Chosen] = []
    for value in values:
        if not value:
            continue
        key, colon, ev_text = value.partition(":")
        ev = _finite(ev_text) if colon else None
        if not (key.isascii() and key.isdigit() and len(key) <= 18) or (colon and ev is None):
            refusals.append(f"“{value[:40]}” names no picture; it is left out.")
        elif len(found) == MOST_PICTURES:
            refusals.append(f"At most {MOST_PICTURES} pictures are shown; the others are left out.")
            break
        else:
            found.append(Chosen(int(key), ev))
    return tuple(found)


def _finite(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) and abs(value) <= FARTHEST_MM else None


def _number(data: QueryDict, name: str, refusals: list[str]) -> float | None:
    text = data.get(name, "")
    if not text:
        return None
    value = _finite(text)
    if value is None:
        refusals.append(f"“{text[:40]}” is no number for {name}; it is left out.")
    return value


def _measure(data: QueryDict, refusals: list[str]) -> tuple[float, float, float, float] | None:
    text = data.get("measure", "")
    if not text:
        return None
    values = [_finite(each) for each in text.split(",")]
    if len(values) != 4 or None in values:
        refusals.append("A measure has four numbers: x and y of both ends; it is left out.")
        return None
    one, two, three, four = (float(each) for each in values if each is not None)
    return one, two, three, four
