"""How much of a picture a person sees: the strictest of everything that holds at this instant.

No database here: facts in, a decision out. A person with several roles sees what the best of them
sees; each role sees the least of what its own line, its grants and every restriction leave.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum
from uuid import UUID


class Seen(IntEnum):
    """How much of a picture is open; more is larger."""

    NOTHING = 0
    SMALL = 1
    FULL = 2


SEEN_BY_NAME = {"none": Seen.NOTHING, "small": Seen.SMALL, "full": Seen.FULL}
GRANTED = "granted"


@dataclass(frozen=True, slots=True)
class Table:
    """What each role sees, and the most that each kind of restriction leaves to each role.

    `by_role`: none, small, full or granted. `frames_by_role`: the studio, which sees frames that
    belong to no picture, and recalled pictures in full. `left`: by kind, then by role; a role that
    is not named is not restricted.
    """

    by_role: Mapping[str, str]
    frames_by_role: frozenset[str]
    left: Mapping[str, Mapping[str, Seen]]


@dataclass(frozen=True, slots=True)
class Shown:
    """What a picture is of. Several surfaces or chains if one frame serves several pictures.

    `objects`: the object itself first, then everything it is part of or one with. `surfaces`: faces
    and surfaces. `is_accepted`: somebody accepted it. `is_frame`: one file and not the finished
    picture; without chains it belongs to no picture at all. `recalled_because`: everything that it
    shows or serves was recalled, and why, as a sentence.
    """

    objects: tuple[int, ...]
    surfaces: frozenset[str]
    techniques: frozenset[str]
    chains: frozenset[UUID]
    is_accepted: bool
    is_frame: bool = False
    recalled_because: str = ""

    @property
    def is_studio_frame(self) -> bool:
        """It belongs to no picture."""
        return not self.chains


@dataclass(frozen=True, slots=True)
class Limit:
    """A restriction as the rules need it."""

    kind: str
    words: str
    object_id: int
    surface: str
    chain: UUID | None
    techniques: frozenset[str]
    since: datetime
    until: datetime | None
    lifted_at: datetime | None

    def holds_at(self, now: datetime) -> bool:
        """Tell whether it is in force; its end is the first instant at which it is not."""
        is_over = self.until is not None and self.until <= now
        is_lifted = self.lifted_at is not None and self.lifted_at <= now
        return self.since <= now and not is_over and not is_lifted

    def covers(self, shown: Shown) -> bool:
        """Tell whether a picture lies in its scope.

        Restrictions of a whole pass to its parts; those of a surface or a picture do not, since a
        part has surfaces of its own.
        """
        if self.object_id not in shown.objects:
            return False
        if self.techniques and not self.techniques & shown.techniques:
            return False
        if self.chain is not None:
            return self.chain in shown.chains
        return not self.surface or self.surface in shown.surfaces


@dataclass(frozen=True, slots=True)
class Given:
    """A grant as the rules need it."""

    object_id: int
    seen: Seen
    since: datetime
    until: datetime
    ended_at: datetime | None

    def holds_at(self, now: datetime) -> bool:
        """Tell whether it is in force; its end is the first instant at which it is not."""
        is_ended = self.ended_at is not None and self.ended_at <= now
        return self.since <= now < self.until and not is_ended


@dataclass(frozen=True, slots=True)
class Decision:
    """How much is seen, and if not all, the sentence that says why."""

    seen: Seen
    because: str = ""


def next_change(limits: Iterable[Limit], grants: Iterable[Given], now: datetime) -> datetime | None:
    """Return the first instant after now at which the clock alone may change a decision."""
    bounds = [
        *(instant for limit in limits for instant in (limit.since, limit.until)),
        *(instant for grant in grants for instant in (grant.since, grant.until)),
    ]
    return min((each for each in bounds if each is not None and each > now), default=None)


NO_ROLE = Decision(Seen.NOTHING, "Seeing pictures needs a role in the house or a grant.")
NO_GRANT = Decision(Seen.NOTHING, "No grant to you is in force for this object.")
STUDIO_ONLY = Decision(Seen.NOTHING, "This frame belongs to no picture; the studio alone sees it.")
NO_FRAMES = Decision(Seen.NOTHING, "Outside the house only finished pictures are seen.")
NOT_ACCEPTED = Decision(Seen.NOTHING, "Outside the house only accepted pictures are seen.")
ROLE_SMALL = Decision(Seen.SMALL, "Your role sees small pictures only.")
GRANT_SMALL = Decision(Seen.SMALL, "The grant is for small pictures only.")


def decide(
    roles: Collection[str],
    shown: Shown,
    *,
    limits: Iterable[Limit],
    grants: Iterable[Given],
    now: datetime,
    table: Table,
) -> Decision:
    """Return how much of a picture a person with these roles sees at an instant."""
    in_force = [limit for limit in limits if limit.holds_at(now) and limit.covers(shown)]
    given = [grant for grant in grants if grant.holds_at(now) and grant.object_id in shown.objects]
    decisions = [_for_role(role, shown, in_force, given, table) for role in sorted(roles)]
    return max(decisions, key=lambda decision: decision.seen, default=NO_ROLE)


def _for_role(
    role: str, shown: Shown, in_force: list[Limit], given: list[Given], table: Table
) -> Decision:
    decision = _before_restrictions(role, shown, given, table)
    if shown.recalled_because and role not in table.frames_by_role:
        decision = min(
            decision, Decision(Seen.SMALL, shown.recalled_because), key=lambda each: each.seen
        )
    for limit in in_force:
        left = table.left.get(limit.kind, {}).get(role, Seen.FULL)
        if left < decision.seen:
            decision = Decision(left, limit.words)
    return decision


def _before_restrictions(role: str, shown: Shown, given: list[Given], table: Table) -> Decision:
    named = table.by_role.get(role, "none")
    if named == GRANTED:
        if not given:
            return NO_GRANT
        if shown.is_frame:
            return NO_FRAMES
        if not shown.is_accepted:
            return NOT_ACCEPTED
        seen = max(grant.seen for grant in given)
        return Decision(seen) if seen is Seen.FULL else GRANT_SMALL
    if shown.is_studio_frame and role not in table.frames_by_role:
        return STUDIO_ONLY
    seen = SEEN_BY_NAME[named]
    if seen is Seen.FULL:
        return Decision(seen)
    return ROLE_SMALL if seen is Seen.SMALL else NO_ROLE
