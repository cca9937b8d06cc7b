"""The components in a real browser: widths, keys, themes, accessibility."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.specimen import AXE, BOARD_ROWS, show

pytestmark = [pytest.mark.browser, pytest.mark.slow]
PAGES = ("board", "sheet", "easel", "slate")
WIDTHS = (360, 1280, 2560)
#: Every status stands in one of them, and every odd cell.
FEW_ROWS = 5
DESK = {"width": 1280, "height": 900}


@pytest.fixture
def board(browser: Browser) -> Any:
    within = browser.new_context(viewport=DESK)
    yield show("board", within)
    within.close()


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.getAttribute('href')"))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_no_page_scrolls_sideways_as_a_whole(browser: Browser, name: str, width: int) -> None:
    within = browser.new_context(viewport={"width": width, "height": 800})
    page = show(name, within)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    within.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_long_name_of_a_file_pushes_nothing_aside(browser: Browser, width: int) -> None:
    within = browser.new_context(viewport={"width": width, "height": 800})
    page = show("sheet", within)
    frame = page.locator("[data-files]")
    assert frame.evaluate("box => box.scrollWidth <= box.clientWidth")
    short = frame.get_by_text("BAY_0242.TIF").bounding_box()
    assert short is not None
    assert short["height"] < 25, "a short name stays on one line"
    within.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing(browser: Browser, name: str, width: int, theme: Any) -> None:
    within = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=theme)
    page = show(name, within, rows=FEW_ROWS)
    page.add_script_tag(path=AXE)
    result = page.evaluate("axe.run(document)")
    assert len(result["passes"]) > 20
    found = [(each["id"], each["nodes"][0]["html"]) for each in result["violations"]]
    assert found == []
    within.close()


@pytest.mark.parametrize("name", PAGES)
def test_paper_is_white_and_its_words_are_dark(browser: Browser, name: str) -> None:
    within = browser.new_context(viewport=DESK, color_scheme="dark")
    page = show(name, within)
    page.emulate_media(media="print")
    ground, words = page.evaluate(
        """() => {
          const probe = document.createElement("p");
          probe.style.cssText = "background: var(--ground); color: var(--text)";
          document.body.append(probe);
          const { backgroundColor, color } = getComputedStyle(probe);
          return [backgroundColor, color].map((text) => Number(text.match(/[0-9]+/)[0]));
        }"""
    )
    assert ground > 240
    assert words < 30
    within.close()


def test_forty_rows_are_seen_at_once_on_a_desk(board: Page) -> None:
    rows = board.locator(".board tbody tr")
    assert rows.count() == BOARD_ROWS
    box = rows.last.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= DESK["height"]


def test_heads_and_first_column_stay_in_place(browser: Browser) -> None:
    within = browser.new_context(viewport={"width": 360, "height": 600})
    page = show("board", within)
    region = page.locator(".table-frame--board")
    region.evaluate("region => region.scrollTo(300, 400)")
    region.scroll_into_view_if_needed()
    frame = region.bounding_box()
    head = page.locator(".board thead th").first.bounding_box()
    title = page.locator(".board tbody tr").nth(30).locator("th").bounding_box()
    assert frame is not None
    assert head is not None
    assert title is not None
    assert head["y"] == pytest.approx(frame["y"], abs=2)
    assert title["x"] == pytest.approx(frame["x"], abs=2)
    within.close()


def test_arrow_keys_walk_the_board_and_tab_stops_once(board: Page) -> None:
    board.locator(".board tbody a").first.focus()
    assert focused(board) == "#entry-1"
    for key, there in [
        ("ArrowRight", "#cell-1-0"),
        ("ArrowRight", "#cell-1-1"),
        ("ArrowDown", "#cell-2-1"),
        ("ArrowDown", "#cell-3-0"),
        ("End", "#unmet-3"),
        ("Home", "#entry-3"),
        ("PageDown", "#entry-13"),
        ("PageUp", "#entry-3"),
        ("ArrowUp", "#entry-2"),
        ("ArrowLeft", "#entry-2"),
    ]:
        board.keyboard.press(key)
        assert focused(board) == there, key
    assert board.locator('.board tbody a[tabindex="0"]').count() == 1
    board.keyboard.press("Tab")
    assert not board.evaluate("document.activeElement.closest('.board tbody') !== null")


def test_arrow_keys_walk_the_heads_as_they_stand_beside_each_other(board: Page) -> None:
    board.locator(".board thead a").first.focus()
    last = board.locator(".board thead tr:nth-child(2) a").count() - 1
    for key, there in [
        ("ArrowRight", "#order-open-0"),
        ("ArrowRight", "#order-open-1"),
        ("End", "#order-grade"),
        ("ArrowLeft", "#order-unmet"),
        ("ArrowLeft", f"#order-open-{last}"),
        ("Home", "#order-number"),
    ]:
        board.keyboard.press(key)
        assert focused(board) == there, key
    assert board.locator('.board thead a[tabindex="0"]').count() == 1
    board.keyboard.press("Tab")
    assert focused(board) == "#entry-1", "one stop in the heads, then one in the rows"


def test_the_word_of_a_mark_is_shown_on_focus(board: Page) -> None:
    word = board.locator('a[href="#cell-2-0"] .board__word')
    before = word.bounding_box()
    board.locator('a[href="#cell-2-0"]').focus()
    board.keyboard.press("ArrowLeft")
    board.keyboard.press("ArrowRight")
    after = word.bounding_box()
    assert before is not None
    assert after is not None
    assert before["width"] <= 1 < 20 < after["width"]


def test_a_choice_of_dark_is_kept_in_a_cookie_and_can_be_taken_back(board: Page) -> None:
    def ground() -> str:
        return str(board.evaluate("getComputedStyle(document.documentElement).backgroundColor"))

    light = ground()
    board.get_by_role("button", name="Dark").click()
    assert ground() != light
    assert "theme=dark" in str(board.evaluate("document.cookie"))
    board.get_by_role("button", name="As the system").click()
    assert ground() == light
    assert "theme" not in str(board.evaluate("document.cookie"))


def test_the_skip_link_leads_past_the_masthead(board: Page) -> None:
    board.keyboard.press("Tab")
    assert focused(board) == "#main"
    board.keyboard.press("Enter")
    assert board.evaluate("document.activeElement.id") == "main"


def test_targets_at_the_easel_suit_a_glove(browser: Browser) -> None:
    within = browser.new_context(viewport={"width": 1024, "height": 768})
    page = show("easel", within)
    buttons = page.locator("main .button:visible, main summary")
    assert buttons.count() >= 4
    for place in range(buttons.count()):
        box = buttons.nth(place).bounding_box()
        assert box is not None
        assert box["height"] >= 56
    size = page.evaluate("getComputedStyle(document.documentElement).fontSize")
    assert size == "20px"
    within.close()
