"""A person at a real browser, with the same verbs as the person without one."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlparse

from playwright.sync_api import Browser, ElementHandle, Page

from imaging_requests.intake.models import Arrival, ArrivalState
from tests.story import studio

FILL = """([form, name, values]) => {
  const all = [...form.elements].filter((each) => each.name === name);
  if (!all.length) throw new Error(`no field ${name}`);
  for (const each of all) {
    if (each.type === "checkbox" || each.type === "radio") {
      each.checked = values.includes(each.value);
    } else {
      each.value = values[0];
    }
    each.dispatchEvent(new Event("input", { bubbles: true }));
    each.dispatchEvent(new Event("change", { bubbles: true }));
  }
}"""


class BrowserPerson:
    """Somebody signed in at a browser window of their own."""

    def __init__(self, browser: Browser, base: str, email: str, password: str) -> None:
        self.base = base
        self.context = browser.new_context(viewport={"width": 1280, "height": 900})
        self.page: Page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("response", self._noted)
        self.open("/people/sign-in/")
        self.send("Sign in", username=email, password=password)

    def _noted(self, response: Any) -> None:
        if response.status >= 500:
            self.faults.append(f"{response.status} {response.url}")

    @property
    def address(self) -> str:
        """Address of the page, without the host."""
        return urlparse(self.page.url).path

    @property
    def words(self) -> str:
        """All words of the page."""
        return re.sub(r"\s+", " ", self.page.text_content("body") or "")

    def open(self, address: str) -> BrowserPerson:
        """Open a page."""
        self.page.goto(urljoin(self.base, address))
        return self

    def follow(self, words: str) -> BrowserPerson:
        """Follow the first link with these words."""
        self.page.get_by_role("link", name=re.compile(re.escape(words), re.I)).first.click()
        self.page.wait_for_load_state()
        return self

    def _button(self, words: str) -> ElementHandle:
        for button in self.page.query_selector_all("button"):
            if words.lower() in (button.text_content() or "").lower() and button.evaluate(
                "each => each.form !== null"
            ):
                button.evaluate("each => each.closest('details')?.setAttribute('open', '')")
                return button
        raise AssertionError(f"No button says {words!r} at {self.address}: {self.words}")

    def send(self, words: str, *, files: Iterable[Any] = (), **fields: Any) -> BrowserPerson:
        """Fill the form that has this button and press it."""
        button = self._button(words)
        form = button.evaluate_handle("each => each.form")
        for name, value in fields.items():
            values = [str(each) for each in value] if isinstance(value, list) else [str(value)]
            self.page.evaluate(FILL, [form, name, values])
        paths = [Path(file.name) for file in files]
        if paths:
            self._bring(paths)
            return self
        with self.page.expect_navigation():
            button.click()
        return self

    def _bring(self, paths: list[Path]) -> None:
        """Choose files; they are sent resumably, and the page says how far they are."""
        before = Arrival.objects.count()
        self.page.set_input_files("input[type=file]", paths)
        if not self.page.query_selector("[data-sending]:not([hidden])"):
            self._button("Send the files").click()
        deadline = time.monotonic() + 60
        while (
            Arrival.objects.count() < before + len(paths)
            or Arrival.objects.filter(state=ArrivalState.ARRIVING).exists()
        ):
            assert time.monotonic() < deadline, list(Arrival.objects.values("name", "state"))
            time.sleep(0.05)
        studio.wait_for_work()

    def ticks(self, button: str, name: str) -> list[str]:
        """Return the values that can be ticked in the form with this button."""
        return list(
            self._button(button).evaluate(
                "(each, name) => [...each.form.elements]"
                ".filter((one) => one.name === name).map((one) => one.value)",
                name,
            )
        )

    def choice(self, button: str, name: str, words: str) -> str:
        """Return the value of the option with these words in the form with this button."""
        found: str = self._button(button).evaluate(
            "(each, [name, words]) => [...each.form.elements[name].options]"
            ".find((one) => one.text.toLowerCase().includes(words.toLowerCase())).value",
            [name, words],
        )
        return found

    def sees(self, *words: str) -> BrowserPerson:
        """Demand that the page says these words."""
        for each in words:
            assert each.lower() in self.words.lower(), f"{each!r} is not at {self.address}"
        return self

    def misses(self, *words: str) -> BrowserPerson:
        """Demand that the page does not say these words."""
        for each in words:
            assert each.lower() not in self.words.lower(), f"{each!r} is at {self.address}"
        return self
