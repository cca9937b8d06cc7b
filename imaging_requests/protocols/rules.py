"""What may happen to a version of the rules, who signs it, and what makes a definition usable."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import Any

from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import Role
from imaging_requests.protocols.models import RuleKind, VersionState
from imaging_requests.protocols.shape import misfits
from imaging_requests.reckoning.shots.protocol import BadProtocolError, Protocol, read_protocol
from imaging_requests.reckoning.shots.settings import (
    BadSettingsError,
    StudioSettings,
    read_settings,
)
from imaging_requests.reckoning.truth.triggers import TableError, TriggerTable, read_table

Definition = Protocol | TriggerTable | StudioSettings


class Step(StrEnum):
    """What people do to a version."""

    EDIT = "edit"
    SIGN = "sign"
    CO_SIGN = "co-sign"
    RETIRE = "retire"


#: (state, step) → state afterwards; a pair that is not here is refused.
STEPS: Mapping[tuple[str, Step], str] = {
    (VersionState.DRAFT, Step.EDIT): VersionState.DRAFT,
    (VersionState.DRAFT, Step.SIGN): VersionState.DRAFT,
    (VersionState.DRAFT, Step.CO_SIGN): VersionState.PUBLISHED,
    (VersionState.PUBLISHED, Step.RETIRE): VersionState.RETIRED,
}

#: Who gives the second signature; the first is always the imaging lead's.
CO_SIGNERS: Mapping[str, Role] = {
    RuleKind.PROTOCOL: Role.HEAD,
    RuleKind.TRIGGERS: Role.CONSERVATOR,
    RuleKind.STUDIO: Role.HEAD,
}

NEXT_AFTER_PUBLICATION = "Write a new version and publish that: a published one never changes."


def next_state(state: str, step: Step) -> str:
    """Return the state after `step`, or refuse with the reason."""
    try:
        return STEPS[state, step]
    except KeyError:
        label = VersionState(state).label.lower()
        raise IllegalStep(
            f"You cannot {step.value} this version: it is {label}.",
            code=f"protocols.no_{step.value}_when_{state}",
            next_step="" if state == VersionState.DRAFT else NEXT_AFTER_PUBLICATION,
        ) from None


def demand_two_people(first_id: int | None, second_id: int) -> None:
    """Refuse a second signature without a first one, or by the same person."""
    if first_id is None:
        raise IllegalStep(
            "The imaging lead has not signed this draft yet.",
            code="protocols.first_signature_missing",
            next_step="Ask the lead to sign it first.",
        )
    if first_id == second_id:
        raise DomainError(
            "One person cannot give both signatures.",
            code="protocols.one_person_twice",
            next_step="Ask a second person to sign.",
        )


def demand_higher_number(number: int, published: int | None) -> None:
    """Refuse a version that would not come after the published one."""
    if published is not None and number <= published:
        raise DomainError(
            f"Version {number} would stand before version {published}, which is published.",
            code="protocols.number_not_higher",
            next_step=f"Give the draft the version {published + 1}.",
            data={"number": number, "published": published},
        )


def read_definition(kind: str, document: object) -> Definition:
    """Turn a document into its typed object, or refuse with every sentence there is to say."""
    found = misfits(kind, document)
    if found:
        raise unusable(found)
    assert isinstance(document, Mapping)
    try:
        return _READERS[kind](document)
    except (BadProtocolError, TableError, BadSettingsError) as problem:
        raise unusable([str(problem)]) from None


def unusable(sentences: list[str]) -> DomainError:
    """Return the refusal of a document, with its sentences in `data`."""
    more = len(sentences) - 1
    tail = f" And {more} more." if more else ""
    return DomainError(
        f"The document cannot be used. {sentences[0]}{tail}",
        code="protocols.unusable_document",
        next_step="Correct the document and send it again; nothing was changed.",
        data={"sentences": sentences},
    )


def version_number(document: Mapping[str, Any]) -> int:
    """Return the number a checked document gives itself."""
    return int(document["version"])


_READERS: Mapping[str, Callable[[Mapping[str, Any]], Definition]] = {
    RuleKind.PROTOCOL: read_protocol,
    RuleKind.TRIGGERS: read_table,
    RuleKind.STUDIO: read_settings,
}
