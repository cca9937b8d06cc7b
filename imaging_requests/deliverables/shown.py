"""Pictures and measurements as pages show them, many in a fixed number of queries."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.urls import reverse

from imaging_requests.deliverables import rules
from imaging_requests.deliverables.models import Deliverable, DeliverableFrame
from imaging_requests.imaging.measure.finding import Place
from imaging_requests.intake.limits import measurement_rules
from imaging_requests.intake.models import Derivative, FileCheck
from imaging_requests.intake.sheets import RECOGNITION
from imaging_requests.intake.words import ev_words
from imaging_requests.people.clock import studio_time
from imaging_requests.protocols.queries import trigger_tables
from imaging_requests.treatments.models import Incident, Intervention

SMALL, LARGE = "256", "1024"
MAP_WIDTH, LEAST_BOX = 48, 5.0
Verdict = FileCheck.Verdict


@dataclass(frozen=True, slots=True)
class Thumb:
    """A derived picture of a frame."""

    src: str
    width: int
    height: int
    is_tone_stretched: bool


def thumbs(frame_ids: Iterable[int | None], kind: str) -> dict[int, Thumb]:
    """Return derived pictures of one size by frame; frames not read yet are left out."""
    wanted = {pk for pk in frame_ids if pk is not None}
    rows = Derivative.objects.filter(frame__in=wanted, kind=kind).order_by("pk")
    return {
        row.frame_id: Thumb(
            src=f"{reverse('intake:picture', args=[row.frame_id, kind])}?of={row.recipe}",
            width=row.width_px,
            height=row.height_px,
            is_tone_stretched=row.tone_stretched,
        )
        for row in rows
    }


def day(instant: datetime | None) -> str:
    """Say a day as pages do, in the studio's zone."""
    return "" if instant is None else f"{studio_time(instant):%-d %b %Y}"


def clock(instant: datetime | None) -> str:
    """Say an instant as pages do, in the studio's zone."""
    return "" if instant is None else f"{studio_time(instant):%-d %b %Y, %H:%M}"


def waited(row: Deliverable, today: date) -> int:
    """Count the working days a picture has waited for its review."""
    if row.handed_in_at is None:
        return 0
    return rules.working_days(studio_time(row.handed_in_at).date(), today)


#: What each rule looks at, as people read it; the rule's code stands behind it.
RULE_WORDS = {
    "G1": "opens and decodes completely",
    "G2": "is new here",
    "G3": "bit depth",
    "G4": "colour profile",
    "G5": "size in pixels against the plan",
    "G6": "density on the object",
    "G7": "orientation, layers, compression",
    "G8": "time and camera of the session",
    "G9": "number of frames",
    "G10": "the face within the picture",
    "G11": "not mirrored, not turned",
    "G12": "the right object",
    "G13": "broken lines and blocks",
    "J1": "order of the tiles",
    "J2": "agreement in the overlaps",
    "J3": "step at the seams",
}


def rule_words(rule: str) -> str:
    """Say a rule with its code: "Bit depth (G3)"; an unknown one by its code alone."""
    words = RULE_WORDS.get(rule) or measurement_rules().title(rule)
    return f"{words[:1].upper()}{words[1:]} ({rule})" if words else rule


def verdict_counts(checks: Sequence[FileCheck], faults: int = 0) -> list[dict[str, Any]]:
    """Count verdicts that somebody must look at, the gravest first; passes are not listed."""
    counted = Counter(check.verdict for check in checks)
    counted[Verdict.FAIL] += faults
    return [
        {"verdict": verdict.value, "count": counted[verdict]}
        for verdict in (Verdict.FAIL, Verdict.WARN, Verdict.CANNOT_TELL)
        if counted[verdict]
    ]


def check_rows(row: Deliverable, checks: Sequence[FileCheck]) -> list[dict[str, Any]]:
    """Lay out what needs a look: faults of the whole, then fails, warnings, cannot tell.

    Of one verdict, whether this is the object at all comes first.
    """
    grave = {Verdict.FAIL: 0, Verdict.WARN: 1, Verdict.CANNOT_TELL: 2}
    looked_at = sorted(
        (check for check in checks if check.verdict in grave),
        key=lambda check: (
            grave[Verdict(check.verdict)],
            check.rule != RECOGNITION,
            check.rule,
            check.frame_id,
        ),
    )
    faults = [
        {"what": "The frames together", "verdict": "fail", "value": "", "words": fault}
        for fault in row.faults
    ]
    return faults + [
        {
            "what": f"{rule_words(check.rule)}, {check.frame.first_name}",
            "verdict": check.verdict,
            "value": value_words(check.value, check.limit),
            "unit": check.unit,
            "limit": check.limit,
            "words": check.sentence,
            "spot": spot_of(check),
        }
        for check in looked_at
    ]


def value_words(value: str, limit: str) -> str:
    """Return a measured value with three digits that count, unless it then reads like its limit.

    >>> value_words("0.24504", "≤ 0.2 EV"), value_words("2.0004", "≤ 2"), value_words("none", "")
    ('0.245', '2.0004', 'none')
    """
    try:
        number = float(value)
    except ValueError:
        return value
    short = f"{number:.3g}" if 0 < abs(number) < 1000 else f"{number:.0f}"
    return value if len(short) >= len(value) or short in limit.split() else short


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in its frame something was found: in words, and as a box on a map of the frame.

    The map is 48 wide; a box is never drawn smaller than can be seen.
    """

    words: str
    height: float
    left: float
    top: float
    across: float
    down: float


def spot_of(check: FileCheck) -> Spot | None:
    """Say where something was found; None if it concerns the whole frame."""
    width, height = check.frame.width_px, check.frame.height_px
    if not check.place_px or not width or not height:
        return None
    place = Place(*check.place_px)
    words = place.words(width, height)
    if not words:
        return None
    scale = MAP_WIDTH / width
    tall = height * scale
    across = min(MAP_WIDTH, max(LEAST_BOX, place.width * scale))
    down = min(tall, max(LEAST_BOX, place.height * scale))
    middle_x = (place.x + place.width / 2) * scale
    middle_y = (place.y + place.height / 2) * scale
    left = min(max(0.0, middle_x - across / 2), MAP_WIDTH - across)
    top = min(max(0.0, middle_y - down / 2), tall - down)
    return Spot(words, *(round(value, 1) for value in (tall, left, top, across, down)))


def passes(checks: Sequence[FileCheck]) -> list[str]:
    """Say how many frames passed each rule."""
    counted = Counter(check.rule for check in checks if check.verdict == Verdict.PASS)
    return [
        f"{rule_words(rule)}: {count} frame{'' if count == 1 else 's'}"
        for rule, count in sorted(counted.items(), key=lambda each: (len(each[0]), each[0]))
    ]


@dataclass(frozen=True)
class Tile:
    """One tile on the page: the frame shown for it, or none."""

    label: str
    frame_id: int | None
    thumb: Thumb | None
    href: str
    is_chosen: bool


def tile_grid(
    row: Deliverable, seats: Sequence[DeliverableFrame], small: dict[int, Thumb], chosen: int | None
) -> list[list[Tile]]:
    """Lay tiles out as they lie on the face; of a bracket the middle exposure stands for a tile."""
    across, down = _extent(row, seats)
    evs = sorted({seat.ev for seat in seats})
    middle = evs[(len(evs) - 1) // 2] if evs else 0.0
    best: dict[tuple[int, int], DeliverableFrame] = {}
    for seat in seats:
        place = (seat.tile_x, seat.tile_y)
        known = best.get(place)
        if known is None or abs(seat.ev - middle) < abs(known.ev - middle):
            best[place] = seat
    chosen_place = next(((s.tile_x, s.tile_y) for s in seats if s.frame_id == chosen), None)
    return [
        [
            _tile(best.get((x, y)), y * across + x + 1, small, (x, y) == chosen_place)
            for x in range(across)
        ]
        for y in range(down)
    ]


def _extent(row: Deliverable, seats: Sequence[DeliverableFrame]) -> tuple[int, int]:
    line = row.shot_line
    if line is not None:
        return line.tiles_across, line.tiles_down
    return (
        max((seat.tile_x for seat in seats), default=0) + 1,
        max((seat.tile_y for seat in seats), default=0) + 1,
    )


def _tile(
    seat: DeliverableFrame | None, number: int, small: dict[int, Thumb], is_chosen: bool
) -> Tile:
    if seat is None:
        return Tile(f"tile {number}", None, None, "", is_chosen)
    href = f"?frame={seat.frame_id}"
    return Tile(f"tile {number}", seat.frame_id, small.get(seat.frame_id), href, is_chosen)


def strip(
    row: Deliverable, seats: Sequence[DeliverableFrame], small: dict[int, Thumb], chosen: int | None
) -> list[dict[str, Any]]:
    """Lay out the frames of the chosen tile: its exposures and focus slices, gaps included."""
    at = next((seat for seat in seats if seat.frame_id == chosen), None)
    if at is None:
        return []
    own = {
        (seat.ev, seat.focus_slice): seat
        for seat in seats
        if (seat.tile_x, seat.tile_y) == (at.tile_x, at.tile_y)
    }
    wanted = _wanted(row) or sorted(own)
    has_slices = len({focus_slice for _, focus_slice in wanted}) > 1
    return [_strip_frame(own.get(place), place, small, has_slices) for place in wanted]


def _wanted(row: Deliverable) -> list[tuple[float, int]]:
    line = row.shot_line
    if line is None:
        return []
    exposures = sorted(float(ev) for ev in line.exposures_ev) or [0.0]
    return [(ev, s) for s in range(max(1, line.focus_slices)) for ev in exposures]


def _strip_frame(
    seat: DeliverableFrame | None,
    place: tuple[float, int],
    small: dict[int, Thumb],
    has_slices: bool,
) -> dict[str, Any]:
    ev, focus_slice = place
    thumb = small.get(seat.frame_id) if seat is not None else None
    note = f"slice {focus_slice + 1}" if has_slices else ""
    if seat is not None and thumb is None:
        note = f"{note} not read yet".strip()
    return {
        "ev": ev_words(ev),
        "src": thumb.src if thumb is not None else "",
        "alt": f"exposure {ev_words(ev)}",
        "href": f"?frame={seat.frame_id}" if seat is not None else "",
        "note": note,
    }


@dataclass(frozen=True)
class StatePlace:
    """Where a picture lies on the state line, in words, and what has happened since."""

    words: str
    since: tuple[str, ...]


def state_places(object_id: int, pictures: Iterable[Deliverable]) -> dict[int, StatePlace]:
    """Say which state of an object each picture shows: computed from instants, never typed."""
    return states_at(object_id, {row.pk: row.captured_at for row in pictures})


def states_at(object_id: int, instants: Mapping[int, datetime]) -> dict[int, StatePlace]:
    """Say which state an object was in at some instants, each under its key."""
    events = _events(object_id)
    return {key: _place(at, events) for key, at in instants.items()}


def _place(at_capture: datetime, events: Sequence[tuple[datetime, str]]) -> StatePlace:
    before = [event for event in events if event[0] <= at_capture]
    after = [event for event in events if event[0] > at_capture]
    words = f"s{len(before)}"
    if before:
        words = f"{words}, after {before[-1][1]} on {day(before[-1][0])}"
    return StatePlace(words, tuple(f"{said} on {day(at)}" for at, said in after))


def _events(object_id: int) -> list[tuple[datetime, str]]:
    """List what opened states of an object, in order; a mere examination opens none."""
    tables = trigger_tables()
    newest = tables[max(tables)] if tables else None
    events: list[tuple[datetime, str]] = []
    steps = Intervention.objects.filter(
        object_id=object_id, finished_at__isnull=False
    ).select_related("treatment")
    for step in steps:
        known = newest.rows.get(step.type_row) if newest is not None else None
        if step.finished_at is None or (known is not None and not known.opens_state):
            continue
        said = step.label or (known.said if known is not None else f"step {step.step}")
        events.append((step.finished_at, f"{said} ({step.treatment.code})"))
    for incident in Incident.objects.filter(object_id=object_id):
        events.append((incident.occurred_at, f"{incident.get_kind_display().lower()} incident"))
    return sorted(events, key=lambda event: event[0])
