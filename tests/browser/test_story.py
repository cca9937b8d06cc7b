"""The main job in a real browser, at desk size, with real files: four people, four windows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from imaging_requests.progress.settle import verify
from tests.browser.person import BrowserPerson
from tests.story import studio
from tests.story.test_story import tell

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
    pytest.mark.xdist_group("browser"),
]


def test_four_people_in_four_browsers_tell_the_whole_story(
    browser: Browser, live_server: Any, stores: Path, tmp_path: Path
) -> None:
    studio.open_studio()
    people = {
        name: BrowserPerson(browser, live_server.url, studio.address_of(name), studio.PASSWORD)
        for name in ("Signe", "Oda", "Runa", "Amaro")
    }
    tell(people, tmp_path)
    assert [fault for person in people.values() for fault in person.faults] == []
    assert verify() == []
    for person in people.values():
        person.context.close()
