"""Drafting, signing, publishing, retiring, and moving entries between protocol versions."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from imaging_requests.collection.models import StaleMark
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.protocols import actions, queries
from imaging_requests.protocols.models import (
    MODELS,
    EntryPin,
    ProtocolVersion,
    RuleKind,
    RuleVersion,
    TriggerTableVersion,
    VersionState,
)
from imaging_requests.reckoning.shots.protocol import Protocol
from tests import factory
from tests.db.test_protocols_rules import document

pytestmark = pytest.mark.django_db
NOW = factory.NOW
LATER = NOW + timedelta(days=1)


def sign(actor: User, kind: str, pk: int, read_version: int, now: datetime = NOW) -> RuleVersion:
    factory.rehearsed(MODELS[kind]._default_manager.get(pk=pk), actor)
    return actions.sign_version(actor=actor, kind=kind, pk=pk, read_version=read_version, now=now)


def co_sign(actor: User, kind: str, pk: int, read_version: int, now: datetime = NOW) -> RuleVersion:
    factory.rehearsed(MODELS[kind]._default_manager.get(pk=pk), actor)
    return actions.co_sign_version(
        actor=actor, kind=kind, pk=pk, read_version=read_version, now=now
    )


def test_a_version_is_drafted_signed_and_published_by_two_people() -> None:
    signe, corvin = factory.lead(), factory.head()
    draft = actions.draft_version(
        actor=signe, kind=RuleKind.PROTOCOL, document=document("protocol"), now=NOW
    )
    assert (draft.state, draft.number, draft.name) == (VersionState.DRAFT, 3, "catalogue")
    signed = sign(signe, "protocol", draft.pk, 1, NOW)
    assert signed.state == VersionState.DRAFT
    assert "your signature publishes it" in Notice.objects.get(user=corvin).text
    published = co_sign(corvin, "protocol", draft.pk, 2, LATER)
    assert published.state == VersionState.PUBLISHED
    assert (published.published_by, published.co_signed_by) == (signe, corvin)
    assert published.published_at == LATER
    codes = AuditEvent.objects.filter(subject_id=str(draft.pk)).values_list("code", flat=True)
    assert list(codes) == ["protocols.drafted", "protocols.signed", "protocols.published"]


def test_the_second_signature_needs_a_first_and_another_person() -> None:
    both = factory.person("Signe", "lead", "head")
    draft = actions.draft_version(
        actor=both, kind="protocol", document=document("protocol"), now=NOW
    )
    with pytest.raises(IllegalStep, match="The imaging lead has not signed this draft yet"):
        co_sign(both, "protocol", draft.pk, 1, NOW)
    sign(both, "protocol", draft.pk, 1, NOW)
    with pytest.raises(DomainError, match="One person cannot give both signatures"):
        co_sign(both, "protocol", draft.pk, 2, NOW)
    corvin = factory.head()
    co_sign(corvin, "protocol", draft.pk, 2, NOW)


@pytest.mark.parametrize(
    ("kind", "right", "wrong"),
    [
        ("protocol", "head", "conservator"),
        ("studio", "head", "conservator"),
        ("triggers", "conservator", "head"),
    ],
)
def test_each_kind_has_its_own_second_signatory(kind: str, right: str, wrong: str) -> None:
    signe = factory.lead()
    draft = actions.draft_version(actor=signe, kind=kind, document=document(kind), now=NOW)
    sign(signe, kind, draft.pk, 1, NOW)
    with pytest.raises(NotAllowed, match="The second signature under the"):
        co_sign(factory.person("Wrong", wrong), kind, draft.pk, 2, NOW)
    published = co_sign(factory.person("Right", right), kind, draft.pk, 2, NOW)
    assert published.state == VersionState.PUBLISHED


@pytest.mark.parametrize("role", ["curator", "conservator", "photographer", "head", "keeper"])
def test_only_the_lead_drafts_and_signs(role: str) -> None:
    signe, other = factory.lead(), factory.person("Other", role)
    with pytest.raises(NotAllowed, match="Drafting the studio's rules is for the imaging lead"):
        actions.draft_version(actor=other, kind="protocol", document=document("protocol"), now=NOW)
    draft = actions.draft_version(
        actor=signe, kind="protocol", document=document("protocol"), now=NOW
    )
    with pytest.raises(NotAllowed, match="Signing the studio's rules is for the imaging lead"):
        sign(other, "protocol", draft.pk, 1, NOW)


def test_changing_a_draft_takes_the_signature_away() -> None:
    signe = factory.lead()
    draft = actions.draft_version(
        actor=signe, kind="protocol", document=document("protocol"), now=NOW
    )
    sign(signe, "protocol", draft.pk, 1, NOW)
    changed = actions.replace_draft(
        actor=signe,
        kind="protocol",
        pk=draft.pk,
        read_version=2,
        document=document("protocol", title="Catalogue set, revised"),
        now=NOW,
    )
    assert changed.published_by is None
    with pytest.raises(StaleWrite):
        sign(signe, "protocol", draft.pk, 2, NOW)


def test_a_published_version_is_not_edited_and_the_refusal_says_what_to_do() -> None:
    signe, row = factory.lead(), factory.protocol()
    with pytest.raises(IllegalStep, match="You cannot edit this version: it is published") as no:
        actions.replace_draft(
            actor=signe,
            kind="protocol",
            pk=row.pk,
            read_version=row.row_version,
            document=document("protocol"),
            now=NOW,
        )
    assert no.value.next_step.startswith("Write a new version")


def test_numbers_only_rise_and_are_used_once() -> None:
    signe = factory.lead()
    factory.protocol(3)
    with pytest.raises(DomainError, match="Version 3 would stand before version 3") as no:
        actions.draft_version(actor=signe, kind="protocol", document=document("protocol"))
    assert no.value.next_step == "Give the draft the version 4."
    four = document("protocol", version=4)
    actions.draft_version(actor=signe, kind="protocol", document=four)
    with pytest.raises(DomainError, match="There is a draft of version 4 already"):
        actions.draft_version(actor=signe, kind="protocol", document=four)


def test_a_house_brings_in_rules_that_were_in_force_before() -> None:
    row = actions.load_published(
        kind="triggers",
        document=document("triggers"),
        actor=factory.lead(),
        co_signed_by=factory.conservator(),
        published_at=factory.LONG_AGO,
        now=NOW,
    )
    assert row.published_at == factory.LONG_AGO
    assert queries.trigger_table_in_force(NOW - timedelta(days=30)).version == 1
    with pytest.raises(DomainError, match="No table of re-shoot triggers has been published"):
        queries.trigger_table_in_force(factory.LONG_AGO - timedelta(days=1))


def test_the_table_in_force_follows_the_instant_of_recording() -> None:
    signe, runa = factory.lead(), factory.conservator()
    for number, at in ((1, factory.LONG_AGO), (2, NOW)):
        actions.load_published(
            kind="triggers",
            document=document("triggers", version=number),
            actor=signe,
            co_signed_by=runa,
            published_at=at,
            now=LATER,
        )
    assert queries.trigger_table_in_force(NOW - timedelta(seconds=1)).version == 1
    assert queries.trigger_table_in_force(NOW).version == 2
    assert sorted(queries.trigger_tables()) == [1, 2]
    first = TriggerTableVersion.objects.get(number=1)
    actions.retire_version(
        actor=signe, kind="triggers", pk=first.pk, read_version=first.row_version, now=LATER
    )
    assert queries.trigger_table_in_force(NOW - timedelta(seconds=1)).version == 1


def test_a_version_in_use_or_the_newest_is_not_retired() -> None:
    signe = factory.lead()
    two, three = factory.protocol(2), factory.protocol(3)
    followed = factory.entry(factory.museum_object(), pinned_to=two)
    with pytest.raises(IllegalStep, match="1 entry follows it now"):
        actions.retire_version(actor=signe, kind="protocol", pk=two.pk, read_version=1, now=NOW)
    with pytest.raises(IllegalStep, match="It is the newest protocol"):
        actions.retire_version(actor=signe, kind="protocol", pk=three.pk, read_version=1, now=NOW)
    actions.move_entry_pin(
        actor=signe,
        entry_id=followed.pk,
        read_version=1,
        protocol_id=three.pk,
        reason="version 3 is out",
        now=NOW,
    )
    retired = actions.retire_version(
        actor=signe, kind="protocol", pk=two.pk, read_version=1, now=NOW
    )
    assert retired.state == VersionState.RETIRED


def test_an_entry_moves_at_one_instant_and_its_objects_become_stale() -> None:
    corvin, obj = factory.head(), factory.museum_object()
    entry = factory.entry(obj, pinned_to=factory.protocol(2))
    three = factory.protocol(3)
    pin = actions.move_entry_pin(
        actor=corvin,
        entry_id=entry.pk,
        read_version=1,
        protocol_id=three.pk,
        reason="  rehearsed and agreed ",
        now=NOW,
    )
    before = EntryPin.objects.get(entry=entry, unpinned_at=NOW)
    assert (pin.pinned_at, pin.reason) == (NOW, "rehearsed and agreed")
    assert before.protocol.number == 2
    assert queries.protocols_pinned([entry.pk], NOW - timedelta(hours=1))[entry.pk].number == 2
    assert queries.protocols_pinned([entry.pk], NOW)[entry.pk].number == 3
    assert StaleMark.objects.filter(object=obj, reason="protocols.pin_moved").count() == 1
    with pytest.raises(StaleWrite):
        actions.move_entry_pin(
            actor=corvin,
            entry_id=entry.pk,
            read_version=1,
            protocol_id=before.protocol_id,
            reason="back",
            now=LATER,
        )
    with pytest.raises(IllegalStep, match="follows the catalogue, version 3 already"):
        actions.move_entry_pin(
            actor=corvin,
            entry_id=entry.pk,
            read_version=2,
            protocol_id=three.pk,
            reason="again",
            now=LATER,
        )


def test_an_entry_never_follows_a_draft_and_a_curator_never_moves_it() -> None:
    entry = factory.entry(factory.museum_object())
    draft = factory.protocol(4, state=VersionState.DRAFT)
    move = {"entry_id": entry.pk, "read_version": 1, "protocol_id": draft.pk, "reason": "soon"}
    with pytest.raises(IllegalStep, match="entries follow published versions only"):
        actions.move_entry_pin(actor=factory.lead(), **move)
    with pytest.raises(NotAllowed, match="Moving an entry to another protocol version"):
        actions.move_entry_pin(actor=factory.curator(), **move)


def test_parsed_versions_are_typed_and_parsed_once() -> None:
    row = factory.protocol(3)
    typed = queries.protocol_of(row)
    assert isinstance(typed, Protocol)
    assert queries.protocol_of(ProtocolVersion.objects.get(pk=row.pk)) is typed
