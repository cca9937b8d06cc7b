"""A slate is read from a photograph, or it is not; never is a wrong one believed.

The check digits are held against a published number (ISO 13616's example, in the doctest) and by
trying every single error. The codes are drawn by segno and read by OpenCV: two libraries that
share nothing.
"""

from __future__ import annotations

import doctest
from datetime import UTC, datetime, timedelta
from typing import Any

import cv2
import numpy as np
import pytest
import segno

from imaging_requests.imaging.slate import payload, reading
from imaging_requests.imaging.slate.payload import (
    ALPHABET,
    Slate,
    read_slate_text,
    slate_text,
)
from imaging_requests.imaging.slate.reading import find_slate

AT = datetime(2026, 4, 17, 12, 5, 1, tzinfo=UTC)
SLATE = Slate(12, 345, "FO-100413", AT)


def test_the_examples_run() -> None:
    for module in (payload, reading):
        assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize(
    "slate",
    [SLATE, Slate(1, 2), Slate(999_999_999, 7, "A B/1", AT + timedelta(days=9000))],
)
def test_what_is_written_is_read_again(slate: Slate) -> None:
    assert read_slate_text(slate_text(slate)) == slate


def test_every_single_wrong_character_and_every_exchange_is_found() -> None:
    text = slate_text(SLATE)
    for place in range(len(text)):
        for other in ALPHABET:
            if other != text[place]:
                assert read_slate_text(text[:place] + other + text[place + 1 :]) is None
    for place in range(len(text) - 1):
        swapped = text[:place] + text[place + 1] + text[place] + text[place + 2 :]
        assert swapped == text or read_slate_text(swapped) is None


@pytest.mark.parametrize(
    "text", ["", "https://example.org/", "SLATE2:S1:L2:B:T:00", "SLATE1:S1:L2:B:T20261341000000:11"]
)
def test_other_codes_are_no_slates(text: str) -> None:
    assert read_slate_text(text) is None


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="zone"):
        slate_text(Slate(1, 2, "", datetime(2026, 4, 17)))


def photographed(
    text: str,
    *,
    code_px: int = 300,
    slant: float = 0.0,
    turn_deg: float = 0.0,
    blur_px: float = 0.0,
    light: float = 1.0,
    noise: float = 2.0,
    seed: int = 5,
) -> Any:
    """Draw a code on a sheet, and the sheet into a room: 1,024 x 768, grey."""
    rng = np.random.default_rng(seed)
    code = np.array([list(row) for row in segno.make(text, error="q").matrix], np.uint8)
    sheet = np.kron(1 - np.pad(code, 4), np.ones((16, 16), np.uint8)) * 215 + 20
    side = float(sheet.shape[0])
    half = code_px / 2
    corners = np.array([(-half, -half), (half, -half), (half, half), (-half, half)], np.float32)
    corners[0] *= 1 - slant
    corners[1] *= 1 + slant / 2
    angle = np.deg2rad(turn_deg)
    about = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    target = np.asarray(corners @ about + (500, 380), np.float32)
    start = np.array([(0, 0), (side, 0), (side, side), (0, side)], np.float32)
    room = cv2.GaussianBlur(rng.integers(0, 256, (768, 1024)).astype(np.uint8), (0, 0), 4)
    warp = cv2.getPerspectiveTransform(start, target)
    drawn = cv2.warpPerspective(sheet, warp, (1024, 768), flags=cv2.INTER_AREA)
    inside = cv2.warpPerspective(np.full_like(sheet, 255), warp, (1024, 768)) > 127
    picture = np.where(inside, drawn, room).astype(np.float32)
    if blur_px:
        picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    picture = picture * light + rng.normal(0, noise, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    "how",
    [
        pytest.param({}, id="plain"),
        pytest.param({"turn_deg": 17}, id="askew"),
        pytest.param({"turn_deg": 180}, id="upside down"),
        pytest.param({"turn_deg": -90}, id="on its side"),
        pytest.param({"slant": 0.15}, id="held at a slant"),
        pytest.param({"blur_px": 2.0}, id="out of focus"),
        pytest.param({"light": 0.12, "noise": 1.5}, id="dim light"),
        pytest.param({"code_px": 230}, id="far away"),
        pytest.param(
            {"code_px": 420, "slant": 0.1, "blur_px": 2.5, "light": 0.4}, id="all at once"
        ),
    ],
)
def test_a_photographed_slate_is_read(how: dict[str, Any]) -> None:
    assert find_slate(photographed(slate_text(SLATE), **how)) == SLATE


@pytest.mark.parametrize(
    "how",
    [
        pytest.param({"blur_px": 14.0}, id="hopelessly out of focus"),
        pytest.param({"light": 0.01, "noise": 6}, id="dark"),
        pytest.param({"code_px": 40}, id="much too far away"),
    ],
)
def test_an_unreadable_slate_is_not_found(how: dict[str, Any]) -> None:
    assert find_slate(photographed(slate_text(SLATE), **how)) is None


def test_a_foreign_code_in_the_picture_is_no_slate() -> None:
    assert find_slate(photographed("HTTPS://EXAMPLE.ORG/LABEL/17")) is None


def test_paint_with_places_like_marks_is_not_read_at_length(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A detector that sees a code everywhere costs no reading where no marks lie."""
    monkeypatch.setattr(reading, "_read", lambda *_: pytest.fail("read in vain"))
    rough = np.random.default_rng(8).integers(0, 256, (768, 1024)).astype(np.uint8)
    picture = cv2.GaussianBlur(rough, (0, 0), 6)
    at = np.array([(300, 200), (620, 230), (600, 520), (310, 540)], np.float32)

    class Everywhere:
        def detect(self, _: Any) -> tuple[bool, Any]:
            return True, at[None] / 2

    monkeypatch.setattr(reading.cv2, "QRCodeDetector", Everywhere)
    assert find_slate(picture) is None


def test_a_picture_without_pixels_is_refused() -> None:
    with pytest.raises(ValueError, match="grey picture"):
        find_slate(np.zeros((0, 4), np.uint8))
