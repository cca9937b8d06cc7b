"""How evenly look and compare moves: frames of the browser while a hand moves the pictures.

    python tests/benchmarks/look_frames.py http://127.0.0.1:8000 [--object 3] [--seconds 4]

A site must be served, for instance the demo. For each way of looking a pointer drags in circles and
the wheel enlarges; the browser reports the instants of its frames and the processor time of its
main thread. Prints for each: frames a second, the 95th percentile of the time between frames, and
the main thread's processor time for one frame, which other programs on the machine disturb least.
A frame of 16.7 ms makes 60 a second. Without a graphics card all drawing falls to the processor.
"""

from __future__ import annotations

import argparse
import math
import shutil
import statistics
import sys
import time
from itertools import pairwise

from playwright.sync_api import CDPSession, Page, sync_playwright

WAYS = ("one", "fade", "split", "side", "grid")
SIZES = ((1280, 800), (2560, 1300))
EMAIL, PASSWORD = "signe@ardenmoor.example", "lantern coast 1390"
ARGUMENTS = ["--no-sandbox", "--no-first-run", "--disable-background-networking"]
WATCH = """() => {
  window.frames_at = [];
  const note = (at) => {
    window.frames_at.push(at);
    window.watching = requestAnimationFrame(note);
  };
  window.watching = requestAnimationFrame(note);
}"""


def busy_ms(session: CDPSession) -> float:
    """Return the processor time of the main thread so far, in ms."""
    metrics = session.send("Performance.getMetrics")["metrics"]
    found = {each["name"]: float(each["value"]) for each in metrics}
    return found["TaskDuration"] * 1000


def drag(page: Page, seconds: float) -> None:
    """Move the pictures in circles and enlarge them now and then."""
    box = page.locator("[data-look-panes]").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    started, step = time.monotonic(), 0
    while time.monotonic() - started < seconds:
        step += 1
        page.mouse.move(x + 120 * math.cos(step / 12), y + 60 * math.sin(step / 12))
        if step % 25 == 0:
            page.mouse.wheel(0, -120 if step % 50 else 120)
    page.mouse.up()


def measure(page: Page, session: CDPSession, seconds: float) -> tuple[float, float, float]:
    """Return frames a second, the 95th percentile between frames in ms, main thread ms a frame."""
    page.evaluate(WATCH)
    before = busy_ms(session)
    drag(page, seconds)
    worked = busy_ms(session) - before
    page.evaluate("() => cancelAnimationFrame(window.watching)")
    at = page.evaluate("() => window.frames_at")
    gaps = [later - earlier for earlier, later in pairwise(at)]
    return (
        1000 / statistics.mean(gaps),
        statistics.quantiles(gaps, n=20)[-1],
        worked / len(gaps),
    )


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> None:
    """Measure every way of looking at two sizes of the window."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("site", help="address of the site, without the last stroke")
    parser.add_argument("--object", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--email", default=EMAIL)
    parser.add_argument("--password", default=PASSWORD)
    asked = parser.parse_args()
    path = shutil.which("chromium") or shutil.which("google-chrome")
    say(f"{'window':>12} {'way':>6} {'panes':>6} {'frames/s':>9} {'p95 ms':>7} {'work ms':>8}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        for width, height in SIZES:
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(f"{asked.site}/people/sign-in/")
            page.fill("[name=username]", asked.email)
            page.fill("[name=password]", asked.password)
            page.get_by_role("button", name="Sign in").click()
            page.wait_for_load_state()
            session = page.context.new_cdp_session(page)
            session.send("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
            session.send("Performance.enable")
            for way in WAYS:
                page.goto(f"{asked.site}/objects/{asked.object}/look/?mode={way}")
                page.wait_for_selector(".look--live .look__host canvas")
                page.wait_for_timeout(2500)
                panes = page.locator(".look__host").count()
                rate, slow, work = measure(page, session, asked.seconds)
                size = f"{width}x{height}"
                say(f"{size:>12} {way:>6} {panes:>6} {rate:>9.1f} {slow:>7.1f} {work:>8.2f}")
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
