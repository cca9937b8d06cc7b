"""Reads of versioned rules: what is in force when, as typed objects that are parsed once."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, TypeVar, cast

from django.db.models import Count, Q, QuerySet
from django.http import Http404

from imaging_requests.collection.limits import Limit
from imaging_requests.collection.models import Entry
from imaging_requests.people.errors import DomainError
from imaging_requests.protocols.models import (
    MODELS,
    EntryPin,
    ProtocolVersion,
    RuleKind,
    RuleVersion,
    StudioSettingsVersion,
    TriggerTableVersion,
    VersionState,
)
from imaging_requests.protocols.rules import Definition, read_definition
from imaging_requests.reckoning.shots.protocol import Protocol
from imaging_requests.reckoning.shots.settings import Periods, StudioSettings
from imaging_requests.reckoning.truth.triggers import TriggerTable

V = TypeVar("V", bound=RuleVersion)
SIGNATURES = ("published_by", "co_signed_by")
NO_PERIODS = Periods(
    steps_ahead=timedelta(),
    sessions_ahead=timedelta(),
    windows_ahead=timedelta(),
    waivers_ahead=timedelta(),
    merger_reversible=timedelta(),
)


@lru_cache(maxsize=128)
def _parsed(kind: str, text: str) -> Definition:
    return read_definition(kind, json.loads(text))


def _typed(version: RuleVersion) -> Definition:
    """Parse a definition once for each distinct content, whichever row holds it."""
    text = json.dumps(version.definition, sort_keys=True, separators=(",", ":"))
    return _parsed(version.kind, text)


def protocol_of(version: ProtocolVersion) -> Protocol:
    """Return what a protocol version says, as the derivation of shots reads it."""
    return cast(Protocol, _typed(version))


def trigger_table_of(version: TriggerTableVersion) -> TriggerTable:
    """Return what a version of the trigger table says, as the rules of truth read it."""
    return cast(TriggerTable, _typed(version))


def studio_settings_of(version: StudioSettingsVersion) -> StudioSettings:
    """Return the studio's numbers of a version, typed."""
    return cast(StudioSettings, _typed(version))


def _published(versions: QuerySet[V], at: datetime) -> QuerySet[V]:
    """Versions published by `at`, the newest first; a later retirement does not undo the past."""
    return (
        versions.exclude(state=VersionState.DRAFT)
        .filter(published_at__lte=at)
        .order_by("-published_at", "-number")
    )


def _nothing_published(words: str) -> DomainError:
    return DomainError(
        f"No {words} has been published yet, so nothing can be derived from one.",
        code="protocols.nothing_published",
        next_step="Ask the imaging lead to publish one.",
    )


def trigger_table_in_force(at: datetime) -> TriggerTable:
    """Return the trigger table that counts for what is recorded at `at`."""
    version = _published(TriggerTableVersion.objects.all(), at).first()
    if version is None:
        raise _nothing_published(TriggerTableVersion.words)
    return trigger_table_of(version)


def trigger_tables() -> dict[int, TriggerTable]:
    """Return every published trigger table by its number, in one query."""
    versions = TriggerTableVersion.objects.exclude(state=VersionState.DRAFT)
    return {version.number: trigger_table_of(version) for version in versions}


def studio_settings_in_force(at: datetime) -> StudioSettings:
    """Return the studio's numbers that count at `at`."""
    version = _published(StudioSettingsVersion.objects.all(), at).first()
    if version is None:
        raise _nothing_published(StudioSettingsVersion.words)
    return studio_settings_of(version)


def settings_for_words(at: datetime) -> StudioSettings | None:
    """Return the studio's names and units of facts at `at`, or None while there are none."""
    found = _published(StudioSettingsVersion.objects.all(), at).first()
    return None if found is None else studio_settings_of(found)


def periods(at: datetime) -> Periods:
    """Return how far ahead the pages look at `at`; nowhere before anything is published."""
    settings = settings_for_words(at)
    return NO_PERIODS if settings is None else settings.periods


def limits_of_measures(at: datetime) -> Mapping[str, Limit]:
    """Return between which values the studio believes each fact at `at`."""
    settings = settings_for_words(at)
    if settings is None:
        return {}
    return {
        name: Limit(at_least=rule.at_least, at_most=rule.at_most)
        for name, rule in settings.facts.items()
    }


def companions(at: datetime) -> tuple[Protocol | None, StudioSettings | None]:
    """Return the newest protocol and the studio's numbers at `at`, each None while there is none.

    A draft of either kind is tried with the other.
    """
    protocol = _published(ProtocolVersion.objects.exclude(state=VersionState.RETIRED), at).first()
    return None if protocol is None else protocol_of(protocol), settings_for_words(at)


def newest_protocol(at: datetime, name: str = "catalogue") -> ProtocolVersion:
    """Return the protocol version that a new entry is pinned to at `at`."""
    version = (
        _published(ProtocolVersion.objects.filter(name=name), at)
        .exclude(state=VersionState.RETIRED)
        .first()
    )
    if version is None:
        raise _nothing_published(f"protocol “{name}”")
    return version


def protocols_pinned(entry_ids: Iterable[int], at: datetime) -> dict[int, ProtocolVersion]:
    """Return the protocol version each entry follows at `at`, in one query."""
    pins = (
        EntryPin.objects.filter(entry_id__in=list(entry_ids), pinned_at__lte=at)
        .filter(Q(unpinned_at=None) | Q(unpinned_at__gt=at))
        .select_related("protocol")
    )
    return {pin.entry_id: pin.protocol for pin in pins}


def versions(kind: str) -> list[RuleVersion]:
    """List every version of one kind, the newest first, with its two signatories."""
    rows = MODELS[kind]._default_manager.select_related(*SIGNATURES).order_by("-number")
    if kind == RuleKind.PROTOCOL:
        rows = rows.annotate(
            pinned=Count("pins", filter=Q(pins__unpinned_at=None))  # entries that follow it now
        ).order_by("name", "-number")
    return list(rows)


def version(kind: str, pk: int) -> RuleVersion:
    """Return one version with its signatories; an unknown one is not found."""
    if kind not in MODELS:
        raise Http404
    found = MODELS[kind]._default_manager.select_related(*SIGNATURES).filter(pk=pk).first()
    if found is None:
        raise Http404
    return found


def newest_number(kind: str, family: Mapping[str, Any]) -> int | None:
    """Return the highest number that is no draft, among versions of one series."""
    rows = MODELS[kind]._default_manager.filter(**family).exclude(state=VersionState.DRAFT)
    return rows.order_by("-number").values_list("number", flat=True).first()


def in_use_because(row: RuleVersion) -> str:
    """Return why a published version is still needed, or an empty string."""
    family = {"name": row.name} if isinstance(row, ProtocolVersion) else {}
    if isinstance(row, ProtocolVersion):
        pinned = EntryPin.objects.filter(protocol=row, unpinned_at=None).count()
        if pinned:
            return f"{pinned} {'entry follows' if pinned == 1 else 'entries follow'} it now."
    if row.number == newest_number(row.kind, family):
        return f"It is the newest {row.words}; without it nothing could be derived."
    return ""


def entries_pinned_to(protocol: ProtocolVersion) -> QuerySet[Entry]:
    """List the entries that follow this version now."""
    return (
        Entry.objects.filter(pins__protocol=protocol, pins__unpinned_at=None)
        .select_related("catalogue")
        .order_by("catalogue", "sort_key")
    )


def pins_of(entry: Entry) -> QuerySet[EntryPin]:
    """List the versions an entry has followed, the present one first."""
    return entry.pins.select_related("protocol").order_by("-pinned_at")


def publishable_targets(at: datetime) -> QuerySet[ProtocolVersion]:
    """List the protocol versions an entry can be moved to."""
    return (
        ProtocolVersion.objects.filter(state=VersionState.PUBLISHED, published_at__lte=at)
        .defer("definition")
        .order_by("name", "-number")
    )


def numbers_in_force(kind: str, at: datetime) -> Mapping[str, int]:
    """Return for each name the number that counts at `at`; kinds without names use ''."""
    if kind == RuleKind.PROTOCOL:
        rows = _published(ProtocolVersion.objects.defer("definition"), at)
        return {row.name: row.number for row in reversed(rows)}
    first = _published(MODELS[kind]._default_manager.defer("definition"), at).first()
    return {} if first is None else {"": first.number}
