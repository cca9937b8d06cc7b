"""Names that turn the order of a line are kept as they came and shown written out."""

from __future__ import annotations

import pytest
from django.urls import reverse
from django.utils.html import escape

from imaging_requests.intake.models import Arrival, Frame
from imaging_requests.people.models import User
from imaging_requests.people.names import TURNING, shown_name
from tests import factory
from tests.intake_scene import bring, open_drop, settle, tiff
from tests.picture_scene import signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]
#: Looks like "aexe.tif.tif" where the order of its characters is followed.
NAME = "a\u202efit.exe\u202c\u2066.tif"
WRITTEN = "a[U+202E]fit.exe[U+202C][U+2066].tif"


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


def test_the_characters_that_turn_the_order_are_those_of_the_standard() -> None:
    # Unicode 15.0, PropList.txt, Bidi_Control, written down from memory
    wanted = [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
    assert [number for number in range(0x110000) if TURNING.match(chr(number))] == wanted


def test_every_page_writes_such_a_name_out_and_it_is_kept_as_it_came(amaro: User) -> None:
    drop = open_drop(amaro)
    bring(drop, NAME, tiff(1, at=factory.NOW))
    bring(drop, "cut" + NAME, tiff(2, at=factory.NOW)[:40])
    settle()
    frame = Frame.objects.get()
    assert frame.first_name == NAME
    assert Arrival.objects.filter(name=NAME).exists()
    assert str(frame) == shown_name(NAME) == WRITTEN
    client = signed_in(amaro)
    for address in (
        reverse("intake:drop", args=[drop.pk]),
        reverse("intake:receipt", args=[drop.pk]),
        reverse("intake:sorting_table"),
    ):
        body = client.get(address).content.decode()
        assert escape(WRITTEN) in body, address
        assert TURNING.search(body) is None, address
    for arrival in Arrival.objects.all():
        assert TURNING.search(arrival.answer) is None


def test_a_refusal_names_it_so_too(amaro: User) -> None:
    drop = open_drop(amaro)
    bring(drop, NAME, tiff(1, at=factory.NOW))
    settle()
    frame = Frame.objects.get()
    sent = {f"version-{frame.pk}": frame.row_version, f"tick-{frame.pk}": "on", "act": "aside"}
    client = signed_in(amaro)
    client.post(reverse("intake:sorting_table"), sent)
    again = client.post(reverse("intake:sorting_table"), sent).content.decode()
    assert f"{WRITTEN} was set aside already by" in again
