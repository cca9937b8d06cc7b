"""Paint and photograph all objects of the demo in processes of their own, ahead of the story."""

from __future__ import annotations

import multiprocessing
import shutil
from collections import defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from imaging_requests.demo.codes import spec_of_view
from imaging_requests.demo.diary import PLANNED, Visit
from imaging_requests.demo.scenario import Thing
from imaging_requests.demo.takes import (
    Sitter,
    Take,
    TakenFrame,
    camera_for,
    photograph,
    stand_back,
)
from imaging_requests.demo.treating import changes_before
from imaging_requests.demo.world import World

PAINTERS = 2
#: Cameras count their files with four digits and begin again.
COUNTER_ENDS = 10_000


def take_key(visit: Visit, code: str) -> str:
    """Return the name of one shot line of a visit, fit for a folder."""
    return f"{visit.number} {visit.starts:%Y-%m-%d %H%M} {code}".replace(" ", "_")


@dataclass(kw_only=True)
class Darkroom:
    """Where painted frames wait until the story needs them."""

    folder: Path
    futures: dict[Visit, Future[list[TakenFrame]]] = field(default_factory=dict)
    frames: dict[str, list[TakenFrame]] = field(default_factory=dict)

    def frames_of(self, visit: Visit, code: str) -> list[TakenFrame]:
        """Return the frames of one shot line, waiting until its visit is photographed."""
        future = self.futures.pop(visit, None)
        if future is not None:
            by_take: dict[str, list[TakenFrame]] = defaultdict(list)
            for frame in future.result():
                by_take[frame.take_key].append(frame)
            self.frames |= by_take
        return self.frames.pop(take_key(visit, code))

    def throw_away(self, frames: Sequence[TakenFrame]) -> None:
        """Remove files that the store has taken in."""
        for folder in {frame.path.parent for frame in frames}:
            shutil.rmtree(folder)


@contextmanager
def opened(world: World, visits: Sequence[Visit], folder: Path) -> Iterator[Darkroom]:
    """Set painters to work on all objects, those that are needed first in front.

    An object stays with one painter for all its visits: painting takes longer than photographing.
    What a demo that was cut short left behind is removed first.
    """
    shutil.rmtree(folder, ignore_errors=True)
    room = Darkroom(folder=folder)
    painters = [
        ProcessPoolExecutor(
            1, mp_context=multiprocessing.get_context("spawn"), initializer=stand_back
        )
        for _ in range(PAINTERS)
    ]
    frames = dict.fromkeys(painters, 0)
    by_object: dict[str, list[tuple[Visit, Sitter]]] = defaultdict(list)
    for visit, sitter in sittings(world, visits, folder):
        by_object[visit.number].append((visit, sitter))
    try:
        for of_object in by_object.values():
            painter = min(painters, key=frames.__getitem__)
            for visit, sitter in of_object:
                frames[painter] += sum(take.expected_frames for take in sitter.takes)
                room.futures[visit] = painter.submit(photograph, sitter)
        yield room
    finally:
        for painter in painters:
            painter.shutdown(cancel_futures=True)
        shutil.rmtree(folder, ignore_errors=True)


def sittings(world: World, visits: Sequence[Visit], folder: Path) -> Iterator[tuple[Visit, Sitter]]:
    """Yield every visit with what is taken of its object, in the order of the visits."""
    counters: dict[str, int] = defaultdict(lambda: 1)
    things = {thing.number: thing for thing in world.scenario.things}
    for visit in visits:
        if visit.outcome == PLANNED:
            continue
        thing = things[visit.number]
        yield (
            visit,
            Sitter(
                number=visit.number,
                title=thing.facts["title"],
                facts=dict(thing.facts),
                looks=dict(thing.looks),
                takes=tuple(_takes_of(world, thing, visit, folder, counters)),
            ),
        )


def _takes_of(
    world: World, thing: Thing, visit: Visit, folder: Path, counters: dict[str, int]
) -> Iterator[Take]:
    """The takes of a visit, one after the other, spread over its time."""
    begins, ends = visit.begins_at(world.calendar), visit.ends_at(world.calendar)
    for place, view in enumerate(visit.views):
        spec = spec_of_view(thing, view, world.scenario.studio)
        starts_at = begins + (ends - begins) * (place + 0.5) / (len(visit.views) + 1)
        prefix = camera_for(view.technique).prefix
        if counters[prefix] + spec.frames >= COUNTER_ENDS:
            counters[prefix] = 1
        key = take_key(visit, view.code)
        yield Take(
            key=key,
            technique=view.technique,
            face=view.face,
            variant=view.variant,
            tiles=spec.tiles,
            exposures_ev=spec.exposures_ev,
            focus_slices=spec.focus_slices,
            px_per_mm=spec.px_per_mm,
            starts_at=starts_at,
            zone=world.calendar.zone.key,
            folder=folder / key,
            first_counter=counters[prefix],
            changes=changes_before(world, visit.number, starts_at),
            has_barrier_filter=visit.has_barrier_filter,
        )
        counters[prefix] += spec.frames
