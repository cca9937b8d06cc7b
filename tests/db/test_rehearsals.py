"""What a draft of the rules would change: reckoned as the pages reckon, kept, and read to sign."""

from __future__ import annotations

import copy
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, models, transaction
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject, StaleMark
from imaging_requests.deliverables.models import Review
from imaging_requests.intake.models import Job
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.progress import rehearsal_report
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.rehearsal_work import rehearse
from imaging_requests.progress.rehearsing import try_draft
from imaging_requests.progress.settle import settle
from imaging_requests.protocols import actions
from imaging_requests.protocols.actions_rehearsing import read_report
from imaging_requests.protocols.models import (
    EntryPin,
    ProtocolVersion,
    Rehearsal,
    RuleVersion,
    TriggerTableVersion,
)
from imaging_requests.protocols.rules import read_definition
from imaging_requests.requesting.models import Demand, NotApplicable, OwedView, Waiver
from imaging_requests.treatments.models import DecisionCase
from tests import factory

pytestmark = pytest.mark.django_db
NOW = factory.NOW


@pytest.fixture
def signe() -> User:
    factory.rules()
    return factory.lead()


@pytest.fixture
def house(signe: User) -> CollectionObject:
    """One canvas in one entry, settled."""
    thing = factory.museum_object("AR 0070")
    factory.entry(thing, number="23", title="Harbour Study")
    settle([thing.pk], now=NOW)
    return thing


def protocol_draft(signe: User, **changed: Any) -> RuleVersion:
    document = copy.deepcopy(factory.protocol(3).definition) | {"version": 5}
    document.update(changed)
    return actions.draft_version(actor=signe, kind="protocol", document=document)


def lines_but(technique: str) -> list[Any]:
    """The lines of protocol version 3 without those of a technique."""
    every = factory.protocol(3).definition["lines"]
    kept = [line for line in every if line["technique"] != technique]
    assert 0 < len(kept) < len(every)
    return kept


def rows_of_everything() -> dict[str, list[Any]]:
    """Every row that a derivation could touch."""
    tables: tuple[type[models.Model], ...] = (
        OwedView,
        Demand,
        NotApplicable,
        ViewStatus,
        EntryStatus,
        StaleMark,
        DecisionCase,
        EntryPin,
    )
    return {
        table.__name__: list(table._default_manager.order_by("pk").values()) for table in tables
    }


def rehearsed(signe: User, row: RuleVersion) -> Rehearsal:
    return rehearse(actor=signe, kind=row.kind, pk=row.pk, read_version=row.row_version)


def test_a_draft_that_says_the_same_changes_nothing(signe: User, house: CollectionObject) -> None:
    report = rehearsed(signe, protocol_draft(signe)).report
    assert (report["tried"], report["whole"], report["is_share"]) == (1, 1, False)
    assert report["views"] == {"comes": 0, "goes": 0, "other": 0}
    assert report["statuses"] == report["falls"] == []
    assert all(row["more"] == 0 for row in report["work"])
    assert report["work"][0]["now"] > 0, "the comparison saw some work"


def test_a_line_that_is_left_out_goes_and_nothing_is_stored(
    signe: User, house: CollectionObject
) -> None:
    draft = protocol_draft(signe, lines=lines_but("UV"))
    before = rows_of_everything()
    report = rehearsed(signe, draft).report
    assert rows_of_everything() == before, "a rehearsal writes nothing but its report"
    assert report["views"]["goes"] >= 1
    assert report["views"]["comes"] == 0
    gone = [row for row in report["by_view"] if row["what"] == "goes"]
    assert {row["view"] for row in gone} == {"UV of the front", "UV of the back"}
    assert {row["catalogue"] for row in gone} == {house.entry_objects.get().entry.catalogue.title}
    minutes = report["work"][0]
    assert minutes["more"] < 0
    assert minutes["less"] == minutes["now"] - minutes["then"]


def test_what_is_foretold_is_what_happens_when_the_entry_moves(
    signe: User, house: CollectionObject
) -> None:
    """The report against the real thing: the draft is published and the entry follows it."""
    draft = protocol_draft(signe, lines=lines_but("IR"))
    foretold = try_draft([house.pk], read_definition("protocol", draft.definition), now=NOW)[0]
    told = sorted(str(view.status) for view in foretold.then.derived.views)
    assert told != sorted(str(view.status) for view in foretold.now.derived.views)
    factory.rehearsed(draft, signe)
    corvin = factory.head()
    factory.rehearsed(draft, corvin)
    common = {"kind": "protocol", "pk": draft.pk, "now": NOW}
    actions.sign_version(actor=signe, read_version=1, **common)
    actions.co_sign_version(actor=corvin, read_version=2, **common)
    entry = house.entry_objects.get().entry
    actions.move_entry_pin(
        actor=signe,
        entry_id=entry.pk,
        read_version=entry.row_version,
        protocol_id=draft.pk,
        reason="as rehearsed",
        now=NOW,
    )
    settle([house.pk], now=NOW + timedelta(minutes=1))
    happened = sorted(ViewStatus.objects.filter(object=house).values_list("status", flat=True))
    assert happened == told
    owed = {
        (view.surface, view.technique, view.variant, view.anchor_key)
        for view in OwedView.objects.filter(object=house, derived__isnull=False)
    }
    assert owed == {foretold.then.keys[view.view_key][1:] for view in foretold.then.derived.views}


def test_a_full_entry_that_would_fall_back_is_named(signe: User, house: CollectionObject) -> None:
    bare = protocol_draft(signe)
    narrow = ProtocolVersion.objects.create(
        name="catalogue",
        number=2,
        state="published",
        definition=factory.protocol(3).definition
        | {
            "version": 2,
            "lines": [
                line
                for line in factory.protocol(3).definition["lines"]
                if line["technique"] == "UV"
            ],
        },
        **factory._signatures(),
    )
    before = EntryPin.objects.get(entry__entry_objects__object=house, unpinned_at=None)
    EntryPin.objects.create(
        entry=before.entry, protocol=narrow, pinned_at=before.pinned_at + timedelta(seconds=1)
    )
    StaleMark.objects.create(object=house, reason="test")
    settle([house.pk], now=NOW)
    for view in OwedView.objects.filter(object=house, derived__isnull=False):
        Waiver.objects.create(
            owed_view=view,
            reason_code="other",
            text="not needed for this catalogue",
            granted_by=signe,
            granted_at=NOW,
            recorded_at=NOW,
        )
    StaleMark.objects.create(object=house, reason="test")
    settle([house.pk], now=NOW)
    assert EntryStatus.objects.get().grade == "full_with_waivers"
    report = rehearsed(signe, bare).report
    assert [row["entry"] for row in report["falls"]] == [str(house.entry_objects.get().entry)]
    assert "not met" in report["falls"][0]["why"]
    assert report["views"]["comes"] >= 3


def table_draft(signe: User) -> RuleVersion:
    """Surface cleaning leaves UV of the treated face true: O becomes V."""
    document = copy.deepcopy(factory.trigger_table().definition) | {"version": 2}
    row = next(each for each in document["rows"] if each["row"] == 1)
    assert row["cells"]["UV-F"] == "O"
    row["cells"]["UV-F"] = "V"
    return actions.draft_version(actor=signe, kind="triggers", document=document)


def test_a_table_is_tried_on_steps_ahead(signe: User, house: CollectionObject) -> None:
    factory.treatment(house, (1,), by=factory.conservator())
    picture = factory.deliverable(house, "UV")
    Review.objects.create(deliverable=picture, verdict="accepted", by=signe, recorded_at=NOW)
    StaleMark.objects.create(object=house, reason="test")
    settle([house.pk], now=NOW)
    before = rows_of_everything()
    report = rehearsed(signe, table_draft(signe)).report
    assert rows_of_everything() == before
    assert report["is_table"]
    assert report["tried"] == 1
    assert report["pictures_total"] == 1
    (row,) = report["pictures"]
    assert row["view"] == "UV of the front, by the steps ahead"
    assert (row["before"], row["then"]) == ("out of date", "still valid")


def test_nobody_signs_what_was_not_rehearsed_and_read(signe: User, house: CollectionObject) -> None:
    row = protocol_draft(signe)
    wanted = {"actor": signe, "kind": "protocol", "pk": row.pk}
    with pytest.raises(IllegalStep, match="Nobody has rehearsed this draft yet"):
        actions.sign_version(**wanted, read_version=1)
    made = rehearsed(signe, row)
    with pytest.raises(IllegalStep, match="You have not opened the report"):
        actions.sign_version(**wanted, read_version=1)
    read_report(**wanted, rehearsal_id=made.pk)
    document = row.definition | {"title": "Other words"}
    actions.replace_draft(**wanted, read_version=1, document=document)
    with pytest.raises(IllegalStep, match="The draft has changed since it was rehearsed"):
        actions.sign_version(**wanted, read_version=2)
    with pytest.raises(DomainError, match="not about the draft as it stands"):
        read_report(**wanted, rehearsal_id=made.pk)
    row.refresh_from_db()
    read_report(**wanted, rehearsal_id=rehearsed(signe, row).pk)
    actions.sign_version(**wanted, read_version=2)
    corvin = factory.head()
    with pytest.raises(IllegalStep, match="You have not opened the report"):
        actions.co_sign_version(**(wanted | {"actor": corvin}), read_version=3)
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        Rehearsal.objects.filter(pk=made.pk).update(report={})


def test_a_large_house_is_rehearsed_in_the_background_on_an_even_share(
    signe: User, house: CollectionObject, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = factory.museum_object("AR 0071")
    factory.entry(other, number="24")
    settle([other.pk], now=NOW)
    bounds = {rehearsal_report.AT_ONCE: 1, rehearsal_report.MOST: 1}
    monkeypatch.setattr(rehearsal_report, "bound", lambda name, now: bounds[name])
    row = protocol_draft(signe)
    asked = rehearsed(signe, row)
    assert asked.state == Rehearsal.State.ASKED
    assert Job.objects.get(kind="rehearse").subject_id == asked.pk
    assert rehearsed(signe, row).pk == asked.pk, "asked twice is asked once"
    with pytest.raises(IllegalStep, match="still being worked out"):
        actions.sign_version(actor=signe, kind="protocol", pk=row.pk, read_version=1)
    report = rehearsal_report.work_out(asked, now=NOW)
    assert (report["tried"], report["whole"], report["is_share"]) == (1, 2, True)


def test_the_page_of_a_draft_leads_from_rehearsal_to_signature(
    signe: User, house: CollectionObject
) -> None:
    row = protocol_draft(signe)
    client = Client()
    client.force_login(signe)
    address = reverse("protocols:version", args=["protocol", row.pk])
    page = client.get(address).content.decode()
    assert "Not rehearsed yet" in page
    assert "Nobody has rehearsed this draft yet" in page
    assert "Sign as imaging lead" not in page
    rehearse_at = reverse("progress:rehearse", args=["protocol", row.pk])
    page = client.post(rehearse_at, {"read_version": 1}, follow=True).content.decode()
    assert "the draft would change nothing today" in page
    assert "on the one object" in page
    assert "You have not opened the report of the rehearsal yet." in page
    made = Rehearsal.objects.get()
    read_at = reverse("protocols:read_report", args=["protocol", row.pk, made.pk])
    page = client.post(read_at, follow=True).content.decode()
    assert "Read by Signe on" in page
    assert "Sign as imaging lead" in page
    stale = client.post(rehearse_at, {"read_version": 9}, follow=True).content.decode()
    assert "while you were working on it" in stale


def test_a_published_table_is_not_rehearsed(signe: User) -> None:
    table = TriggerTableVersion.objects.get()
    with pytest.raises(IllegalStep, match="only drafts of protocols and of trigger tables"):
        rehearsed(signe, table)
