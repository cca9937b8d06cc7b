"""The job `measure`: look at the frames of a picture as its technique demands, in plain words.

It runs after a picture was put together, in the guarded process, tile by tile. A tile whose frames,
technique and limits are as they were is not measured again. What a target answers in one frame it
answers for the whole picture, so frames that do not show it keep silent then.
"""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from imaging_requests.collection.queries import facts_now
from imaging_requests.deliverables import faces, joining, lamps, queries
from imaging_requests.deliverables.actions.measuring import keep_measurements
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    Polarity,
)
from imaging_requests.deliverables.owed import composed
from imaging_requests.imaging.files.guard import GuardFailure, Trouble
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.joining.tile_rules import RULES as TILE_RULES
from imaging_requests.imaging.measure.ask import Measured, measure
from imaging_requests.imaging.measure.checks import TECHNIQUES
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.intake import store
from imaging_requests.intake.deriving import guards
from imaging_requests.intake.jobs import TryLaterError, Work
from imaging_requests.intake.limits import measurement_rules
from imaging_requests.intake.models import Frame, Job

logger = logging.getLogger(__name__)

QUEUE = "pixels"
#: Many tiles of a large object, each read once; the lease goes on while the work does.
LONGEST_S = 3600.0
#: Judged when the file arrived, with every pixel counted; not asked a second time.
ASKED_BEFORE = frozenset({"G3"})
#: Answered by the joining of tiles, by the map onto the face, or of two faces together.
KEPT_ELSEWHERE = frozenset({*TILE_RULES["VF"], *TILE_RULES["IR"], *TILE_RULES["XR"], "X7", "B1"})
NOT_JOINED = (
    "Not checked: needs joined tiles. Tiles with several exposures or focus slices are not joined, "
    "so nobody compares them where they overlap. Look at the overlaps at 100 %."
)
#: Read from a target, a gauge or a strip that one frame of a picture shows for all.
FROM_TARGETS = frozenset(
    {"G6", "V1", "V2", "V3", "V4", "V5", "V13", "R3", "R4", "R7", "U1", "U4", "U5", "I4", "I6"}
)
POLARITY = {Polarity.NEGATIVE: "dense_bright", Polarity.POSITIVE: "dense_dark"}
MEASURED_STATES = (DeliverableState.BUILDING, DeliverableState.TO_REVIEW)


@dataclass(frozen=True, slots=True)
class Found:
    """A finding on one frame."""

    frame_id: int
    finding: Finding


def measure_line(work: Work) -> None:
    """Measure what has changed of the newest picture of a shot line, and keep what was found."""
    row = queries.newest_of_line(work.subject_id)
    if row is None or row.state not in MEASURED_STATES or row.technique not in TECHNIQUES:
        return
    earlier = Job.objects.values_list("result", flat=True).get(pk=work.job_id)
    before = earlier.get("seen", {})
    traits: dict[str, Any] = {}
    tiles = _tiles(row)
    plan = _plan(row, is_whole=len(tiles) == 1, now=work.now())
    seen, found, measured = {}, [], []
    off = lamps.lamps_off(row)
    for number, (name, seats) in enumerate(tiles.items()):
        dark = lamps.frames_of_tile(off, seats, is_first=number == 0)
        seen[name] = _signature(row, plan, seats, off if number == 0 else dark)
        if before.get(name) != seen[name]:
            if row.px_per_mm < measurement_rules().number("program.least_px_per_mm"):
                found += _too_coarse(row, seats)
            else:
                told, read = _measure_tile(work, plan, row, seats, dark)
                found += told
                traits |= read
                without = lamps.without_frame(row, off) if number == 0 else []
                found += [Found(seats[0].frame_id, finding) for finding in without]
            measured += [seat.frame_id for seat in seats]
    kept = [(each.frame_id, each.finding) for each in without_echoes(found)]
    every = [seat for seats in tiles.values() for seat in seats]
    for seat in every:
        known = earlier.get(faces.TRAITS, {}).get(str(seat.frame_id))
        if known is not None and seat.frame_id not in measured:
            traits.setdefault(str(seat.frame_id), known)
    sides = faces.silhouettes(row, traits) if measured else []
    warm_up = lamps.warm_up(row, tiles, kept) if measured else None
    elsewhere = ASKED_BEFORE | KEPT_ELSEWHERE
    rules = [rule for rule in measurement_rules().ids() if rule not in elsewhere]
    if measured and (unjoined := _unjoined(row, tiles)):
        kept += unjoined
        rules += [finding.rule_id for _, finding in unjoined]
    with work.publish():
        keep_measurements(found=kept, frame_ids=measured, rules=rules, now=work.now())
        if warm_up is not None:
            keep_measurements(
                found=[warm_up],
                frame_ids=[seat.frame_id for seat in every],
                rules=[lamps.WARM_UP_RULE],
                now=work.now(),
            )
        for frame_id, finding in sides:
            keep_measurements(
                found=[(frame_id, finding)],
                frame_ids=[frame_id],
                rules=[finding.rule_id],
                now=work.now(),
            )
        work.result = {
            "seen": seen,
            "frames": len(measured),
            "of": composed(every),
            faces.TRAITS: traits,
        }


def without_echoes(found: Iterable[Found]) -> list[Found]:
    """Leave out what says nothing new.

    "Cannot tell" of a rule that reads a target: left out where another frame tells, else said once.
    The same reason for several rules of one frame: said once.
    """
    every = list(found)
    told = {each.finding.rule_id for each in every if each.finding.value is not None}
    kept: list[Found] = []
    said: set[tuple[Any, ...]] = set()
    for each in every:
        rule = each.finding.rule_id
        if each.finding.outcome is Outcome.CANNOT_TELL:
            sentence = each.finding.sentence
            is_target = rule in FROM_TARGETS
            if is_target and rule in told:
                continue
            echo = ("", sentence) if is_target else (each.frame_id, sentence)
            if echo in said:
                continue
            said.add(echo)
        kept.append(each)
    return kept


def _unjoined(
    row: Deliverable, tiles: Mapping[str, Sequence[DeliverableFrame]]
) -> list[tuple[int, Finding]]:
    """What the rules of joined tiles say of tiles that the program does not join."""
    seats = [seat for each in tiles.values() for seat in each]
    is_tiled = len({(seat.tile_x, seat.tile_y) for seat in seats}) > 1
    if not is_tiled or (joining.is_joined_kind(row) and joining.plan_of(row) is not None):
        return []
    return [
        (seats[0].frame_id, measurement_rules().unknown(rule, NOT_JOINED))
        for rule in TILE_RULES.get(row.technique, ())
    ]


def _tiles(row: Deliverable) -> dict[str, list[DeliverableFrame]]:
    """Frames by tile and focus slice, exposures in order."""
    seats = row.deliverable_frames.select_related("frame").order_by(
        "tile_y", "tile_x", "focus_slice", "ev"
    )
    tiles: dict[str, list[DeliverableFrame]] = defaultdict(list)
    for seat in seats:
        tiles[f"{seat.tile_x},{seat.tile_y},{seat.focus_slice}"].append(seat)
    return dict(tiles)


def _plan(row: Deliverable, *, is_whole: bool, now: datetime) -> Plan:
    facts = facts_now(row.object_id, now)
    size = None
    if is_whole and facts is not None and facts.width_mm and facts.height_mm and not row.detail_mm:
        size = (facts.width_mm, facts.height_mm)
    card = None if row.shot_line is None else row.shot_line.setup_card
    elevation = None if card is None else card.values.get("elevation_deg")
    return Plan(
        technique=row.technique,
        face=row.face,
        direction=row.variant if row.technique == "RK" and row.variant in "LRTB" else "",
        px_per_mm=row.px_per_mm,
        face_mm=size,
        polarity=POLARITY.get(Polarity(row.polarity), "") if row.polarity else "",
        elevation_deg=elevation if isinstance(elevation, int | float) else None,
        until=queries.leaves_at(row, now).strip(),
    )


def _too_coarse(row: Deliverable, seats: Sequence[DeliverableFrame]) -> list[Found]:
    because = (
        f"With {row.px_per_mm:.2g} px/mm this picture is too coarse for targets to be read in it, "
        "so it was not measured. Look at it."
    )
    return [Found(seat.frame_id, measurement_rules().unknown("G6", because)) for seat in seats]


def _signature(
    row: Deliverable, plan: Plan, seats: Sequence[DeliverableFrame], dark: Sequence[Frame]
) -> list[Any]:
    """All that the findings of a tile depend on."""
    frames: list[list[Any]] = [[seat.frame_id, seat.ev] for seat in seats]
    frames += [[frame.pk, frame.ev, frame.role] for frame in dark]
    planned = replace(plan, until="")
    return [measurement_rules().version, row.pk, repr(planned), frames]


def _measure_tile(
    work: Work,
    plan: Plan,
    row: Deliverable,
    seats: Sequence[DeliverableFrame],
    dark: Sequence[Frame],
) -> tuple[list[Found], dict[str, Any]]:
    """What was found on a tile, and the traits of its frames by their keys."""
    files = [(_readable(seat.frame), replace(plan, ev=seat.ev)) for seat in seats]
    files += [(_readable(frame), replace(plan, ev=frame.ev, role="ambient")) for frame in dark]
    every = [*(seat.frame for seat in seats), *dark]
    pixels = sum((frame.width_px or 0) * (frame.height_px or 0) for frame in every)
    answer = measure(
        guards(),
        files,
        data_folder=settings.BASE_DIR / "fixtures" / "checks",
        scratch_in=store.derived_folder(seats[0].frame.sha256),
        megapixels=pixels / 1e6,
        wanted_ev=[seat.ev for seat in seats],
        with_traits=True,
    )
    if isinstance(answer, GuardFailure):
        return _unanswered(work, answer, row, seats), {}
    traits = {
        str(seat.frame_id): {**read.as_data(), "ev": seat.ev}
        for seat, read in zip(seats, answer.traits[: len(seats)], strict=True)
        if read.as_data()
    }
    return _found(answer, seats), traits


def _readable(frame: Frame) -> Path:
    path = store.readable_path(frame.sha256, frame.extension)
    if path is None:
        raise TryLaterError(
            f"Neither copy of {frame.first_name} can be opened, so it cannot be measured. Ask the "
            "system keeper to look at the disks."
        )
    return path


def _found(answer: Measured, seats: Sequence[DeliverableFrame]) -> list[Found]:
    """What was found on the frames of the picture; those with the lamps off come after them."""
    found = []
    dark = answer.frames[len(seats) :]
    because = [each.sentence for each in dark if isinstance(each, Unreadable)]
    if because and len(because) == len(dark):
        unread = measurement_rules().unknown(lamps.ROOM_RULE, because[0])
        found.append(Found(seats[0].frame_id, unread))
    for seat, each in zip(seats, answer.frames[: len(seats)], strict=True):
        if isinstance(each, Unreadable):
            found.append(Found(seat.frame_id, measurement_rules().unknown("G13", each.sentence)))
        else:
            found += [
                Found(seat.frame_id, finding)
                for finding in each[0]
                if finding.rule_id not in ASKED_BEFORE
            ]
    return found + [Found(seats[0].frame_id, finding) for finding in answer.together]


def _unanswered(
    work: Work, failure: GuardFailure, row: Deliverable, seats: Sequence[DeliverableFrame]
) -> list[Found]:
    """Decide whether the process may answer later, or say that it cannot tell."""
    logger.warning("picture %s: %s: %s", row.pk, failure.reason, failure.detail)
    if failure.reason is Trouble.FAULT:
        raise RuntimeError(f"picture {row.pk}: {failure.detail}")
    if failure.is_transient and not work.is_last_try:
        raise TryLaterError(failure.sentence)
    return [
        Found(seat.frame_id, measurement_rules().unknown("G13", failure.sentence)) for seat in seats
    ]
