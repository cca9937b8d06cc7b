"""By keys alone, with and without scripts: in, past the frame, through a refused form."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Browser, Page

from imaging_requests.requesting.models import RequestLine
from tests import factory
from tests import progress_scene as scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PASSWORD = "a lantern by the quay 14"
MOST_STOPS = 60
HAS_FOCUS = "wanted => Boolean(document.activeElement?.matches(wanted))"
IS_SEEN = """() => {
  const { outlineStyle, outlineWidth } = getComputedStyle(document.activeElement);
  const isDrawn = Boolean(document.activeElement.closest("svg")); // its box is drawn bold instead
  return isDrawn || (outlineStyle !== "none" && parseFloat(outlineWidth) > 0);
}"""


def tab_to(page: Page, wanted: str) -> None:
    """Press Tab until an element has the focus; on the way the focus is always to be seen."""
    for _ in range(MOST_STOPS):
        if page.evaluate(HAS_FOCUS, wanted):
            return
        page.keyboard.press("Tab")
        assert page.evaluate(IS_SEEN), page.evaluate("document.activeElement.outerHTML")
    raise AssertionError(f"{wanted} is not reached by Tab at {page.url}")


def press(page: Page, key: str = "Enter") -> None:
    """Press a key that leads to another page."""
    with page.expect_navigation():
        page.keyboard.press(key)


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
def test_a_wish_is_filed_by_keys_alone(browser: Browser, live_server: Any, scripts: bool) -> None:
    factory.rules()
    oda = factory.curator()
    oda.set_password(PASSWORD)
    oda.save()
    thing = factory.museum_object("AR 0038", "Harbour Fire")
    factory.entry(thing, number="12")
    scene.derive(timezone.now())
    context = browser.new_context(
        viewport={"width": 1280, "height": 900}, java_script_enabled=scripts
    )
    page = context.new_page()
    page.goto(live_server.url + reverse("people:sign_in"))
    page.keyboard.type(oda.email)
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    press(page)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main", "the first stop skips the frame"

    page.goto(f"{live_server.url}{reverse('requesting:request_new')}?object={thing.pk}")
    tab_to(page, "textarea[name=why]")
    page.keyboard.type("For the plate on page 40.")
    tab_to(page, "button.button--do")
    press(page)
    assert page.evaluate(HAS_FOCUS, "[role=alert]"), "a refused form is read from its summary on"
    assert page.input_value("textarea[name=why]") == "For the plate on page 40."
    tab_to(page, "input[type=checkbox][name=views]")
    page.keyboard.press("Space")
    tab_to(page, "button.button--do")
    press(page)
    while not RequestLine.objects.exists():
        tab_to(page, "button.button--do")
        press(page)
    assert RequestLine.objects.get().request.why == "For the plate on page 40."
    context.close()


def test_on_a_phone_the_page_of_an_object_begins_with_what_is_owed(
    browser: Browser, live_server: Any
) -> None:
    factory.rules()
    signe = factory.lead()
    signe.set_password(PASSWORD)
    signe.save()
    thing = factory.museum_object("AR 0038", "Harbour Fire")
    factory.entry(thing, number="12")
    scene.derive(timezone.now())
    context = browser.new_context(viewport={"width": 360, "height": 760})
    page = context.new_page()
    page.goto(live_server.url + reverse("people:sign_in"))
    page.fill("input[type=email]", signe.email)
    page.fill("input[type=password]", PASSWORD)
    press(page)
    page.goto(live_server.url + reverse("progress:object", args=[thing.pk]))
    folded = page.locator("details[data-fold-narrow]")
    assert folded.count() >= 3
    assert page.locator("details[data-fold-narrow][open]").count() == 0
    tab_to(page, "details[data-fold-narrow] > summary")
    page.keyboard.press("Enter")
    assert page.locator("details[data-fold-narrow][open]").count() == 1
    page.set_viewport_size({"width": 1280, "height": 900})
    page.wait_for_function(
        "document.querySelectorAll('details[data-fold-narrow]:not([open])').length === 0"
    )
    context.close()
