"""A drop with known truth: many good files, and every kind of exception a real one brings.

The files are made here from seeds, small, and nothing is copied from real pictures. Each is one
frame of a session whose shot lines are known, so that for each it is known where it belongs and
what the program must say about it. In proportion to the whole drop of 2,000 files:

| kind | of 2,000 | what must become of it |
|---|---|---|
| good | 1,965 | placed where it belongs |
| duplicate | 12 | answered "already here" |
| namesake | 6 | same name, other bytes: kept, and on the sorting table |
| clock | 5 | taken an hour off by the camera's clock: on the sorting table |
| mirrored | 4 | a back turned over by the program that wrote it: on the sorting table |
| untagged | 3 | without colour profile: on the sorting table |
| shallow | 2 | 8-bit levels in 16 bits: on the sorting table |
| truncated | 2 | cut short: asked for again |
| stranger | 1 | shows another object: on the sorting table |
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.imaging.likeness.pattern import pattern_of, pattern_text
from imaging_requests.imaging.synthesis import (
    Condition,
    Face,
    PaintingSpec,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    build_painting,
    capture,
    picture_extent,
)
from imaging_requests.intake.models import FrameLook
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import pixels, tiff

GAP_S, LINE_GAP_S, LEAD_S = 6, 40, 300
PX_PER_MM = 0.6
EXPOSURE_S = {"VF": 1 / 125, "RK": 1 / 4, "UV": 8.0}
"""Exposure time of step 0; flash, a lamp from the side and fluorescence differ by far."""
FULL = {
    "namesake": 6,
    "clock": 5,
    "mirrored": 4,
    "untagged": 3,
    "shallow": 2,
    "truncated": 2,
    "stranger": 1,
    "duplicate": 12,
}
MIDDLE = {**dict.fromkeys(FULL, 1), "mirrored": 2, "duplicate": 2}
"""A sample of every kind, for a quick look."""
SMALL = {**dict.fromkeys(FULL, 1), "mirrored": 0, "stranger": 0, "duplicate": 2}
"""A sample without true pictures, which take long to paint."""
ALREADY_HERE = "duplicate"


@dataclass(frozen=True, slots=True)
class Truth:
    """What is known of one file: its place, and its kind."""

    session: int
    name: str
    kind: str
    line: int
    tile_x: int
    tile_y: int
    ev: float


@dataclass(frozen=True, slots=True)
class _Place:
    line: ShotLine
    tile_x: int
    tile_y: int
    ev: float
    at: datetime
    picture: tuple[int, str] | None
    is_middle: bool


@lru_cache(maxsize=4)
def _painting(number: int) -> tuple[Scene, PaintingSpec]:
    spec = PaintingSpec(
        seed=700 + number,
        width_mm=420 + 30 * number,
        height_mm=330 + 20 * number,
        depth_mm=25,
        warp_mm=3,
        support=Support.CANVAS,
        subject=list(Subject)[number % len(Subject)],
        number=f"AR {900 + number:04}",
        title=f"Picture {number}",
    )
    return Scene(build_painting(spec), Condition.initial(spec)), spec


@lru_cache(maxsize=64)
def painted(number: int, face: str, noise_seed: int = 1) -> Any:
    """A visible picture of the front or the back of one of the painted objects."""
    scene, spec = _painting(number)
    side = Face.FRONT if face == "F" else Face.BACK
    shot = Shot(
        technique=Technique.FLASH,
        face=side,
        tile=picture_extent(spec, Technique.FLASH),
        px_per_mm=PX_PER_MM,
        noise_seed=noise_seed,
    )
    return capture(scene, shot).pixels


def lay_out_sessions(files: int, *, sessions: int, by: User) -> list[Session]:
    """Make sessions whose shot lines together have the places for a drop of so many files."""
    counts = _counts(files)
    places = files - counts["duplicate"] - counts["namesake"]
    made = []
    for number in range(sessions):
        share = places // sessions + (1 if number < places % sessions else 0)
        session = factory.session(
            by=by,
            starts_at=factory.IN_AN_HOUR + timedelta(days=number),
            length_h=0.7 if sessions == 1 else 1.5 if number == 0 else 1.1,
        )
        _lines(session, share, with_pictures=painted_objects(files) if number == 0 else 0)
        made.append(session)
    return made


def _lines(session: Session, places: int, *, with_pictures: int) -> None:
    """Give a session lines of brackets and tiles until it asks for so many frames."""
    left = places
    for number in range(with_pictures):
        obj = _object(f"AR {900 + number:04}")
        for face in ("F", "B"):
            factory.shot_line(session, obj, "VF", face)
            _refer(obj, number, face)
            left -= 1
        factory.shot_line(session, obj, "RK", "F", "L")
        left -= 3
    number = 0
    while left > 0:
        obj = _object(f"AR {session.pk}{number:03}")
        number += 1
        for technique, variant, tiles in (
            ("RK", "L", 1),
            ("UV", "", 1),
            ("RK", "T", 1),
            ("VF", "", 4),
            ("RK", "R", 1),
        ):
            frames = {"RK": 3, "UV": 4}.get(technique, 1) * tiles
            if frames > left:
                continue
            factory.shot_line(
                session, obj, technique, "F", variant, tiles_across=tiles, expected_files=frames
            )
            left -= frames
        if 0 < left < 3:
            factory.shot_line(session, obj, "VF", "B", tiles_across=left, expected_files=left)
            left = 0


def _refer(obj: CollectionObject, number: int, face: str) -> None:
    """Give a face an accepted picture of an earlier day, by which it can be known."""
    grey = painted(number, face, noise_seed=2).mean(axis=2) / 257
    cover = factory.frame()
    pattern = pattern_text(pattern_of(grey.astype(np.uint8)))
    FrameLook.objects.create(frame=cover, pattern=pattern)
    factory.deliverable(obj, "VF", face, frames=[cover])


def _object(number: str) -> CollectionObject:
    return factory.museum_object(number)


def painted_objects(files: int) -> int:
    """Return of how many objects fronts and backs are true pictures, so that they can be known."""
    return 6 if files >= 2_000 else 4 if files >= 400 else 3 if files >= 150 else 0


def _counts(files: int) -> dict[str, int]:
    return dict(FULL if files >= 400 else MIDDLE if files >= 150 else SMALL)


def _places(session: Session) -> Iterator[_Place]:
    """Yield the places of a session in shooting order, with their instants."""
    at = session.starts_at + timedelta(seconds=LEAD_S)
    for line in session.shot_lines.select_related("object").order_by("position"):
        evs = sorted(float(ev) for ev in line.exposures_ev) or [0.0]
        number = _painted_number(line)
        for tile in range(line.tiles_across):
            for ev in evs:
                yield _Place(
                    line=line,
                    tile_x=tile,
                    tile_y=0,
                    ev=ev,
                    at=at,
                    picture=None if number is None else (number, line.face),
                    is_middle=line.technique == "RK" and ev == 0,
                )
                at += timedelta(seconds=GAP_S)
        at += timedelta(seconds=LINE_GAP_S)


def _painted_number(line: ShotLine) -> int | None:
    if line.technique != "VF" or line.tiles_across > 1:
        return None
    numbers = [n.number for n in line.object.numbers.all()]
    found = [int(n.split()[1]) - 900 for n in numbers if n.startswith("AR 09") and len(n) == 7]
    return found[0] if found else None


def write_drop(folder: Path, sessions: list[Session], files: int) -> list[Truth]:
    """Write the files of the drop, one folder for each session, and return what is known of each.

    The order of the names is the order of the instants, as a camera counts.
    """
    counts = _counts(files)
    chosen = _choose(sessions, counts)
    truths: list[Truth] = []
    counter = 0
    for session in sessions:
        own = folder / f"session-{session.pk}"
        own.mkdir(parents=True)
        for place in _places(session):
            counter += 1
            name = f"BAY{counter:05}.tif"
            kind = chosen.get((session.pk, place.line.pk, place.tile_x, place.ev), "good")
            data = _content(place, counter, kind, painted_objects(files))
            (own / name).write_bytes(data)
            truths.append(_truth(session, name, "good" if kind == "namesake" else kind, place))
            if kind == "namesake":
                (own / "again").mkdir(exist_ok=True)
                (own / "again" / name).write_bytes(_content(place, counter + 500_000, "good", 0))
                truths.append(_truth(session, f"again/{name}", kind, place))
    truths.extend(_duplicates(folder, truths, counts["duplicate"]))
    (folder / "truth.json").write_text(json.dumps([asdict(truth) for truth in truths], indent=1))
    return truths


def _truth(session: Session, name: str, kind: str, place: _Place) -> Truth:
    return Truth(session.pk, name, kind, place.line.pk, place.tile_x, place.tile_y, place.ev)


def _choose(
    sessions: list[Session], counts: dict[str, int]
) -> dict[tuple[int, int, int, float], str]:
    """Choose which places carry which exception, spread over the sessions.

    A file that is missing from its line is the middle one of a bracket, where no doubt is left
    about the others.
    """
    chosen: dict[tuple[int, int, int, float], str] = {}
    middles, backs, fronts, plain = [], [], [], []
    for session in sessions:
        for place in _places(session):
            key = (session.pk, place.line.pk, place.tile_x, place.ev)
            late = place.at > session.ends_at - timedelta(minutes=44)
            if place.picture is not None:
                (backs if place.line.face == "B" else fronts).append(key)
            elif place.is_middle and (late or len(sessions) == 1):
                middles.append(key)
            elif place.line.technique == "UV":
                plain.append(key)
    rng = np.random.default_rng(4)
    for pool in (middles, plain):
        rng.shuffle(pool)
    wanted = {"clock": middles, "truncated": middles, "namesake": middles, "mirrored": backs}
    wanted |= {"untagged": plain, "shallow": plain, "stranger": fronts}
    for kind, pool in wanted.items():
        for _ in range(counts[kind]):
            chosen[tuple(pool.pop())] = kind  # type: ignore[arg-type]
    return chosen


def _content(place: _Place, seed: int, kind: str, painted_number: int) -> bytes:
    picture = pixels(seed, width=48, height=32)
    if place.picture is not None:
        number, face = place.picture
        shown = (number + 1) % painted_number if kind == "stranger" else number
        picture = painted(shown, face)
        if kind == "mirrored":
            picture = np.ascontiguousarray(picture[:, ::-1])
    if kind == "shallow":
        picture = (picture >> 8) * np.uint16(257)
    data = tiff(
        seed,
        at=place.at + timedelta(hours=1 if kind == "clock" else 0),
        exposure_s=EXPOSURE_S[place.line.technique] * 2**place.ev,
        picture=picture,
        has_profile=kind != "untagged",
    )
    return data[: len(data) * 2 // 3] if kind == "truncated" else data


def _duplicates(folder: Path, truths: list[Truth], number: int) -> Iterator[Truth]:
    """Write exact copies of good files under other names, to be offered after their originals."""
    good = [truth for truth in truths if truth.kind == "good"]
    step = max(1, len(good) // number)
    for count, truth in enumerate(good[::step][:number]):
        own = folder / f"session-{truth.session}"
        name = f"COPY{count:03}.tif"
        (own / name).write_bytes((own / truth.name).read_bytes())
        yield replace(truth, name=name, kind=ALREADY_HERE)


def read_truth(folder: Path) -> list[Truth]:
    """Return what is known of the files of a written drop."""
    return [Truth(**row) for row in json.loads((folder / "truth.json").read_text())]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one file."""

    truth: Truth
    state: str
    is_right_place: bool
    is_placed: bool
    reason: str


def outcomes(folder: Path, *, drops: dict[int, int]) -> list[Outcome]:
    """Compare every file of a drop with what became of it; `drops` names a drop by session."""
    from imaging_requests.intake.models import Arrival, FrameState

    found: list[Outcome] = []
    arrivals: dict[tuple[int, str], list[Any]] = {}
    for arrival in Arrival.objects.filter(drop__in=drops.values()).select_related("frame"):
        arrivals.setdefault((arrival.drop_id, arrival.name), []).append(arrival)
    for rows in arrivals.values():
        rows.sort(key=lambda row: row.pk)
    for truth in read_truth(folder):
        rows = arrivals[drops[truth.session], Path(truth.name).name]
        arrival = rows[-1] if truth.kind == "namesake" else rows[0]
        frame = arrival.frame
        is_placed = frame is not None and frame.state == FrameState.PLACED
        is_right = is_placed and (
            (frame.shot_line_id, frame.tile_x, frame.tile_y, frame.ev)
            == (truth.line, truth.tile_x, truth.tile_y, truth.ev)
        )
        reason = frame.waiting_because if frame is not None else arrival.answer
        found.append(Outcome(truth, arrival.state, is_right, is_placed, reason))
    return found


def summary(found: list[Outcome]) -> dict[str, dict[str, int]]:
    """Count by kind: already here, placed rightly, placed wrongly, waiting, refused."""
    table: dict[str, Counter[str]] = {}
    for each in found:
        row = table.setdefault(each.truth.kind, Counter())
        if each.state == "already_here":
            row["already here"] += 1
        elif each.state == "refused" and each.reason.startswith("Already here"):
            row["already here, refused as before"] += 1
        elif each.state == "refused":
            row["refused"] += 1
        elif each.is_placed:
            row["placed" if each.is_right_place else "placed wrongly"] += 1
        else:
            row["waiting"] += 1
    return {kind: dict(row) for kind, row in table.items()}
