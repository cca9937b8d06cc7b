"""Templates are safe: nothing unescaped, nothing inline, no decisions hidden in attributes."""

from __future__ import annotations

import re
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted((CHECKOUT / "templates").rglob("*.html"))
FORBIDDEN = {
    "a value shown unescaped": re.compile(r"\|\s*safe\b|autoescape\s+off"),
    "script written into the page": re.compile(
        r"<script(?![^>]*\bsrc=)(?![^>]*type=\"application/json\")", re.I
    ),
    "style written into the page": re.compile(r"<style|\sstyle=", re.I),
    "a handler written into the page": re.compile(r"\son[a-z]+=|javascript:|hx-on", re.I),
    "a form that posts without its token": re.compile(
        r"<form[^>]*method=\"post\"(?:(?!</form>).)*</form>", re.I | re.S
    ),
}


def violations(text: str) -> list[str]:
    """Return what a template must not hold."""
    found = []
    for name, pattern in FORBIDDEN.items():
        for match in pattern.finditer(text):
            if name == "a form that posts without its token" and "csrf" in match.group(0):
                continue
            found.append(name)
    return found


def test_no_template_holds_anything_unsafe() -> None:
    assert len(TEMPLATES) >= 30, "the walk saw too few templates to mean anything"
    bad = {str(path): violations(path.read_text()) for path in TEMPLATES}
    assert {path: found for path, found in bad.items() if found} == {}


def test_each_planted_violation_is_found() -> None:
    planted = [
        "{{ name|safe }}",
        "<script>alert(1)</script>",
        '<p style="color: red">',
        '<a onclick="go()">',
        '<form method="post"><button>Go</button></form>',
    ]
    assert [len(violations(text)) for text in planted] == [1, 1, 1, 1, 1]
