"""A person without a browser: opens pages, finds forms by their button, fills and sends them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urlencode, urljoin

from django.test import Client


@dataclass
class Form:
    """A form as it stands on a page."""

    action: str
    method: str
    values: dict[str, list[str]] = field(default_factory=dict)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)
    ticks: dict[str, list[str]] = field(default_factory=dict)
    choices: dict[str, list[tuple[str, str]]] = field(default_factory=dict)

    def pressed(self, words: str) -> tuple[str, str] | None:
        """Return the name and value of the button with these words, if it is in this form."""
        for name, value, label in self.buttons:
            if words.lower() in label.lower():
                return name, value
        return None


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.by_id: dict[str, Form] = {}
        self.links: list[tuple[str, str]] = []
        self.text: list[str] = []
        self._form: Form | None = None
        self._select: str | None = None
        self._option: str | None = None
        self._textarea: str | None = None
        self._button: tuple[Form, str, str] | None = None
        self._link: str | None = None
        self._words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = {name: value or "" for name, value in attrs}
        form = self.by_id.get(got.get("form", "")) or self._form
        if tag == "form":
            self._form = Form(got.get("action", ""), got.get("method", "get").lower())
            self.forms.append(self._form)
            if "id" in got:
                self.by_id[got["id"]] = self._form
        elif tag == "a":
            self._link, self._words = got.get("href", ""), ""
        elif form is not None and tag == "input" and "name" in got:
            self._input(form, got)
        elif form is not None and tag == "select":
            self._select = got.get("name")
        elif form is not None and tag == "option" and self._select:
            self._option, self._words = got.get("value", ""), ""
            if "selected" in got:
                form.values[self._select] = [self._option]
        elif form is not None and tag == "textarea":
            self._textarea, self._words = got.get("name", ""), ""
        elif form is not None and tag == "button":
            self._button = (form, got.get("name", ""), got.get("value", ""))
            self._words = ""

    @staticmethod
    def _input(form: Form, got: dict[str, str]) -> None:
        kind, name = got.get("type", "text"), got["name"]
        if kind in ("checkbox", "radio"):
            form.ticks.setdefault(name, []).append(got.get("value", "on"))
            if "checked" in got:
                form.values.setdefault(name, []).append(got.get("value", "on"))
        elif kind not in ("file", "submit"):
            form.values.setdefault(name, []).append(got.get("value", ""))

    def handle_data(self, data: str) -> None:
        self._words += data
        self.text.append(data)

    def handle_endtag(self, tag: str) -> None:
        words = " ".join(self._words.split())
        if tag == "form":
            self._form = None
        elif tag == "a" and self._link is not None:
            self.links.append((self._link, words))
            self._link = None
        elif tag == "option" and self._select and self._form and self._option is not None:
            self._form.choices.setdefault(self._select, []).append((self._option, words))
            self._form.values.setdefault(self._select, [self._option])
            self._option = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea" and self._form is not None and self._textarea is not None:
            self._form.values.setdefault(self._textarea, []).append(self._words.strip())
            self._textarea = None
        elif tag == "button" and self._button is not None:
            form, name, value = self._button
            form.buttons.append((name, value, words))
            self._button = None


class Person:
    """Somebody at a browser without scripts."""

    def __init__(self, email: str, password: str) -> None:
        self.client = Client(raise_request_exception=True)
        self.address = ""
        self.status = 0
        self.words = ""
        self._forms: list[Form] = []
        self._links: list[tuple[str, str]] = []
        self.open("/people/sign-in/")
        self.send("Sign in", username=email, password=password)

    def open(self, address: str) -> Person:
        """Open a page, following redirections."""
        self._take(self.client.get(urljoin(self.address, address), follow=True), address)
        return self

    def follow(self, words: str) -> Person:
        """Follow the first link with these words."""
        for href, label in self._links:
            if words.lower() in label.lower():
                return self.open(href)
        raise AssertionError(f"No link says {words!r} at {self.address}: {self._links}")

    def send(self, button: str, *, files: Iterable[Any] = (), **fields: Any) -> Person:
        """Fill the form that has this button and press it."""
        for form in self._forms:
            pressed = form.pressed(button)
            if pressed is None:
                continue
            data: dict[str, Any] = dict(form.values)
            for name, value in fields.items():
                many = [str(each) for each in value] if isinstance(value, list) else [str(value)]
                data[name] = many
            if pressed[0]:
                data[pressed[0]] = [pressed[1]]
            return self._submit(form, data, list(files))
        known = [label for form in self._forms for *_, label in form.buttons]
        raise AssertionError(f"No button says {button!r} at {self.address}: {known}\n{self.words}")

    def _submit(self, form: Form, data: dict[str, Any], files: list[Any]) -> Person:
        target = urljoin(self.address, form.action or self.address)
        if form.method == "get":
            return self.open(f"{target.split('?')[0]}?{urlencode(data, doseq=True)}")
        if files:
            data["offered"] = files
        self._take(self.client.post(target, data, follow=True), target)
        return self

    def ticks(self, button: str, name: str) -> list[str]:
        """Return the values that can be ticked in the form with this button."""
        for form in self._forms:
            if form.pressed(button) is not None:
                return form.ticks.get(name, []) or [v for v, _ in form.choices.get(name, [])]
        raise AssertionError(f"No form has the button {button!r} at {self.address}")

    def choice(self, button: str, name: str, words: str) -> str:
        """Return the value of the option with these words in the form with this button."""
        for form in self._forms:
            if form.pressed(button) is not None:
                for value, label in form.choices.get(name, []):
                    if words.lower() in label.lower():
                        return value
                raise AssertionError(f"{name} offers {form.choices.get(name)}, not {words!r}")
        raise AssertionError(f"No form has the button {button!r} at {self.address}")

    def sees(self, *words: str) -> Person:
        """Demand that the page says these words."""
        for each in words:
            assert each.lower() in self.words.lower(), (
                f"{each!r} is not at {self.address}:\n{self.words}"
            )
        return self

    def misses(self, *words: str) -> Person:
        """Demand that the page does not say these words."""
        for each in words:
            assert each.lower() not in self.words.lower(), f"{each!r} is at {self.address}"
        return self

    def _take(self, response: Any, address: str) -> None:
        self.status = response.status_code
        chain = getattr(response, "redirect_chain", [])
        self.address = urljoin(address, chain[-1][0]) if chain else address
        assert self.status < 500, f"{self.status} at {self.address}"
        content = b"".join(response.streaming_content) if response.streaming else response.content
        reader = _Reader()
        reader.feed(content.decode(errors="replace"))
        self._forms, self._links = reader.forms, reader.links
        self.words = re.sub(r"\s+", " ", " ".join(reader.text))
