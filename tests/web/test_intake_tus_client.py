"""The upload address understands the protocol's own Python client, also after cuts.

Outside truth: tuspy 1.1, the Python client of the people who publish the protocol.
"""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from tusclient.client import TusClient
from tusclient.exceptions import TusCommunicationError

from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import frame_of, open_drop, pixels, settle, tiff
from tests.tus_sender import Sending

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("stores"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
DATA = tiff(1, at=factory.NOW, picture=pixels(1, width=800, height=600))
CHUNK = 200_000


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def drop(amaro: User) -> Drop:
    return open_drop(amaro)


@pytest.fixture
def tus(live_server: Any, amaro: User) -> TusClient:
    signed_in = Client()
    signed_in.force_login(amaro)
    cookie = signed_in.cookies[settings.SESSION_COOKIE_NAME].value
    token = "a" * 32
    return TusClient(
        f"{live_server.url}/intake/files/",
        headers={
            "Cookie": f"{settings.SESSION_COOKIE_NAME}={cookie}; csrftoken={token}",
            "X-CSRFToken": token,
        },
    )


def test_a_file_sent_in_one_go_is_the_file(tus: TusClient, drop: Drop) -> None:
    sending = Sending(tus, "BAY0001.tif", DATA, drop.pk)
    sending.send()
    assert (sending.cuts, sending.offsets) == (0, [0])
    arrival = Arrival.objects.get()
    assert arrival.name == "BAY0001.tif"
    settle()
    frame = frame_of(arrival)
    assert frame.size_bytes == len(DATA)
    assert frame.copies.filter(is_good=True).count() == 2


def test_the_client_goes_on_after_a_cut_where_the_server_says(tus: TusClient, drop: Drop) -> None:
    sending = Sending(tus, "BAY0001.tif", DATA, drop.pk, chunk_bytes=CHUNK)
    first = sending.uploader()
    first.upload(stop_at=3 * CHUNK)
    sending.url = first.url
    arrival = Arrival.objects.get()
    assert (arrival.state, arrival.offset_bytes) == (ArrivalState.ARRIVING, 3 * CHUNK)
    sending.send()
    assert sending.offsets == [3 * CHUNK], "nothing is sent again"
    settle()
    assert frame_of(arrival).size_bytes == len(DATA)
    assert Arrival.objects.count() == 1


def test_an_address_of_nothing_and_a_file_too_much_are_told_to_the_client(
    tus: TusClient, drop: Drop
) -> None:
    drop.state, drop.closed_at = Drop.State.CLOSED, drop.opened_at
    drop.save(update_fields=["state", "closed_at"])
    uploader = tus.uploader(
        file_stream=io.BytesIO(DATA), metadata={"filename": "A.tif", "drop": str(drop.pk)}
    )
    with pytest.raises(TusCommunicationError) as told:
        uploader.create_url()
    assert told.value.status_code == 409
    assert not Arrival.objects.exists()
