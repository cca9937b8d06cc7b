"""A page that shows every component once, served to the browser from files, without a server."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from typing import Any

from django import forms
from django.contrib.staticfiles import finders
from django.template import Context, Template
from playwright.sync_api import BrowserContext, Page, Route

from imaging_requests.people.templatetags.marks import STATUS_WORDS

PAGES = Path(__file__).parent / "pages"
ADDRESS = "http://studio.test/"
ROOT = Path(__file__).resolve().parents[2]
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
PIXEL = "data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7"

BOARD_ROWS = 40
VIEWS = ("VF", "VC", "RK L", "RK T", "UV", "IR", "XR", "VF", "RK L", "UV", "IR", "E")
STATUSES = list(STATUS_WORDS)


class SpecimenForm(forms.Form):
    """One field of each kind."""

    objects = forms.CharField(widget=forms.Textarea, help_text="One number to a line.")
    purpose = forms.ChoiceField(choices=[("t", "text"), ("l", "loan")], widget=forms.RadioSelect)
    technique = forms.MultipleChoiceField(
        choices=[("uv", "UV"), ("ir", "infrared")], widget=forms.CheckboxSelectMultiple
    )
    wanted = forms.CharField(label="Wanted by", required=False)
    counts = forms.BooleanField(required=False, help_text="The entry is full only then.")


class SpecimenFilter(forms.Form):
    """A filter bar."""

    grade = forms.ChoiceField(choices=[("", "all")], required=False)
    find = forms.CharField(required=False)


def board_rows(number_of_rows: int) -> list[dict[str, Any]]:
    return [
        {
            "number": number,
            "title": f"The Lighthouse at the End of the Row {number}",
            "href": f"#entry-{number}",
            "cells": [
                None
                if number % 7 == 3 and place == 1
                else {
                    "statuses": [STATUSES[(number + place) % len(STATUSES)]]
                    * (3 if number == 1 else 1),
                    "href": f"#cell-{number}-{place}",
                }
                for place in range(len(VIEWS))
            ],
            "grade": "full with waivers",
            "unmet": number,
            "unmet_href": f"#unmet-{number}",
        }
        for number in range(1, number_of_rows + 1)
    ]


def head(order: str) -> dict[str, str]:
    return {"href": f"#order-{order}", "sorted": "", "does": "First in order"}


def context(rows: int) -> dict[str, Any]:
    return {
        "answer": "10 + 4 with waivers of 40 entries are fully documented",
        "counts": [
            {"figure": 479, "unit": "owed views", "href": "#v"},
            {"figure": 23, "unit": "to shoot again or decide", "href": "#d"},
        ],
        "filters": SpecimenFilter(),
        "long_name": f"{'before_treatment_' * 12}.tif",
        "long_answer": "Received and proven in two places. " * 6,
        "groups": [
            {"label": "Front", "span": 6},
            {"label": "Through", "span": 1},
            {"label": "Back", "span": 4},
            {"label": "Edges", "span": 1},
        ],
        "columns": [
            {"code": code, "words": f"view {code}", "head": head(f"open-{place}")}
            for place, code in enumerate(VIEWS)
        ],
        "entry": head("number") | {"sorted": "ascending"},
        "unmet": head("unmet"),
        "grade": head("grade"),
        "opens": [place in {0, 6, 7, 11} for place in range(len(VIEWS))],
        "rows": board_rows(rows),
        "crumbs": [{"label": "The Lantern Coast", "href": "#c"}],
        "actions": [
            {"label": "Agree", "kind": "do", "href": "#agree"},
            {"label": "Send back", "kind": "stop", "href": "#back"},
            {"label": "Start", "not_because": "UV of the front is missing."},
        ],
        "buttons": [{"label": "Save", "name": "act", "value": "save"}],
        "spans": [
            {"label": "s0", "start": 0, "width": 62, "href": "#s0", "words": "lined"},
            {
                "label": "s1",
                "start": 62,
                "width": 14,
                "href": "#s1",
                "words": "off the stretcher",
                "is_chosen": True,
            },
            {"label": "back", "start": 76, "width": 9, "words": "only now", "kind": "window"},
            {"label": "s2", "start": 85, "width": 15, "words": "planned", "kind": "to-come"},
        ],
        "ticks": [
            {"at": 62, "number": 1, "date": "9 Apr 2026", "words": "Taken off", "href": "#t1"},
            {"at": 76, "number": 2, "date": "4 May 2026", "words": "Off", "kind": "planned"},
        ],
        "scale": [{"at": 0, "label": "2019"}, {"at": 76, "label": "May"}],
        "lanes": [
            {
                "label": "Bay",
                "note": "20.5 of 60 h",
                "blocks": [
                    {
                        "start": 3,
                        "width": 12,
                        "label": "AR 0070",
                        "words": "UV front, 13:00",
                        "href": "#b",
                        "kind": "full",
                    }
                ],
            }
        ],
        "heads": [{"label": "Object"}, {"label": "Stands"}, {"label": "min", "is_figure": True}],
        "lines": [
            {
                "cells": [
                    {"column": "Object", "text": f"AR {n:04}", "href": f"#o{n}", "is_number": True},
                    {"column": "Stands", "status": status},
                    {"column": "min", "text": "28", "is_figure": True},
                ],
                "is_here": n == 2,
            }
            for n, status in enumerate(STATUSES)
        ],
        "checks": [
            {"what": "Filter", "verdict": "fail", "value": 34, "unit": "%", "words": "Put it on."},
            {"what": "Sharpness", "verdict": "warn", "value": 0.62, "limit": "≥ 0.70"},
            {"what": "Colour", "verdict": "cannot_tell", "value": ""},
        ],
        "differences": [("Starts", "09:00", "10:30")],
        "frames": [{"ev": "0", "src": PIXEL, "alt": "zero", "href": "#f"}, {"ev": "+1"}],
        "parts": [
            {"label": "filed", "figure": 336, "start": 0, "width": 70, "kind": "full"},
            {"label": "open", "figure": 143, "start": 70, "width": 30, "kind": "to-come"},
        ],
        "pixel": PIXEL,
        "cautions": ["Local flaking: conservator present at placing."],
        "figures": [{"label": "Exposure", "figure": 1, "unit": "s", "note": "bracket of 4"}],
        "facts": [{"label": "Height", "value": 860, "unit": "mm", "note": "3 Mar 2026, Runa"}],
        "reasons": [("absent", "object is not here")],
        "form": SpecimenForm({"objects": "AR 0070", "wanted": "soon"}),
        "places": [],
        "own_roles": "",
    }


def answer(route: Route, html: str) -> None:
    """Give the browser the page or a static file; anything else is not there."""
    path = route.request.url.removeprefix(ADDRESS).split("?")[0]
    if path == "":
        route.fulfill(body=html, content_type="text/html; charset=utf-8")
        return
    found = finders.find(path.removeprefix("static/"))
    if found is None:
        route.fulfill(status=404, body="")
        return
    kind = mimetypes.guess_type(path)[0] or "application/octet-stream"
    route.fulfill(body=Path(found).read_bytes(), content_type=kind)


def show(name: str, within: BrowserContext, *, rows: int = BOARD_ROWS) -> Page:
    """Open one of `pages/` in the browser, a board with so many rows."""
    html = Template((PAGES / f"{name}.html").read_text()).render(Context(context(rows)))
    page = within.new_page()
    page.route("**/*", lambda route: answer(route, html))
    page.goto(ADDRESS)
    return page
