"""What an object is owed, worked out from gathered rows without touching the database.

A *want* is one duty with everybody who asks for it. The same duty wanted by two entries, by a
protocol and a treatment, or by two versions of a protocol is one want with several demands; the
finest density then holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from imaging_requests.collection.models import Kind
from imaging_requests.reckoning import shots
from imaging_requests.reckoning.records import record
from imaging_requests.reckoning.shots.protocol import DIRECTIONS
from imaging_requests.requesting.models import Anchor, Demand
from imaging_requests.requesting.specs import Making, making_of, missing_facts

ViewKey = tuple[int, str, str, str, str]
#: Source, entry, protocol line, treatment, and the state that is preferred to the present one.
DemandKey = tuple[str, int | None, str, int | None, str]
PlaceKey = tuple[str, str, str]

CURRENT = "CUR"


@record
@dataclass(frozen=True, kw_only=True)
class AsOf:
    """The anchor of a want, as its columns and as the one text that makes a duty unique."""

    kind: str = Anchor.CUR
    key: str = CURRENT
    treatment_id: int | None = None
    phase: int | None = None
    step: int | None = None
    event_id: int | None = None


@dataclass(kw_only=True)
class Want:
    """One duty and who asks for it."""

    object_id: int
    face: str
    surface: str
    technique: str
    variant: str
    as_of: AsOf
    making: Making
    due_on: date | None = None
    demands: set[DemandKey] = field(default_factory=set)

    @property
    def key(self) -> ViewKey:
        """What makes two wants the same duty; the database holds the same uniqueness."""
        return (self.object_id, self.surface, self.technique, self.variant, self.as_of.key)


@dataclass(frozen=True, kw_only=True)
class NotWanted:
    """A line that a rule takes out for this object, with the rule's reason."""

    rule: str
    reason: str


@dataclass(kw_only=True)
class Duties:
    """Everything an object is owed by protocols and treatments, and what rules take out."""

    wants: dict[ViewKey, Want] = field(default_factory=dict)
    not_applicable: dict[PlaceKey, NotWanted] = field(default_factory=dict)

    def add(self, want: Want) -> None:
        """Join a want with the same duty wanted before; the finest density holds."""
        key = want.key
        known = self.wants.get(key)
        if known is None:
            self.wants[key] = want
            return
        demands = known.demands | want.demands
        if want.making.px_per_mm > known.making.px_per_mm:
            known.making = want.making
        known.demands = demands


@dataclass(frozen=True, kw_only=True)
class Pin:
    """A protocol version that asks for an object, and the entries that follow it."""

    protocol: shots.Protocol
    entry_ids: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known about one object for working out its duties."""

    object_id: int
    kind: str
    facts: shots.ObjectFacts
    settings: shots.StudioSettings
    pins: tuple[Pin, ...]
    surfaces: Mapping[str, str]

    def surface(self, face: str) -> str:
        """The surface that lies at a face now; edges and through have only one."""
        return self.surfaces.get(face, f"{face}.1")

    @cached_property
    def missing(self) -> tuple[str, ...]:
        """Facts that are missing or doubtful."""
        return missing_facts(self.facts, settings=self.settings)

    @cached_property
    def _makings(self) -> dict[tuple[str | None, ...], Making]:
        """Makings worked out so far: a view before, after and outside treatment is made alike."""
        return {}

    @cached_property
    def _made_for(self) -> dict[tuple[str, str, str], Making]:
        """Makings of whole faces that treatments and wishes asked for so far."""
        return {}

    @cached_property
    def protocol_views(self) -> tuple[tuple[Pin, shots.OwedView], ...]:
        """Every view that a pinned protocol version speaks of, each version asked once.

        The pin names all entries that follow the version. An ensemble is owed nothing of its
        own: its parts are owed, and whoever wants the open view of the whole asks for it.
        """
        if self.kind == Kind.ENSEMBLE:
            return ()
        return tuple(
            (pin, view)
            for pin in self.pins
            for view in shots.derive_owed(self.facts, protocol=pin.protocol)
        )

    def directions(self, face: str) -> tuple[str, ...]:
        """The directions of raking light that the protocols ask for on a face."""
        return tuple(
            dict.fromkeys(
                view.direction
                for _, view in self.protocol_views
                if view.technique == "RK"
                and view.face == face
                and view.direction is not None
                and view.not_applicable is None
            )
        )

    def making(self, view: shots.OwedView, protocol: shots.Protocol | None = None) -> Making:
        """How a view is made, as the facts and the rules stand."""
        settings = f"{self.settings.id} {self.settings.version}"
        origin = f"{protocol.id} {protocol.version}, {settings}" if protocol else settings
        key = (origin, view.line_id, view.technique, view.face, view.direction)
        found = self._makings.get(key) if view.detail is None else None
        if found is None:
            found = making_of(
                view, self.facts, settings=self.settings, origin=origin, missing=self.missing
            )
            if view.detail is None:
                self._makings[key] = found
        return found

    def making_for(
        self,
        technique: str,
        face: str,
        variant: str,
        detail: Mapping[str, Any] | None = None,
    ) -> Making:
        """How a view of a wish or a treatment is made: by the protocol's own line if it has one.

        `detail` is {"name", "region_mm", "px_per_mm"} and then stands instead of the whole face.
        """
        if detail is not None:
            return self._work_out_for(technique, face, variant, detail)
        key = (technique, face, variant)
        found = self._made_for.get(key)
        if found is None:
            found = self._made_for[key] = self._work_out_for(technique, face, variant, None)
        return found

    def _work_out_for(
        self, technique: str, face: str, variant: str, detail: Mapping[str, Any] | None
    ) -> Making:
        direction = direction_of(technique, variant)
        for pin, view in self.protocol_views if detail is None else ():
            same = (view.technique, view.face, view.direction) == (technique, face, direction)
            if same and view.not_applicable is None:
                return self.making(view, pin.protocol)
        line = shots.read_line(
            {
                "id": f"wish.{technique.lower()}.{face.lower()}",
                "technique": technique,
                "face": face,
                "direction": direction,
                "detail": detail,
                "method": "edges" if (technique, face) == ("VF", "E") else technique.lower(),
            }
        )
        return self.making(shots.OwedView(line, technique, face, direction, CURRENT))


def direction_of(technique: str, variant: str) -> str | None:
    """The light direction in a variant such as "L" or "L detail 2"; only raking light has one.

    >>> direction_of("RK", "L detail 2"), direction_of("UV", "detail 1")
    ('L', None)
    """
    first = variant.split(" ", 1)[0]
    return first if technique == "RK" and first in DIRECTIONS else None


def by_protocol(known: Known) -> Duties:
    """What the pinned protocols ask for, and what their rules take out."""
    duties = Duties()
    for pin, view in known.protocol_views:
        variant = view.direction or ""
        if view.not_applicable is not None:
            duties.not_applicable[view.technique, view.face, variant] = NotWanted(
                rule=view.not_applicable.rule_id, reason=view.not_applicable.reason
            )
            continue
        duties.add(
            Want(
                object_id=known.object_id,
                face=view.face,
                surface=known.surface(view.face),
                technique=view.technique,
                variant=variant,
                as_of=AsOf(),
                making=known.making(view, pin.protocol),
                demands={
                    (Demand.Source.PROTOCOL, entry_id, line_id, None, view.preferred)
                    for entry_id in pin.entry_ids
                    for line_id in (view.line_id, *view.also_asked_by)
                },
            )
        )
    for want in duties.wants.values():
        duties.not_applicable.pop((want.technique, want.face, want.variant), None)
    return duties
