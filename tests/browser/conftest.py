"""One Chromium for all browser tests; without one on the path they are skipped by name."""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command
from playwright.sync_api import Browser, sync_playwright

# Playwright keeps an event loop in the test's thread; the tests themselves stay synchronous.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

HOW_TO_GET_IT = "Left out: no Chromium on the path. On Debian: apt-get install chromium."
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def fetch_frontend() -> None:
    """Fetch the fonts and scripts once, whichever of the test processes comes first."""
    with (Path(tempfile.gettempdir()) / "imaging-requests-frontend.lock").open("w") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        call_command("fetch_frontend", verbosity=0)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Start Chromium once; each test opens contexts of its own."""
    path = shutil.which("chromium") or shutil.which("google-chrome")
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("The browser tests must run here, and there is no Chromium on the path.")
        pytest.skip(HOW_TO_GET_IT)
    fetch_frontend()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield started
        started.close()
