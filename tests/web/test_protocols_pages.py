"""The pages of the studio's rules: what they show, refuse and keep."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from imaging_requests.people.models import User
from imaging_requests.protocols import actions
from imaging_requests.protocols.models import ProtocolVersion, VersionState
from tests import factory
from tests.db.test_protocols_rules import document

pytestmark = pytest.mark.django_db


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def page(user: User, name: str, **kwargs: Any) -> str:
    answer = signed_in(user).get(reverse(f"protocols:{name}", kwargs=kwargs))
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_list_says_what_is_in_force_and_who_signed() -> None:
    factory.rules()
    factory.protocol(2)
    factory.entry(factory.museum_object())
    text = page(factory.curator(), "versions")
    assert "In force now: catalogue version 3" in text
    assert "Edda and Lorens" in text
    assert "Bring in a new draft" not in text
    assert "Bring in a new draft" in page(factory.lead(), "versions")


def test_the_list_of_versions_asks_the_database_a_fixed_number_of_times(
    django_assert_num_queries: Any,
) -> None:
    factory.rules()
    client = signed_in(factory.curator())
    client.get(reverse("protocols:versions"))
    with django_assert_num_queries(9):
        client.get(reverse("protocols:versions"))
    factory.protocol(2)
    factory.protocol(4, state=VersionState.DRAFT)
    with django_assert_num_queries(9):
        client.get(reverse("protocols:versions"))


def test_a_protocol_reads_in_words() -> None:
    factory.rules()
    entry = factory.entry(factory.museum_object(), number="23", title="The Quarantine Island")
    row = factory.protocol(3)
    text = page(factory.curator(), "version", kind="protocol", pk=row.pk)
    assert "Raking light from the top, every painted face" in text
    assert "kind is not frame, and (support is canvas, or warp is at least 10 mm)" in text
    assert "<b>X-ray</b>, where support is copper or metal" in text
    assert reverse("protocols:entry_pin", kwargs={"entry_pk": entry.pk}) in text


def test_the_trigger_table_has_32_rows_10_columns_and_its_legend() -> None:
    row = factory.trigger_table()
    text = page(factory.conservator(), "version", kind="triggers", pk=row.pk)
    assert text.count('class="triggers__cell"') == 320
    assert "UV fluorescence, the front: out of date" in text
    assert "a conservator decides, proposed: still valid" in text
    assert "VIS-F, UV-F, IR-F before treatment" in text


def test_the_settings_show_value_unit_source_and_mark() -> None:
    row = factory.studio_settings()
    text = page(factory.lead(), "version", kind="studio", pk=row.pk)
    assert "uv.cap_min" in text
    assert "min per face and state" in text
    assert "long side up to mm: 400, px per mm: 24" in text


@pytest.mark.parametrize(
    ("name", "kwargs"),
    [
        ("version", {"kind": "protocol", "pk": 987654}),
        ("version", {"kind": "nothing", "pk": 1}),
        ("compare", {"kind": "nothing"}),
    ],
)
def test_an_unknown_version_is_not_found(name: str, kwargs: dict[str, Any]) -> None:
    address = reverse(f"protocols:{name}", kwargs=kwargs)
    assert signed_in(factory.lead()).get(address).status_code == 404


def test_two_versions_are_compared() -> None:
    older, newer = factory.protocol(2), factory.protocol(3)
    address = reverse("protocols:compare", kwargs={"kind": "protocol"})
    client = signed_in(factory.curator())
    answer = client.get(address, {"older": older.pk, "newer": newer.pk})
    assert "difference" in answer.content.decode()
    assert "Line painted.vc" in answer.content.decode()
    swapped = client.get(address, {"older": newer.pk, "newer": older.pk}).content.decode()
    for page in (answer.content.decode(), swapped):
        assert "Visible light, continuous, every painted face; as it is now; " in page
        assert "colour under continuous light" in page
    assert "<span>added</span>" in answer.content.decode()
    assert "<span>taken out</span>" in swapped
    same = client.get(address, {"older": newer.pk, "newer": newer.pk})
    assert "say the same" in same.content.decode()
    wrong = client.get(address, {"older": "x", "newer": newer.pk})
    assert "what was chosen is not on offer any more" in wrong.content.decode()


def test_a_draft_goes_from_file_to_published_through_the_pages() -> None:
    signe, corvin = factory.lead(), factory.head()
    client = signed_in(signe)
    file = SimpleUploadedFile("v3.json", json.dumps(document("protocol")).encode())
    answer = client.post(
        reverse("protocols:draft_new", kwargs={"kind": "protocol"}), {"file": file}
    )
    row = ProtocolVersion.objects.get()
    address = reverse("protocols:version", kwargs={"kind": "protocol", "pk": row.pk})
    assert answer["Location"] == address
    step = {"kind": "protocol", "pk": row.pk}
    factory.rehearsed(row, signe, corvin)
    client.post(reverse("protocols:sign", kwargs=step), {"read_version": 1})
    second = signed_in(corvin)
    assert "Sign and publish" in second.get(address).content.decode()
    answer = second.post(
        reverse("protocols:co_sign", kwargs=step), {"read_version": 2}, follow=True
    )
    assert "The version is published." in answer.content.decode()
    row.refresh_from_db()
    assert row.state == VersionState.PUBLISHED


def test_a_stale_signature_is_refused_where_the_person_looks() -> None:
    signe = factory.lead()
    row = actions.draft_version(actor=signe, kind="protocol", document=document("protocol"))
    answer = signed_in(signe).post(
        reverse("protocols:sign", kwargs={"kind": "protocol", "pk": row.pk}),
        {"read_version": 9},
        follow=True,
    )
    assert "while you were working on it" in answer.content.decode()


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"text": ""}, "Choose a file or paste a document."),
        ({"text": "{not json"}, "This is not JSON"),
        ({"text": "[" * 100_000}, "lists or groups inside one another"),
        ({"text": '{"a":' * 90 + "1" + "}" * 90}, "lists or groups inside one another"),
        ({"text": '{"version": NaN}'}, "NaN is not a number that can be kept"),
        ({"text": '{"version": -1e999}'}, "-1e999 is larger than any number"),
        ({"text": '{"version": 1' + "0" * 5000 + "}"}, "is larger than any number"),
        ({"text": r'{"title": "a\u0000b"}'}, "holds a character that no page can show"),
        ({"text": r'{"title": "a\ud800b"}'}, "holds a character that no page can show"),
        ({"text": r'{"a\ud800b": 1}'}, "holds a character that no page can show"),
        ({"text": "[1]"}, "The document must be a group of named values."),
        ({"text": '{"id": "catalogue"}'}, "The document needs “version”"),
        ({"file": SimpleUploadedFile("x.json", b"\xff\xfe\xff")}, "not text in UTF-8"),
    ],
)
def test_a_bad_document_is_refused_and_what_was_sent_stays(sent: dict[str, Any], said: str) -> None:
    client = signed_in(factory.lead())
    answer = client.post(reverse("protocols:draft_new", kwargs={"kind": "protocol"}), sent)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert sent.get("text", "").replace('"', "&quot;") in text
    assert not ProtocolVersion.objects.exists()


def test_a_refused_file_is_shown_as_text_to_mend() -> None:
    client = signed_in(factory.lead())
    file = SimpleUploadedFile("v3.json", b'{"id": "lost and found"}')
    answer = client.post(
        reverse("protocols:draft_new", kwargs={"kind": "protocol"}), {"file": file}
    )
    assert "lost and found" in answer.content.decode()


def test_an_entry_is_moved_with_a_reason() -> None:
    three = factory.protocol(3)
    entry = factory.entry(factory.museum_object(), pinned_to=factory.protocol(2), number="24")
    address = reverse("protocols:entry_pin", kwargs={"entry_pk": entry.pk})
    assert "is not open" in page(factory.curator(), "entry_pin", entry_pk=entry.pk)
    client = signed_in(factory.lead())
    answer = client.post(address, {"protocol": three.pk, "read_version": 1})
    assert answer.status_code == 422
    answer = client.post(
        address, {"protocol": three.pk, "read_version": 1, "reason": "agreed"}, follow=True
    )
    assert "Entry 24 follows the catalogue, version 3" in answer.content.decode()


def test_after_a_rehearsal_the_page_opens_at_its_report() -> None:
    factory.rules()
    signe = factory.lead()
    row = factory.protocol(4, state=VersionState.DRAFT)
    client = signed_in(signe)
    sent = client.post(
        reverse("progress:rehearse", args=["protocol", row.pk]), {"read_version": row.row_version}
    )
    assert sent["Location"].endswith("#rehearsal")
    shown = client.get(sent["Location"]).content.decode()
    assert 'id="rehearsal"' in shown
    assert "I have read this report" in shown
