"""Plan a large museum: which objects stand in which entries of which catalogues.

The plan follows from the number of objects alone, so that every process works it out for itself.
Objects of one entry lie in one chunk, and a chunk is written in one transaction; entries of one
catalogue are strewn over all chunks, as a catalogue is strewn over the inventory of a house.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from functools import lru_cache

SEED = 1390
CHUNK = 200
#: Entries of the largest catalogue; the others are smaller.
LARGEST = 500
SMALLEST = 40
#: About half of a large house stands in no catalogue at all.
SHARE_IN_CATALOGUES = 0.5
#: How many objects an entry has: most one, pairs and sets now and then.
OBJECTS_PER_ENTRY = (1,) * 41 + (2,) * 6 + (3,) * 3
#: Shares of entries that are shown in a second catalogue too, or that lost an object once.
ALSO_ELSEWHERE = 0.04
LOST_A_MEMBER = 0.1


@dataclass(frozen=True, slots=True)
class EntryPlan:
    """One entry: its key, its catalogue's key and its number there."""

    pk: int
    catalogue: int
    number: int


@dataclass(frozen=True, slots=True)
class Unit:
    """Objects that belong together, and the entries that hold exactly these objects.

    With `has_left` the last object belonged to the entries once and does not any more.
    """

    objects: range
    entries: tuple[EntryPlan, ...] = ()
    has_left: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole museum; `catalogues` counts entries by catalogue, the largest first."""

    objects: int
    catalogues: tuple[int, ...]
    chunks: tuple[tuple[Unit, ...], ...]


@dataclass(slots=True)
class _Sketch:
    """A unit before it has its objects."""

    size: int
    entries: list[EntryPlan] = field(default_factory=list)
    has_left: bool = False


@lru_cache(maxsize=2)
def plan(objects: int) -> Plan:
    """Plan a museum of a number of objects.

    >>> made = plan(1_000)
    >>> made.catalogues[0], sum(len(unit.objects) for chunk in made.chunks for unit in chunk)
    (500, 1000)
    """
    dice = random.Random(f"{SEED} plan {objects}")
    sketches, catalogues = _in_catalogues(objects, dice)
    used = sum(sketch.size for sketch in sketches)
    sketches += [_Sketch(1) for _ in range(objects - used)]
    dice.shuffle(sketches)
    return Plan(objects, tuple(catalogues), tuple(_chunks(sketches)))


def _in_catalogues(objects: int, dice: random.Random) -> tuple[list[_Sketch], list[int]]:
    room = max(int(objects * SHARE_IN_CATALOGUES), min(int(LARGEST * 1.4), int(objects * 0.7)))
    sketches: list[_Sketch] = []
    catalogues = [0]
    most, used, pk = LARGEST, 0, 0
    while used < room:
        size = min(dice.choice(OBJECTS_PER_ENTRY), room - used)
        sketch = _Sketch(size)
        if size > 1 and dice.random() < LOST_A_MEMBER * 5:
            sketch.has_left = True
        if catalogues[-1] == most:
            catalogues.append(0)
            most = dice.randint(SMALLEST, LARGEST - 20)
        pk += 1
        catalogues[-1] += 1
        sketch.entries.append(EntryPlan(pk, len(catalogues), catalogues[-1]))
        sketches.append(sketch)
        used += size
    elsewhere = [sketch for sketch in sketches if dice.random() < ALSO_ELSEWHERE]
    if elsewhere:
        catalogues.append(0)
    for sketch in elsewhere:
        if catalogues[-1] == LARGEST // 2:
            catalogues.append(0)
        pk += 1
        catalogues[-1] += 1
        sketch.entries.append(EntryPlan(pk, len(catalogues), catalogues[-1]))
    return sketches, catalogues


def _chunks(sketches: list[_Sketch]) -> list[tuple[Unit, ...]]:
    chunks: list[tuple[Unit, ...]] = []
    open_chunk: list[Unit] = []
    first, in_chunk = 1, 0
    for sketch in sketches:
        open_chunk.append(
            Unit(range(first, first + sketch.size), tuple(sketch.entries), sketch.has_left)
        )
        first += sketch.size
        in_chunk += sketch.size
        if in_chunk >= CHUNK:
            chunks.append(tuple(open_chunk))
            open_chunk, in_chunk = [], 0
    if open_chunk:
        chunks.append(tuple(open_chunk))
    return chunks
