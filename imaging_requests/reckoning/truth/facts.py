"""Plain facts about one object, as the rest of this package reads them.

Every record carries two times. *Valid* times (``ended_at``, ``captured_at``, ``starts_at`` …)
say when something was true of the object; ``recorded_at`` says when it was learnt. A fact is
never edited: a correction is a new record with the same ``key`` and a later ``recorded_at``
(or, at the same instant, a later place in its tuple), and ``withdrawn=True`` takes the fact
back. :mod:`.bitime` picks the records that count.

All instants are aware datetimes; UTC throughout keeps comparisons cheap. Intervals are
half-open: ``starts_at <= t < ends_at``, and ``None`` at the end means "no end known".
Lengths are millimetres, areas square centimetres, shares of a face per cent (0 to 100),
coverage a fraction (0 to 1).

>>> from datetime import UTC, datetime
>>> day = datetime(2026, 2, 20, 12, tzinfo=UTC)
>>> Event(key="i-7", recorded_at=day, order=7, row=2, table_version=1, ended_at=day).face
'F'
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..records import record
from .terms import FRONT, INTAKE_LAYERS, Anchor, Validity, Verdict


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectFacts:
    """Facts of the object itself, true from ``valid_from`` until a later record takes over.

    ``layers`` names the surfaces present at intake, from the inside out: ``("B.1", "B.2")`` on
    the back is an original canvas under a lining. ``None`` in a measured field: not known yet.
    """

    key: str
    recorded_at: datetime
    valid_from: datetime
    kind: str = "painting"
    two_sided: bool = False
    height_mm: float | None = None
    width_mm: float | None = None
    depth_mm: float | None = None
    warp_mm: float | None = None
    support: str | None = None
    framed: bool | None = None
    glazed: bool | None = None
    light_class: str | None = None
    layers: tuple[str, ...] = INTAKE_LAYERS
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """An intervention (planned, under way or finished) or an incident.

    ``order`` is the journal number of the event's *first* record: corrections keep it, and it
    breaks ties between events that ended at the same instant. ``row`` and ``table_version``
    point into a trigger table; where the case file says when tables were published, reading it
    puts the version there that counts (:mod:`.in_force`). ``face`` is the face which the row's F
    columns speak of; it matters on two-sided objects only. An incident has
    ``started_at == ended_at`` and no treatment. The step is part of its treatment's plan
    from ``planned_at`` (``None``: from the beginning) until ``dropped_at``.
    ``exposure_until`` is the planned end of an exposure that the step opens (lining off).
    ``puts_on`` tells the two directions of a row such as "backing board put on / taken off"
    apart. ``opens_surface`` names the surface that the step opens, when it opens one.
    """

    key: str
    recorded_at: datetime
    order: int
    row: int
    table_version: int
    face: str = FRONT
    started_at: datetime | None = None
    ended_at: datetime | None = None
    planned_at: datetime | None = None
    planned_start_at: datetime | None = None
    planned_end_at: datetime | None = None
    exposure_until: datetime | None = None
    dropped_at: datetime | None = None
    area_cm2: float | None = None
    area_pct: float | None = None
    puts_on: bool | None = None
    opens_surface: str | None = None
    treatment: str | None = None
    phase: int | None = None
    step: int | None = None
    label: str = ""
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One version of a deliverable: what it shows and when it was captured.

    ``variant`` is the light direction (``L``, ``T``) or a detail's name, empty otherwise.
    ``coverage`` is the covered fraction of the face, or of what the view leaves unwaived.
    ``complete`` says that every tile holds its whole bracket. ``handed_in_at`` is the instant
    at which the photographer put it before a reviewer.
    """

    chain: str
    version: int
    recorded_at: datetime
    surface: str
    technique: str
    captured_at: datetime
    variant: str = ""
    px_per_mm: float = 0.0
    coverage: float = 1.0
    complete: bool = True
    handed_in_at: datetime | None = None
    photographer: str = ""
    withdrawn: bool = False

    @property
    def key(self) -> tuple[str, int]:
        """Chain and version."""
        return (self.chain, self.version)


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """A reviewer's act on one picture version.

    ``frames_good`` on a sent-back or recalled version: desk work on the same frames can mend
    it, so that nothing is lost as long as the frames exist.
    """

    key: str
    recorded_at: datetime
    chain: str
    version: int
    verdict: Verdict
    at: datetime
    by: str = ""
    frames_good: bool = False
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Filing:
    """From ``starts_at`` the master has enough verified copies and is in a sealed package."""

    key: str
    recorded_at: datetime
    chain: str
    version: int
    starts_at: datetime
    ends_at: datetime | None = None
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class OwedView:
    """One duty. It is in force while at least one :class:`Demand` for it is live.

    ``min_coverage`` and ``tolerance`` are fractions taken from the protocol's snapshot.
    """

    key: str
    recorded_at: datetime
    surface: str
    technique: str
    variant: str = ""
    anchor: Anchor = field(default_factory=Anchor.current)
    px_per_mm: float
    tolerance: float
    min_coverage: float
    replaced_by: str | None = None
    replaced_at: datetime | None = None
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """A reason why a view is owed: a protocol line, a trigger, or somebody's request.

    ``catalogue`` is set when the demand counts for that catalogue's entries. ``preferred`` names
    a state that whoever asks for the view as it is now would rather have (:mod:`.preferring`).
    """

    key: str
    recorded_at: datetime
    view: str
    kind: str
    starts_at: datetime
    ends_at: datetime | None = None
    ref: str = ""
    catalogue: str | None = None
    preferred: str = ""
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Waiver:
    """A signed renunciation; ``lapses_at`` is its date, ``ended_at`` an early end by hand.

    A waiver on a last look needs both ``conservator`` and ``lead``, two different people.
    """

    key: str
    recorded_at: datetime
    view: str
    granted_at: datetime
    lapses_at: datetime | None = None
    ended_at: datetime | None = None
    reason_code: str = ""
    text: str = ""
    conservator: str = ""
    lead: str = ""
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class NotApplicable:
    """A rule or a person says that the view does not apply, for an interval."""

    key: str
    recorded_at: datetime
    view: str
    starts_at: datetime
    ends_at: datetime | None = None
    reason: str = ""
    by_rule: bool = True
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One act in a conservator's case: does this picture chain survive that event?

    Opening the case is a record without ``decided_at``. Every verdict is a record of its own key
    with the instant it was given; a verdict of ``None`` with an instant reopens the case (a later
    fact, a second opinion). At any valid time the last act counts.
    """

    key: str
    recorded_at: datetime
    chain: str
    event: str
    opened_at: datetime
    verdict: Validity | None = None
    decided_at: datetime | None = None
    by: str = ""
    reason: str = ""
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedShot:
    """A shot line of a session that was confirmed at ``confirmed_at``.

    ``released_at``: the session was closed or cancelled, or the line was taken out. A session
    that is over at ``session_ends_at`` plans nothing any more, whether anybody closed it or not.
    A line that was shot (``shot_at``) and whose ``files_awaited`` files have not come is handed
    over without an end of its session: its view waits for these files, not for the session.
    """

    key: str
    recorded_at: datetime
    view: str
    session: str
    confirmed_at: datetime
    released_at: datetime | None = None
    session_starts_at: datetime | None = None
    session_ends_at: datetime | None = None
    shot_at: datetime | None = None
    files_awaited: int = 0
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Unavailable:
    """The object (or one surface of it) cannot be photographed: on loan, in quarantine …"""

    key: str
    recorded_at: datetime
    kind: str
    starts_at: datetime
    ends_at: datetime | None = None
    surface: str | None = None
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Override:
    """An emergency start of one intervention against a shut gate."""

    key: str
    recorded_at: datetime
    event: str
    at: datetime
    conservator: str
    witness: str = ""
    witness_named_at: datetime | None = None
    record_picture: str = ""
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """Something delivered is being put right; open until ``closed_at``."""

    key: str
    recorded_at: datetime
    chain: str
    opened_at: datetime
    closed_at: datetime | None = None
    withdrawn: bool = False


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class ProtocolPin:
    """An entry follows one protocol version from ``starts_at`` on."""

    key: str
    recorded_at: datetime
    entry: str
    version: str
    starts_at: datetime
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectCase:
    """Everything recorded about one object; any order, corrections included.

    Each field is one flat list of records with an object reference, so that a data layer can
    fill many cases with one query per field. ``published`` are the versions of the trigger table
    with the instants of their publication, the oldest first.
    """

    object_id: str
    facts: tuple[ObjectFacts, ...] = ()
    events: tuple[Event, ...] = ()
    pictures: tuple[Picture, ...] = ()
    reviews: tuple[Review, ...] = ()
    filings: tuple[Filing, ...] = ()
    views: tuple[OwedView, ...] = ()
    demands: tuple[Demand, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    not_applicable: tuple[NotApplicable, ...] = ()
    decisions: tuple[Decision, ...] = ()
    planned: tuple[PlannedShot, ...] = ()
    unavailable: tuple[Unavailable, ...] = ()
    overrides: tuple[Override, ...] = ()
    corrections: tuple[Correction, ...] = ()
    published: tuple[tuple[datetime, int], ...] = ()
