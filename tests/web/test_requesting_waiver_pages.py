"""The pages of waivers, rulings and gaps: who signs, in which order, what a refusal keeps."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import User
from imaging_requests.requesting import actions, outlook
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import Waiver, WaiverProposal
from tests import factory

pytestmark = pytest.mark.django_db

ROLES = ("curator", "conservator", "photographer", "lead", "head", "keeper")


@pytest.fixture(autouse=True)
def _scene(monkeypatch: pytest.MonkeyPatch) -> None:
    factory.rules()
    monkeypatch.setitem(outlook._lookups, "standing", lambda ids: {})


@pytest.fixture
def people() -> dict[str, User]:
    names = ("Oda", "Runa", "Amaro", "Signe", "Corvin", "Kuno")
    return {role: factory.person(name, role) for role, name in zip(ROLES, names, strict=True)}


@pytest.fixture
def banner() -> CollectionObject:
    return owed("AR 0067", "Processional Banner of the Pilots", entry="22")


def owed(number: str = "", title: str = "", *, entry: str = "") -> CollectionObject:
    obj = factory.museum_object(number, title)
    factory.entry(obj, number=entry)
    sync_owed_views([obj.pk], timezone.now())
    return obj


def signed_in(client: Client, user: User) -> Client:
    client.force_login(user)
    return client


def text(response: object) -> str:
    return " ".join(response.content.decode().split())  # type: ignore[attr-defined]


def test_waiving_by_the_lead_and_proposing_by_others(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    view = banner.owed_views.get(technique="XR")
    address = reverse("requesting:waive", args=[view.pk])
    data = {"reason_code": "nothing_to_see", "text": "Lead white.", "valid_until": "2030-06-30"}
    signed_in(client, people["curator"])
    assert "Propose to waive X-ray of AR 0067?" in text(client.get(address))
    client.post(address, data)
    assert WaiverProposal.objects.get().state == "asked"
    signed_in(client, people["lead"])
    book = text(client.get(reverse("requesting:waivers")))
    assert "0 waivers are in force, 1 waits for a signature" in book
    empty = client.post(address, {**data, "text": ""})
    assert empty.status_code == 422
    assert "2030-06-30" in text(empty)
    signed = client.post(
        reverse("requesting:waiver_sign", args=[WaiverProposal.objects.get().pk]),
        {"read_version": 1},
        follow=True,
    )
    assert "Signed; the waiver is in force." in text(signed)
    waiver = Waiver.objects.get()
    assert waiver.lapses_at is not None
    lapses = waiver.lapses_at.astimezone(ZoneInfo("Europe/London"))
    assert (lapses.date(), lapses.hour) == (date(2030, 7, 1), 0)
    assert "to the end of 30 Jun 2030" in text(client.get(reverse("requesting:waivers")))


def test_the_first_signature_of_a_last_look_is_kept(
    client: Client, people: dict[str, User]
) -> None:
    obj = owed("AR 0070")
    factory.treatment(obj, (1, 2), by=people["conservator"])
    sync_owed_views([obj.pk], timezone.now())
    view = obj.owed_views.get(technique="UV", anchor="BT")
    page_address = reverse("requesting:waive", args=[view.pk])
    signed_in(client, people["lead"])
    page = text(client.get(page_address))
    assert "This picture can never be made again" in page
    assert "Varnish thinned or removed" in page
    client.post(page_address, {"reason_code": "other", "text": "It is known from 2011."})
    proposal = WaiverProposal.objects.get()
    sign = reverse("requesting:waiver_sign", args=[proposal.pk])
    client.post(sign, {"read_version": 1})
    assert not Waiver.objects.exists()
    assert "a conservator" in text(client.get(reverse("requesting:waivers")))
    again = client.post(sign, {"read_version": 2})
    assert again.status_code == 422
    assert "two different people" in text(again)
    signed_in(client, people["conservator"])
    client.post(sign, {"read_version": 2})
    assert Waiver.objects.get().is_last_look is True


def test_refusing_and_ending_and_ruling(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    view = banner.owed_views.get(technique="XR")
    signed_in(client, people["lead"])
    proposal = actions.propose_waiver(
        actor=people["curator"], owed_view_id=view.pk, reason_code="other", text="Not needed."
    )
    refuse = reverse("requesting:waiver_refuse", args=[proposal.pk])
    assert client.post(refuse, {"words": "", "read_version": 1}).status_code == 422
    client.post(refuse, {"words": "It is needed.", "read_version": 1})
    proposal.refresh_from_db()
    assert proposal.state == "refused"
    waiver = actions.grant_waiver(
        actor=people["lead"], owed_view_id=view.pk, reason_code="other", text="Not needed now."
    )
    client.post(reverse("requesting:waiver_end", args=[waiver.pk]), {"words": "Needed again."})
    waiver.refresh_from_db()
    assert waiver.end_reason == "Needed again."
    ruling = reverse("requesting:not_applicable", args=[banner.pk])
    client.post(ruling, {"view": "XR-T", "words": "It does not fit the plate."})
    assert "1 view does not apply to AR 0067" in text(client.get(ruling))
    row = banner.not_applicable.get()
    client.post(reverse("requesting:not_applicable_end", args=[row.pk]), {"words": "It does fit."})
    row.refresh_from_db()
    assert row.until is not None
    other = banner.owed_views.get(technique="IR")
    replaced = client.post(
        reverse("requesting:replace", args=[view.pk]),
        {"by": other.pk, "words": "IR tells more.", "read_version": view.row_version},
    )
    assert replaced.status_code == 302
    view.refresh_from_db()
    assert view.replaced_by == other


def test_the_head_signs_a_gap(
    client: Client,
    people: dict[str, User],
    banner: CollectionObject,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    view = banner.owed_views.get(technique="XR")
    lost = outlook.Standing(status="lost", is_met=False)
    monkeypatch.setitem(
        outlook._lookups, "standing", lambda ids: {view.pk: lost} if view.pk in ids else {}
    )
    entry = banner.entry_objects.get().entry
    signed_in(client, people["head"])
    address = reverse("requesting:gap_statement", args=[entry.pk])
    assert "1 view of entry 22 can never be made" in text(client.get(address))
    client.post(address, {"text": "The plates were destroyed."})
    assert entry.gap_statements.get().view_ids == [view.pk]
