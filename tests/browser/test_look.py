"""Look and compare in a real browser: marks of known mm lie where they are, by key and by hand."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import numpy as np
import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Deliverable, SurfaceNote
from imaging_requests.intake.models import Derivative
from tests import factory
from tests.browser.specimen import AXE
from tests.look_scene import WIDTH_MM, painting, pictured, registered

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MARK_MM = (150.0, 100.0)
HALF_MM = 5.0
GROUND, RED, GREEN, BLUE = (90, 90, 90), (220, 30, 30), (30, 200, 30), (40, 60, 230)
PLANNED = (0.5, 0.0, -19.75, 0.0, 0.5, -19.75, 0.0, 0.0, 1.0)
#: A picture that was turned by a degree, shot 1.5 % too close and with a keystone.
MEASURED = (0.4925, -0.0086, -17.0, 0.0086, 0.4925, -24.0, 0.0, 8e-6, 1.0)
FRONT_LIMIT_MM, BACK_LIMIT_MM = 0.5, 1.0
#: Middle of the pixels of a colour in a pane, in mm from the pane's middle; null if there are none.
WHERE = """([pane, colour, mmPerPx]) => {
  const host = document.querySelectorAll(".look__host")[pane];
  const canvas = host?.querySelector("canvas");
  if (!canvas) return null;
  const { width, height } = canvas;
  const { data } = canvas.getContext("2d").getImageData(0, 0, width, height);
  let [x, y, count] = [0, 0, 0];
  for (let place = 0; place < data.length; place += 4) {
    const off = colour.map((value, band) => Math.abs(data[place + band] - value));
    if (Math.max(...off) < 60 && data[place + 3] > 200) {
      const pixel = place / 4;
      x += pixel % width; y += Math.floor(pixel / width); count += 1;
    }
  }
  if (count < 20) return null;
  const scale = canvas.clientWidth / width;
  const mm = (sum, side) => (sum / count + 0.5 - side / 2) * scale * mmPerPx;
  return [mm(x, width), mm(y, height)];
}"""


def paint(
    row: Deliverable,
    *,
    colours: tuple[tuple[int, int, int], ...],
    placement: tuple[float, ...] = PLANNED,
    mark_mm: tuple[float, float] = MARK_MM,
) -> None:
    """Draw the small picture of each exposure: grey, with a square mark at a known spot."""
    seats = row.deliverable_frames.order_by("ev").select_related("frame")
    for seat, colour in zip(seats, colours, strict=True):
        Derivative.objects.filter(frame=seat.frame, kind="pyramid").delete()
        width, height = seat.frame.width_px or 1, seat.frame.height_px or 1
        rows, columns = np.mgrid[0:height, 0:width]
        matrix = np.reshape(placement, (3, 3))
        x, y, depth = np.tensordot(matrix, [columns, rows, np.ones_like(rows)], axes=1)
        off = np.maximum(np.abs(x / depth - mark_mm[0]), np.abs(y / depth - mark_mm[1]))
        picture = np.where((off <= HALF_MM)[..., None], colour, GROUND).astype(np.uint8)
        shape = (1024, round(1024 * height / width))
        small = Image.fromarray(picture).resize(shape, Image.Resampling.BOX)
        path = Path(settings.DERIVED_DIR) / f"1024-{seat.frame_id}"
        path.parent.mkdir(parents=True, exist_ok=True)
        small.save(path, "JPEG", quality=95, subsampling=0)


@pytest.fixture
def scene(stores: Path) -> dict[str, Any]:
    oda = factory.curator()
    factory.photographer()
    thing = painting()
    front, infrared = pictured(thing, "VF"), pictured(thing, "IR")
    back, uv = pictured(thing, "VF", "B"), pictured(thing, "UV", evs=(-1, 0, 1))
    paint(front, colours=(RED,))
    paint(infrared, colours=(BLUE,), placement=MEASURED)
    rows = [list(MEASURED[start : start + 3]) for start in (0, 3, 6)]
    registered(infrared, rows)
    paint(back, colours=(GREEN,), mark_mm=(WIDTH_MM - MARK_MM[0], MARK_MM[1]))
    paint(uv, colours=(RED, GREEN, BLUE))
    return {"oda": oda, "thing": thing, "VF": front, "IR": infrared, "back": back, "UV": uv}


@pytest.fixture
def window(browser: Browser, live_server: Any, scene: dict[str, Any]) -> Iterator[BrowserContext]:
    client = Client()
    client.force_login(scene["oda"])
    context = browser.new_context(
        viewport={"width": 1280, "height": 800}, base_url=live_server.url, has_touch=True
    )
    cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
    )
    yield context
    context.close()


def address(thing: CollectionObject, query: str) -> str:
    return f"{reverse('progress:look', args=[thing.pk])}?{query}"


def opened(window: BrowserContext, where: str) -> Page:
    page = window.new_page()
    page.faults = []  # type: ignore[attr-defined]
    page.on("pageerror", lambda error: page.faults.append(str(error)))  # type: ignore[attr-defined]
    page.on(
        "console",
        lambda said: said.type == "error" and page.faults.append(said.text),  # type: ignore[attr-defined]
    )
    page.goto(where)
    page.wait_for_selector(".look--live .look__host canvas")
    return page


def until(page: Page, condition: str) -> None:
    """Wait for a condition; asked from outside, as the page's policy runs no strings."""
    deadline = time.monotonic() + 20
    while not page.evaluate(condition):
        assert time.monotonic() < deadline, f"{condition}: {page.url}"
        time.sleep(0.1)


def where(page: Page, pane: int, colour: tuple[int, int, int], mm_per_px: float) -> Any:
    """Wait until the picture is drawn, and return where its mark is."""
    deadline = time.monotonic() + 20
    before = None
    while time.monotonic() < deadline:
        found = page.evaluate(WHERE, [pane, list(colour), mm_per_px])
        if found is not None and found == before:
            return found
        before = found
        time.sleep(0.15)
    raise AssertionError(f"no mark of {colour} in pane {pane}")


def test_the_same_spot_in_every_technique_and_on_both_sides(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    across = 60.0
    chosen = "&".join(f"p={scene[name].pk}" for name in ("VF", "IR", "back"))
    x, y = MARK_MM[0] + 4, MARK_MM[1] - 3
    page = opened(
        window,
        address(scene["thing"], f"face=F&mode=side&{chosen}&x={x}&y={y}&across={across}"),
    )
    width = page.evaluate("document.querySelector('.look__pane').clientWidth")
    for pane, (colour, limit) in enumerate(
        ((RED, FRONT_LIMIT_MM), (BLUE, FRONT_LIMIT_MM), (GREEN, BACK_LIMIT_MM))
    ):
        dx, dy = where(page, pane, colour, across / width)
        error_mm = float(np.hypot(dx - (MARK_MM[0] - x), dy - (MARK_MM[1] - y)))
        assert error_mm <= limit, f"pane {pane} is off by {error_mm:.2f} mm"
    words = page.locator(".look__caption").all_text_contents()
    assert "Mirrored: the back, seen through the front" in words[2]
    assert "Mirrored" not in words[0] + words[1]
    assert "Measured on the outline" in (page.text_content("[data-look-rests]") or "")
    assert page.faults == []  # type: ignore[attr-defined]


def test_keys_lead_through_the_ways_of_looking_and_the_link_reopens_the_view(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    page = opened(window, address(scene["thing"], f"p={scene['VF'].pk}"))
    for key in ("2", "]", "]", "+", "ArrowRight", "Shift+ArrowDown", "m", "Enter", "ArrowLeft"):
        page.keyboard.press(key)
    page.keyboard.press("Enter")
    until(page, "location.search.includes('measure=')")
    until(page, "location.search.includes('mix=60')")
    page.wait_for_timeout(700)
    query = page.evaluate("location.search")
    assert "mode=fade" in query
    assert f"p={scene['IR'].pk}" in query, "a second technique is laid over the first"
    spot = where(page, 0, RED, 1.0)
    assert "length" in (page.text_content("[data-look-read]") or "")
    again = opened(window, page.url)
    assert where(again, 0, RED, 1.0) == pytest.approx(spot, abs=0.6)
    again.wait_for_timeout(500)
    assert again.evaluate("location.search") == query
    page.keyboard.press("Escape")
    page.keyboard.press("3")
    page.wait_for_selector(".look__divide")
    page.keyboard.press("t")
    until(page, "location.search.includes('face=B')")
    assert "back:" in (page.text_content("[data-look-read]") or "")
    page.locator('[data-do="keys"]').click()
    page.locator("[data-look-panes]").focus()
    page.keyboard.press("t")
    page.wait_for_timeout(400)
    assert "face=B" in page.evaluate("location.search"), "keys that are off do nothing"


def test_the_address_follows_while_the_view_still_moves(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    """It was put off again with every drawing, so that a steady movement was never written."""
    page = opened(window, address(scene["thing"], f"p={scene['VF'].pk}&x=150&y=100&across=100"))
    page.wait_for_timeout(700)
    page.keyboard.press("m")
    page.keyboard.press("Enter")
    seen = set()
    for _ in range(24):
        page.keyboard.press("Shift+ArrowRight")
        page.wait_for_timeout(60)
        seen.add(page.evaluate("new URLSearchParams(location.search).get('x')"))
    assert len(seen) >= 3, seen
    page.keyboard.press("Enter")
    page.wait_for_timeout(700)
    assert "measure=" in page.evaluate("location.search")


def test_the_slider_steps_through_a_bracket(window: BrowserContext, scene: dict[str, Any]) -> None:
    x, y = MARK_MM
    page = opened(window, address(scene["thing"], f"p={scene['UV'].pk}&x={x}&y={y}&across=60"))
    where(page, 0, GREEN, 1.0)
    slider = page.get_by_label("Exposure A")
    slider.focus()
    page.keyboard.press("ArrowRight")
    where(page, 0, BLUE, 1.0)
    assert slider.get_attribute("aria-valuetext") == "+1 EV"
    assert "+1 EV" in (page.text_content(".look__caption") or "")
    page.keyboard.press("Home")
    where(page, 0, RED, 1.0)


def test_a_note_drawn_by_hand_keeps_its_place_in_mm(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    x, y = MARK_MM
    page = opened(window, address(scene["thing"], f"p={scene['VF'].pk}&x={x}&y={y}&across=100"))
    page.get_by_label("Note, rectangle").check()
    box = page.locator(".look__pane").bounding_box()
    assert box is not None
    mm = 100 / box["width"]
    left, top = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(left, top)
    page.mouse.down()
    page.mouse.move(left + 200, top + 100, steps=4)
    page.mouse.up()
    wish = page.get_by_role("link", name="Ask for pictures of this region").get_attribute("href")
    assert wish is not None
    asked = parse_qs(wish.partition("?")[2])
    assert asked["region_face"] == ["F"]
    assert float(asked["region_left"][0]) == pytest.approx(MARK_MM[0], abs=mm)
    page.fill("#note-text", "A lifted edge")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.get_by_role("button", name="Write the note").click()
    page.wait_for_selector(".look__regions path", state="attached")
    note = SurfaceNote.objects.get()
    (x1, y1), (x2, y2) = note.points_mm[0], note.points_mm[2]
    assert (x1, y1) == pytest.approx(MARK_MM, abs=mm)
    assert (x2 - x1, y2 - y1) == pytest.approx((200 * mm, 100 * mm), abs=2 * mm)
    assert "across=100" in page.url


def test_a_finger_moves_and_two_enlarge(window: BrowserContext, scene: dict[str, Any]) -> None:
    page = opened(window, address(scene["thing"], f"p={scene['VF'].pk}&x=150&y=100&across=100"))
    touch = window.new_cdp_session(page)

    def fingers(kind: str, *spots: tuple[int, int]) -> None:
        points = [{"x": x, "y": y, "id": place} for place, (x, y) in enumerate(spots)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", (600, 300))
    fingers("touchMove", (700, 300))
    fingers("touchEnd")
    until(page, "!location.search.includes('x=150&')")
    moved = float(page.evaluate("new URLSearchParams(location.search).get('x')"))
    width = page.evaluate("document.querySelector('.look__pane').clientWidth")
    assert moved == pytest.approx(150 - 100 * 100 / width, abs=0.5)
    fingers("touchStart", (600, 300), (700, 300))
    fingers("touchMove", (550, 300), (750, 300))
    fingers("touchEnd")
    until(page, "!location.search.includes('across=100')")
    across = float(page.evaluate("new URLSearchParams(location.search).get('across')"))
    assert across == pytest.approx(50, rel=0.05)


def test_a_pinch_begins_no_line_and_a_measured_line_can_be_removed(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    """The first finger of a pinch was kept as the beginning of the next measured length."""
    page = opened(window, address(scene["thing"], f"p={scene['VF'].pk}&x=150&y=100&across=100"))
    touch = window.new_cdp_session(page)

    def fingers(kind: str, *spots: tuple[int, int]) -> None:
        points = [{"x": x, "y": y, "id": place} for place, (x, y) in enumerate(spots)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    page.get_by_label("Measure").check()
    fingers("touchStart", (400, 200))
    fingers("touchStart", (400, 200), (500, 200))
    fingers("touchMove", (350, 200), (550, 200))
    fingers("touchEnd")
    until(page, "!location.search.includes('across=100')")
    across = float(page.evaluate("new URLSearchParams(location.search).get('across')"))
    fingers("touchStart", (600, 300))
    fingers("touchMove", (700, 300))
    fingers("touchEnd")
    until(page, "location.search.includes('measure=')")
    line = page.evaluate("new URLSearchParams(location.search).get('measure')").split(",")
    x1, y1, x2, y2 = map(float, line)
    width = page.evaluate("document.querySelector('.look__pane').clientWidth")
    assert (x2 - x1, y2 - y1) == pytest.approx((100 * across / width, 0), abs=0.2)
    page.get_by_role("button", name="Remove the line").click()
    until(page, "!location.search.includes('measure=')")
    assert not page.get_by_role("button", name="Remove the line").is_visible()


def test_turning_over_and_back_shows_the_same_two_pictures(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    two = [str(scene["IR"].pk), str(scene["VF"].pk)]
    page = opened(window, address(scene["thing"], f"mode=fade&p={two[0]}&p={two[1]}"))
    page.keyboard.press("t")
    until(page, "location.search.includes('face=B')")
    page.keyboard.press("t")
    until(page, "location.search.includes('face=F')")
    assert page.evaluate("new URLSearchParams(location.search).getAll('p')") == two


def test_a_narrow_window_shows_one_picture_at_a_time_with_its_words_below(
    window: BrowserContext, scene: dict[str, Any]
) -> None:
    chosen = "&".join(f"p={scene[name].pk}" for name in ("VF", "IR", "back"))
    x, y = MARK_MM
    query = f"mode=side&{chosen}&x={x}&y={y}&across=60"
    page = opened(window, address(scene["thing"], query))
    page.set_viewport_size({"width": 360, "height": 740})
    words = page.locator(".look__turner")
    until(page, "document.querySelectorAll('.look__turner').length === 3")
    panes = page.locator("[data-look-panes]").bounding_box()
    assert panes is not None
    assert panes["width"] == 360
    tops = [box["y"] for each in words.all() if (box := each.bounding_box())]
    assert len(tops) == 3
    assert min(tops) >= panes["y"] + panes["height"], "no word lies on a picture"

    def in_view() -> list[str]:
        hosts = page.locator(".look__host").all()
        seen = [not each.evaluate("host => host.matches('.look__host--away')") for each in hosts]
        pressed = [each.get_attribute("aria-pressed") == "true" for each in words.all()]
        assert seen == pressed
        return [letter for letter, is_seen in zip("ABC", seen, strict=True) if is_seen]

    assert in_view() == ["A"]
    page.locator("[data-look-panes]").focus()
    page.keyboard.press("Space")
    assert in_view() == ["B"]
    words.nth(2).tap()
    assert in_view() == ["C"]
    assert "Mirrored" in words.nth(2).inner_text()
    words.nth(0).focus()
    page.keyboard.press("Enter")
    assert in_view() == ["A"]
    page.locator("[data-look-panes]").focus()
    page.keyboard.press("6")
    page.locator(".look__turner", has_text="Infrared").tap()
    first = f"new URLSearchParams(location.search).get('p') === '{scene['IR'].pk}'"
    until(page, f"{first} && !location.search.includes('mode=')")
    copied = page.locator('[data-do="link"]')
    copied.scroll_into_view_if_needed()
    box, kept = copied.bounding_box(), page.locator("[data-look-panes]").bounding_box()
    assert box is not None
    assert kept is not None
    assert kept["y"] == 0, "the picture stays in view above its controls"
    assert kept["height"] <= box["y"] <= 740 - box["height"]
    page.set_viewport_size({"width": 1280, "height": 800})
    until(page, "document.querySelector('.look__pane > .look__caption') !== null")
    assert page.locator(".look__turner").count() == 0
    assert page.faults == []  # type: ignore[attr-defined]


@pytest.mark.parametrize(("width", "theme"), [(360, "dark"), (1280, "light")])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(
    window: BrowserContext, scene: dict[str, Any], width: int, theme: Any
) -> None:
    page = opened(window, address(scene["thing"], "mode=side"))
    page.set_viewport_size({"width": width, "height": 760})
    page.emulate_media(color_scheme=theme)
    page.evaluate(Path(AXE).read_text("utf-8"))
    result = page.evaluate("axe.run(document)")
    assert len(result["passes"]) > 15
    assert [(each["id"], each["nodes"][0]["html"]) for each in result["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
