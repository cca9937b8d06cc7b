"""The page that helps to rebuild a set-up, as the photographer uses it."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.campaigns.models import SetupCard
from tests import factory

pytestmark = pytest.mark.django_db

CARD = {
    "sensor_to_object_mm": 2400,
    "elevation_deg": 10,
    "lamp_distance_mm": 3000,
    "gauge_pin_mm": 10,
}
NUMBERS = {
    "distance_mm": "2400", "px_per_mm": "12", "seen_px_per_mm": "12.17", "upper_px": "8860",
    "lower_px": "8895.5", "height_mm": "920", "grey_l": "50", "seen_grey_l": "45.2",
    "elevation_deg": "10", "lamp_distance_mm": "3000", "pin_mm": "10", "shadow_mm": "49.5",
}  # fmt: skip


@pytest.fixture
def address() -> str:
    card = factory.setup_card(technique="RK")
    SetupCard.objects.filter(pk=card.pk).update(values=CARD)
    return reverse("campaigns:setup_recall", args=[card.pk])


def test_a_test_frame_turns_into_movements(client: Client, address: str) -> None:
    client.force_login(factory.photographer())
    page = client.get(address)
    assert page.status_code == 200
    assert 'value="2400"' in page.content.decode()
    told = client.get(address, NUMBERS).content.decode()
    for sentence in (
        "4 things to move before the next frame",
        "Move the camera 34 mm back.",
        "Tip the easel top 0.6° towards you.",
        "Expose +0.3 EV.",
        "Set the lamp 77 mm lower: it stands at 11.4° instead of 10.0°.",
    ):
        assert sentence in told


def test_half_of_a_pair_is_asked_for_and_nothing_typed_is_lost(
    client: Client, address: str
) -> None:
    client.force_login(factory.photographer())
    page = client.get(address, {"distance_mm": "2400", "seen_px_per_mm": "12.17", "upper_px": "x"})
    text = page.content.decode()
    assert page.status_code == 422
    assert "Type both densities, or neither." in text
    assert "This is no number." in text
    assert 'value="12.17"' in text


def test_numbers_that_no_set_up_can_have_are_refused_in_words(client: Client, address: str) -> None:
    client.force_login(factory.photographer())
    numbers = {"distance_mm": "2400", "upper_px": "100", "lower_px": "900", "height_mm": "10"}
    assert "cannot come from a tilt" in client.get(address, numbers).content.decode()
    dark = {"distance_mm": "2400", "grey_l": "5", "seen_grey_l": "50"}
    assert "too dark to set an exposure by" in client.get(address, dark).content.decode()


def test_a_set_up_that_is_back_says_so(client: Client, address: str) -> None:
    client.force_login(factory.photographer())
    numbers = NUMBERS | {
        "seen_px_per_mm": "12.01", "lower_px": "8861", "seen_grey_l": "50", "shadow_mm": "56.7",
    }  # fmt: skip
    assert "This set-up is back where it was" in client.get(address, numbers).content.decode()
