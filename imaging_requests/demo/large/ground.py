"""What a large museum stands on: people, rules, stations, catalogues; and how workers know them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.db import transaction

from imaging_requests.campaigns.models import Campaign, Resource, Station
from imaging_requests.collection.models import Catalogue
from imaging_requests.people.actions import open_account
from imaging_requests.people.models import Role, RoleHolding, User
from imaging_requests.protocols.actions import load_published
from imaging_requests.protocols.models import (
    ProtocolVersion,
    RuleKind,
    StudioSettingsVersion,
    TriggerTableVersion,
)
from imaging_requests.protocols.queries import (
    protocol_of,
    studio_settings_of,
    trigger_table_of,
)
from imaging_requests.reckoning import shots
from imaging_requests.reckoning.truth.triggers import TriggerTable
from imaging_requests.requesting.duties import Known, Pin
from imaging_requests.requesting.material import Published
from imaging_requests.requesting.specs import Making

#: Since when the house keeps records of this kind.
SINCE = timedelta(days=365 * 8)
#: Each kind of rules with the role of its second signature and its document.
RULES = (
    (RuleKind.STUDIO, Role.HEAD, "studio/settings-1.json"),
    (RuleKind.TRIGGERS, Role.CONSERVATOR, "triggers/table-1.json"),
    (RuleKind.PROTOCOL, Role.HEAD, "protocols/catalogue-2.json"),
    (RuleKind.PROTOCOL, Role.HEAD, "protocols/catalogue-3.json"),
)
#: How many objects of the house there are for each person of a role.
OBJECTS_FOR_EACH = {Role.CURATOR: 1_000, Role.CONSERVATOR: 2_000}
STATIONS = (("bay", "Bay", ("VF", "VC", "RK", "UV")), ("ir", "Infrared stand", ("IR",)))


@dataclass(frozen=True, slots=True)
class Place:
    """A station with its resource and the photographer who works there, with theirs."""

    station: int
    name: str
    techniques: tuple[str, ...]
    station_resource: int
    photographer: int
    person_resource: int


@dataclass(frozen=True, slots=True)
class Ground:
    """Keys of what was there before the first object; small enough to hand to every worker."""

    now: datetime
    curators: tuple[int, ...]
    conservators: tuple[int, ...]
    photographers: tuple[int, ...]
    lead: int
    protocols: tuple[int, ...]
    campaign: int
    places: tuple[Place, ...]

    @property
    def since(self) -> datetime:
        """When the house began to keep such records."""
        return self.now - SINCE


def _fixture(path: str) -> Any:
    return json.loads((settings.BASE_DIR / "fixtures" / path).read_text("utf-8"))


@transaction.atomic
def lay_ground(*, now: datetime, objects: int, catalogues: Sequence[int]) -> Ground:
    """Make people, rules, stations and empty catalogues, through the usual acts."""
    since = now - SINCE
    by_role: dict[str, list[User]] = {}
    for row in _people()["people"]:
        user = _account(row, since)
        for role in row["roles"]:
            by_role.setdefault(role, []).append(user)
    for role, number in OBJECTS_FOR_EACH.items():
        by_role[role] += _colleagues(role, objects // number, since)
    lead = by_role[Role.LEAD][0]
    protocols = []
    for kind, role, path in RULES:
        version = load_published(
            kind=kind,
            document=_fixture(path),
            actor=lead,
            co_signed_by=by_role[role][0],
            now=since,
        )
        if kind == RuleKind.PROTOCOL:
            protocols.append(version.pk)
    for pk, _ in enumerate(catalogues, start=1):
        Catalogue.objects.create(
            pk=pk,
            title=f"The Ardenmoor Inventory, volume {pk}",
            image_lock_on=(now + timedelta(days=60 * pk)).date(),
        )
    campaign = Campaign.objects.create(
        name="The years ahead", starts_on=now.date(), ends_on=date(now.year + 3, 12, 31)
    )
    photographers = by_role[Role.PHOTOGRAPHER]
    return Ground(
        now=now,
        curators=tuple(user.pk for user in by_role[Role.CURATOR]),
        conservators=tuple(user.pk for user in by_role[Role.CONSERVATOR]),
        photographers=tuple(user.pk for user in photographers),
        lead=lead.pk,
        protocols=tuple(protocols),
        campaign=campaign.pk,
        places=tuple(
            _place(*row, photographer=user)
            for row, user in zip(STATIONS, photographers, strict=True)
        ),
    )


def _people() -> dict[str, Any]:
    data: dict[str, Any] = _fixture("demo/people.json")
    return data


def _colleagues(role: Role, number: int, since: datetime) -> list[User]:
    """Join others to the people of the small museum, so that nobody answers for everything.

    They never sign in, so they have no password: making a good one takes its time.
    """
    users = User.objects.bulk_create(
        User(
            name=f"{role.label} {place}",
            email=f"{role}.{place}@ardenmoor.example",
            password=make_password(None),
            joined_at=since,
        )
        for place in range(2, number + 1)
    )
    RoleHolding.objects.bulk_create(
        RoleHolding(user=user, role=role, held_from=since) for user in users
    )
    return users


def _account(row: dict[str, Any], since: datetime) -> User:
    return open_account(
        actor=None,
        email=row["email"],
        name=row["name"],
        roles=row["roles"],
        password=_people()["password"],
        now=since,
    )


def _place(code: str, name: str, techniques: tuple[str, ...], *, photographer: User) -> Place:
    station = Station.objects.create(code=code, name=name, techniques=list(techniques))
    return Place(
        station=station.pk,
        name=name,
        techniques=techniques,
        station_resource=Resource.objects.create(
            kind=Resource.Kind.STATION, station=station, name=name
        ).pk,
        photographer=photographer.pk,
        person_resource=Resource.objects.create(
            kind=Resource.Kind.PERSON, person=photographer, name=photographer.name
        ).pk,
    )


@dataclass(frozen=True)
class Rules:
    """The versioned rules as the pure packages read them, loaded once in each process."""

    settings: shots.StudioSettings
    tables: dict[int, TriggerTable]
    published: list[Published]
    protocols: dict[int, shots.Protocol]

    @cached_property
    def numbers(self) -> list[tuple[datetime, int]]:
        """The numbers of the published trigger tables with their instants."""
        return [(published_at, table.version) for published_at, table in self.published]

    @classmethod
    def load(cls) -> Rules:
        """Read what is published."""
        published = [
            (row.published_at, trigger_table_of(row))
            for row in TriggerTableVersion.objects.all()
            if row.published_at is not None
        ]
        return cls(
            settings=studio_settings_of(StudioSettingsVersion.objects.get()),
            tables={table.version: table for _, table in published},
            published=published,
            protocols={row.pk: protocol_of(row) for row in ProtocolVersion.objects.all()},
        )


@dataclass
class Memory:
    """What was worked out for objects of one type: they share their measures."""

    views: dict[tuple[int, int], tuple[shots.OwedView, ...]] = field(default_factory=dict)
    makings: dict[int, dict[tuple[str | None, ...], Making]] = field(default_factory=dict)
    made_for: dict[tuple[int, ...], dict[tuple[str, str, str], Making]] = field(
        default_factory=dict
    )
    texts: dict[int, tuple[Making, str]] = field(default_factory=dict)

    def text_of(self, making: Making) -> str:
        """Return a snapshot as JSON; objects of a type share it."""
        found = self.texts.get(id(making))
        if found is None:
            found = self.texts[id(making)] = (making, json.dumps(making.spec))
        return found[1]

    def views_of(
        self, of_type: int, facts: shots.ObjectFacts, protocol: shots.Protocol
    ) -> tuple[shots.OwedView, ...]:
        """Return what a protocol says of a type of object."""
        key = (of_type, protocol.version)
        if key not in self.views:
            self.views[key] = tuple(shots.derive_owed(facts, protocol=protocol))
        return self.views[key]


def recall(known: Known, of_type: int, memory: Memory) -> Known:
    """Let an object use what was worked out for others of its type; returns the same object."""
    known.__dict__["protocol_views"] = tuple(
        (pin, view)
        for pin in known.pins
        for view in memory.views_of(of_type, known.facts, pin.protocol)
    )
    known.__dict__["_makings"] = memory.makings.setdefault(of_type, {})
    key = (of_type, *(pin.protocol.version for pin in known.pins))
    known.__dict__["_made_for"] = memory.made_for.setdefault(key, {})
    return known


def pins_of(protocols: dict[int, list[int]], rules: Rules) -> tuple[Pin, ...]:
    """Return pins from entry keys by protocol version."""
    return tuple(
        Pin(protocol=rules.protocols[pk], entry_ids=tuple(sorted(entries)))
        for pk, entries in protocols.items()
    )
