"""Tiles of the plate map change places under a finger, a pen and a mouse."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, Page

from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import Deliverable
from tests import factory
from tests.factory import NOW

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTHS = (360, 1280)


@pytest.fixture
def row() -> Deliverable:
    factory.rules()
    session = factory.session(station=factory.station("xray"), by=factory.photographer())
    line = factory.shot_line(
        session,
        factory.museum_object("AR 0082", "Boy with a Tern"),
        "XR",
        "T",
        tiles_across=2,
        tiles_down=2,
        expected_files=4,
    )
    for number in range(4):
        factory.frame(line, tile_x=number % 2, tile_y=number // 2)
    made = actions.assemble_line(shot_line_id=line.pk, now=NOW)
    assert made is not None
    return made


@pytest.fixture(params=WIDTHS)
def window(browser: Browser, live_server: Any, row: Deliverable, request: Any) -> Iterator[Any]:
    client = Client()
    client.force_login(row.photographer)
    context = browser.new_context(
        viewport={"width": request.param, "height": 740}, base_url=live_server.url, has_touch=True
    )
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
    )
    yield context
    context.close()


def places(page: Page) -> list[str]:
    """The chosen place of each tile, in the order of their numbers."""
    chosen = page.evaluate(
        """Array.from(document.querySelectorAll("[data-plate]"), (tile) =>
          [tile.querySelector("b").textContent, tile.querySelector("select").value])"""
    )
    return [place for _, place in sorted(chosen)]


def middle(page: Page, selector: str) -> tuple[float, float]:
    box = page.locator(selector).first.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_finger_carries_a_tile_by_its_grip(window: BrowserContext, row: Deliverable) -> None:
    page = window.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(reverse("deliverables:plates", args=[row.pk]))
    page.wait_for_selector(".plates__grip")
    before = places(page)
    assert before == ["0,0", "1,0", "0,1", "1,1"]
    page.locator('[data-place="0,0"]').scroll_into_view_if_needed()
    touch = window.new_cdp_session(page)

    def finger(kind: str, *spots: tuple[float, float]) -> None:
        points = [{"x": x, "y": y, "id": 1} for x, y in spots]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    start = middle(page, '[data-place="0,0"] .plates__grip')
    finger("touchStart", start)
    aimed = None
    for _ in range(40):
        box = page.locator('[data-place="1,0"]').bounding_box()
        assert box is not None
        width = page.evaluate("innerWidth")
        aim = (min(box["x"] + 30, width - 8), box["y"] + 60)
        finger("touchMove", aim)
        page.wait_for_timeout(40)
        aimed = page.locator('[data-place="1,0"].plates__tile--aim').count()
        if aimed:
            break
    assert aimed, "the map moves along until the other tile lies below the finger"
    finger("touchEnd")
    assert places(page) == ["1,0", "0,0", "0,1", "1,1"]
    assert "have changed places" in page.inner_text("[data-plates-said]")
    assert "a finger takes it by its grip" in page.inner_text("[data-plates-hint]")
    assert faults == []


def test_a_mouse_carries_a_tile_and_escape_gives_up(
    window: BrowserContext, row: Deliverable
) -> None:
    page = window.new_page()
    page.goto(reverse("deliverables:plates", args=[row.pk]))
    page.wait_for_selector(".plates__grip")
    page.set_viewport_size({"width": 1280, "height": 1000})
    for is_meant in (False, True):
        page.mouse.move(*middle(page, '[data-place="0,0"] b'))
        page.mouse.down()
        page.mouse.move(*middle(page, '[data-place="1,1"] b'), steps=4)
        if not is_meant:
            page.keyboard.press("Escape")
        page.mouse.up()
        expected = "1,1" if is_meant else "0,0"
        assert places(page)[0] == expected
