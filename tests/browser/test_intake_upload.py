"""The drop page in a real browser: uploads go on by themselves, also after a reload."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from imaging_requests.intake.limits import background
from tests import factory
from tests.intake_scene import pixels, tiff
from tests.intake_world import World, ended_afterwards, kill, new_world, shared_tables
from tests.web.test_intake_upload_killed import free_port, start_web

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shared_tables(tmp_path_factory)


@pytest.fixture
def world(tmp_path: Path, template: Path) -> Iterator[World]:
    with ended_afterwards(new_world(tmp_path, template)) as made:
        yield made


@pytest.fixture
def master(tmp_path: Path) -> Path:
    path = tmp_path / "F0001.tif"
    path.write_bytes(tiff(1, at=factory.NOW, picture=pixels(1, width=4800, height=3600)))
    return path


def open_page(browser: Browser, port: int, made: dict[str, Any]) -> Page:
    """Open the page of the drop as somebody who has signed in."""
    address = f"http://127.0.0.1:{port}"
    context = browser.new_context()
    pairs = (part.strip().partition("=") for part in made["headers"]["Cookie"].split(";"))
    context.add_cookies(
        [{"name": name, "value": value, "url": address} for name, _, value in pairs]
    )
    page = context.new_page()
    page.goto(f"{address}/intake/drops/{made['drop']}/")
    return page


def send(page: Page, path: Path) -> None:
    page.set_input_files("input[type=file]", path)
    page.get_by_role("button", name="Send the files").click()


def half_sent(world: World) -> None:
    """Wait until a first stretch of the file is on the disk, but not the last one."""
    stretch = background().stretch_least_bytes
    world.wait(
        "A durable stretch",
        lambda: world.rows(
            "SELECT id FROM intake_arrival WHERE state = 'arriving' AND offset_bytes >= ?", stretch
        ),
    )


def slow_down(page: Page) -> Any:
    """Let the browser send no more than some megabytes a second."""
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    limits = {"offline": False, "latency": 0, "downloadThroughput": -1}
    session.send(
        "Network.emulateNetworkConditions", limits | {"uploadThroughput": 12 * 1024 * 1024}
    )
    return session


def assert_received(world: World, path: Path) -> None:
    world.run("manage.py", "work", "--until-empty")
    found = world.rows("SELECT state FROM intake_arrival")
    assert found == [("checked",)], "one file, one arrival"
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    assert world.rows("SELECT sha256 FROM intake_frame") == [(digest,)]


def test_an_upload_goes_on_by_itself_after_the_web_process_was_killed(
    browser: Browser, world: World, master: Path
) -> None:
    made = world.build("web")
    port = free_port()
    web = start_web(world, port)
    page = open_page(browser, port, made)
    slow_down(page)
    send(page, master)
    half_sent(world)
    kill(web)
    start_web(world, port)
    words = page.locator("[data-words]")
    expect(words).to_have_text("1 of 1 files sent", timeout=60_000)
    assert_received(world, master)
    page.reload()
    expect(page.locator("#drop-head")).to_contain_text("You may format the card")
    page.context.close()


def test_the_same_file_chosen_again_after_a_reload_goes_on_where_it_stopped(
    browser: Browser, world: World, master: Path
) -> None:
    made = world.build("web")
    port = free_port()
    start_web(world, port)
    page = open_page(browser, port, made)
    session = slow_down(page)
    send(page, master)
    half_sent(world)
    page.reload()
    session.detach()
    offset = world.rows("SELECT offset_bytes FROM intake_arrival")[0][0]
    assert 0 < offset < master.stat().st_size
    sent_from: list[int] = []
    page.on(
        "request",
        lambda request: (
            sent_from.append(int(request.headers["upload-offset"]))
            if request.method == "PATCH"
            else None
        ),
    )
    send(page, master)
    expect(page.locator("[data-words]")).to_have_text("1 of 1 files sent", timeout=60_000)
    assert sent_from
    assert sent_from[0] >= offset
    assert_received(world, master)
    page.context.close()


def test_a_refused_file_says_why_on_the_page_and_the_others_go_on(
    browser: Browser, world: World, tmp_path: Path
) -> None:
    made = world.build("web")
    port = free_port()
    start_web(world, port)
    page = open_page(browser, port, made)
    paths = []
    for name, data in (
        ("good.tif", tiff(1, at=factory.NOW)),
        ("notes.tif", b"words, words, words, and not a picture"),
        ("empty.tif", b""),
    ):
        paths.append(tmp_path / name)
        paths[-1].write_bytes(data)
    page.set_input_files("input[type=file]", paths)
    page.get_by_role("button", name="Send the files").click()
    expect(page.locator("[data-words]")).to_have_text("3 of 3 files sent", timeout=20_000)
    world.run("manage.py", "work", "--until-empty")
    head, files = page.locator("#drop-head"), page.locator("#drop-state")
    expect(head).to_contain_text("1 of 3 files are received, 2 refused", timeout=20_000)
    expect(files).to_contain_text("notes.tif is a text file although its name ends in .tif")
    expect(files).to_contain_text("empty.tif is empty")
    page.context.close()


def test_a_file_that_was_given_up_is_sent_anew_when_it_is_chosen_again(
    browser: Browser, world: World, master: Path
) -> None:
    made = world.build("web")
    port = free_port()
    start_web(world, port)
    page = open_page(browser, port, made)
    session = slow_down(page)
    send(page, master)
    half_sent(world)
    page.reload()
    session.detach()
    page.get_by_role("button", name="Give up").click()
    world.wait(
        "The upload is given up",
        lambda: world.rows("SELECT id FROM intake_arrival WHERE state = 'given_up'"),
    )
    send(page, master)
    expect(page.locator("[data-words]")).to_have_text("1 of 1 files sent", timeout=60_000)
    states = world.rows("SELECT state FROM intake_arrival ORDER BY id")
    assert states == [("given_up",), ("received",)]
    assert page.evaluate("Object.keys(localStorage).filter((key) => /^tus/.test(key))") == []
    page.context.close()
