"""Resumable uploads as the open protocol tus 1.0 says, over HTTP."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.intake import quarantine
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import frame_of, open_drop, settle, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]
DATA = tiff(1, at=factory.NOW)
BODY = "application/offset+octet-stream"
V = {"Tus-Resumable": "1.0.0"}


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def client(amaro: User) -> Client:
    signed_in = Client(enforce_csrf_checks=False)
    signed_in.force_login(amaro)
    return signed_in


@pytest.fixture
def drop(amaro: User) -> Drop:
    return open_drop(amaro)


def told(**values: str) -> str:
    return ",".join(
        f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in values.items()
    )


def announce(client: Client, drop: Drop, size: int = len(DATA), **headers: str) -> Any:
    return client.post(
        reverse("intake:tus"),
        headers=V
        | {
            "Upload-Length": str(size),
            "Upload-Metadata": told(filename="Fährmann 1.tif", drop=str(drop.pk)),
        }
        | headers,
    )


def patch(client: Client, address: str, data: bytes, offset: int, **headers: str) -> Any:
    return client.patch(
        address,
        data=data,
        content_type=headers.pop("content_type", BODY),
        headers=V | {"Upload-Offset": str(offset)} | headers,
    )


def test_the_server_says_what_it_understands(client: Client, settings: Any) -> None:
    answer = client.options(reverse("intake:tus"))
    assert answer.status_code == 204
    assert answer["Tus-Version"] == "1.0.0"
    assert answer["Tus-Extension"] == "creation,termination"
    assert answer["Tus-Max-Size"] == str(settings.UPLOAD_LIMIT_BYTES)


def test_a_file_is_announced_sent_in_parts_and_received(client: Client, drop: Drop) -> None:
    made = announce(client, drop)
    assert (made.status_code, made["Tus-Resumable"]) == (201, "1.0.0")
    address = made["Location"]
    half = len(DATA) // 2
    head = client.head(address, headers=V)
    assert (head.status_code, head["Upload-Offset"], head["Upload-Length"]) == (
        200,
        "0",
        str(len(DATA)),
    )
    assert "no-store" in head["Cache-Control"]
    first = patch(client, address, DATA[:half], 0)
    assert (first.status_code, first["Upload-Offset"]) == (204, str(half))
    assert client.head(address, headers=V)["Upload-Offset"] == str(half)
    last = patch(client, address, DATA[half:], half)
    assert (last.status_code, last["Upload-Offset"]) == (204, str(len(DATA)))
    settle()
    frame = frame_of(Arrival.objects.get())
    assert frame.sha256 == hashlib.sha256(DATA).hexdigest()
    assert frame.first_name == "Fährmann 1.tif"
    assert client.head(address, headers=V)["Upload-Offset"] == str(len(DATA))


@pytest.mark.parametrize("version", [None, "0.2.2", "2.0.0"])
def test_another_version_is_refused_with_412(
    client: Client, drop: Drop, version: str | None
) -> None:
    address = announce(client, drop)["Location"]
    headers = {} if version is None else {"Tus-Resumable": version}
    for answer in (
        client.head(address, headers=headers),
        client.patch(address, data=b"x", content_type=BODY, headers=headers),
        client.post(reverse("intake:tus"), headers=headers),
    ):
        assert answer.status_code == 412
        assert answer["Tus-Version"] == "1.0.0"


@pytest.mark.parametrize("offset", ["1", str(len(DATA)), "999999999999"])
def test_a_wrong_offset_is_refused_with_409(client: Client, drop: Drop, offset: str) -> None:
    address = announce(client, drop)["Location"]
    answer = patch(client, address, b"x", 0, **{"Upload-Offset": offset})
    assert answer.status_code == 409
    assert "bytes are here" in answer.content.decode()
    assert Arrival.objects.get().offset_bytes == 0


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        pytest.param({"content_type": "text/plain"}, 415, id="another kind of body"),
        pytest.param({"Upload-Offset": "-1"}, 400, id="a negative offset"),
        pytest.param({"Upload-Offset": "many"}, 400, id="no number"),
        pytest.param({"Upload-Offset": ""}, 400, id="no offset"),
    ],
)
def test_a_wrong_patch_is_refused(
    client: Client, drop: Drop, headers: dict[str, str], status: int
) -> None:
    address = announce(client, drop)["Location"]
    assert patch(client, address, b"x", 0, **headers).status_code == status
    assert patch(client, address, DATA[:10], 0).status_code == 204


def test_a_body_of_unknown_length_is_refused_with_411(client: Client, drop: Drop) -> None:
    address = announce(client, drop)["Location"]
    answer = client.generic(
        "PATCH", address, b"x", BODY, headers=V | {"Upload-Offset": "0"}, CONTENT_LENGTH=""
    )
    assert answer.status_code == 411


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        pytest.param({"Upload-Length": ""}, 400, id="no length"),
        pytest.param({"Upload-Length": "-5"}, 400, id="a negative length"),
        pytest.param({"Upload-Metadata": ""}, 400, id="no drop named"),
        pytest.param({"Upload-Metadata": "filename ###,drop MQ=="}, 400, id="not base64"),
        pytest.param({"Upload-Metadata": told(filename="A", drop="12345")}, 404, id="no such drop"),
        pytest.param({"Upload-Length": str(10**15)}, 413, id="too large"),
    ],
)
def test_a_wrong_announcement_is_refused(
    client: Client, drop: Drop, headers: dict[str, str], status: int
) -> None:
    assert announce(client, drop, **headers).status_code == status
    assert not Arrival.objects.exists()
    assert announce(client, drop).status_code == 201


def test_an_empty_file_is_complete_when_it_is_announced(client: Client, drop: Drop) -> None:
    assert announce(client, drop, size=0).status_code == 201
    settle()
    assert Arrival.objects.get().state == ArrivalState.REFUSED


def test_a_file_is_given_up_with_delete(
    client: Client, drop: Drop, django_capture_on_commit_callbacks: Any
) -> None:
    address = announce(client, drop)["Location"]
    patch(client, address, DATA[:100], 0)
    arrival = Arrival.objects.get()
    with django_capture_on_commit_callbacks(execute=True):
        assert client.delete(address, headers=V).status_code == 204
    assert not quarantine.part_path(arrival.token).exists()
    assert client.head(address, headers=V).status_code == 410
    assert patch(client, address, DATA[100:], 100).status_code == 409


def test_an_unknown_upload_is_answered_with_404(client: Client) -> None:
    nothing = reverse("intake:tus_upload", args=["00000000-0000-0000-0000-000000000000"])
    for answer in (
        client.head(nothing, headers=V),
        patch(client, nothing, b"x", 0),
        client.delete(nothing, headers=V),
    ):
        assert answer.status_code == 404


def test_senders_behind_narrow_gates_override_post(client: Client, drop: Drop) -> None:
    address = announce(client, drop)["Location"]
    answer = client.post(
        address,
        data=DATA[:50],
        content_type=BODY,
        headers=V | {"Upload-Offset": "0", "X-HTTP-Method-Override": "PATCH"},
    )
    assert (answer.status_code, answer["Upload-Offset"]) == (204, "50")
    ignored = client.get(address, headers=V | {"X-HTTP-Method-Override": "DELETE"})
    assert ignored.status_code == 405
    assert Arrival.objects.get().state == ArrivalState.ARRIVING


def test_an_upload_without_the_token_of_the_page_is_refused(amaro: User, drop: Drop) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(amaro)
    assert announce(strict, drop).status_code == 403
    strict.get(reverse("intake:drop", args=[drop.pk]))
    token = strict.cookies["csrftoken"].value
    made = announce(strict, drop, **{"X-CSRFToken": token})
    assert made.status_code == 201
    assert patch(strict, made["Location"], DATA[:9], 0).status_code == 403
    answer = patch(strict, made["Location"], DATA[:9], 0, **{"X-CSRFToken": token})
    assert answer.status_code == 204


def test_who_may_not_bring_files_cannot_upload(drop: Drop) -> None:
    other = Client()
    other.force_login(factory.curator())
    answer = announce(other, drop)
    assert answer.status_code == 403
    assert "Bringing files is for the photographer or imaging lead" in answer.content.decode()
    assert announce(Client(), drop).status_code == 302


def test_a_full_disk_is_answered_with_507(
    client: Client, drop: Drop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from imaging_requests.intake import store

    monkeypatch.setattr(store, "free_bytes", lambda: dict.fromkeys(store.PLACES, 10))
    answer = announce(client, drop)
    assert answer.status_code == 507
    assert "ask the system keeper to make room" in answer.content.decode()
