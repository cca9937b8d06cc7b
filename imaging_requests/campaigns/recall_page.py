"""The page that helps to rebuild a set-up: numbers from a test frame in, movements out."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

from django import forms
from django.conf import settings
from django.urls import reverse

from imaging_requests.campaigns.models import SetupCard
from imaging_requests.imaging.comparison.limits import recall_tolerances
from imaging_requests.imaging.comparison.recall import (
    Advice,
    Measured,
    Tolerances,
    Wanted,
    advise,
)
from imaging_requests.people.spoken import SpokenForm

DATA = "checks/comparability-1.json"
CARD_NAMES = {
    "distance_mm": "sensor_to_object_mm",
    "elevation_deg": "elevation_deg",
    "lamp_distance_mm": "lamp_distance_mm",
    "pin_mm": "gauge_pin_mm",
}
"""Field of the form → value of the card."""
DARKEST_L = 8.0
"""Below it lightness is no longer the cube root of light (CIE 15)."""


def _number(label: str, help_text: str, *, most: float, required: bool = False) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        help_text=help_text,
        required=required,
        min_value=0,
        max_value=most,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={"invalid": "This is no number. Write it as in 12.17."},
    )


class RecallForm(SpokenForm):
    """What the card asks for, and what the test frame shows."""

    distance_mm = _number("Lens to object", "mm, as on the card.", most=50_000, required=True)
    px_per_mm = _number("Density wanted", "px/mm of the picture to be repeated.", most=500)
    seen_px_per_mm = _number("Density in the test frame", "px/mm, from the ruler.", most=500)
    upper_px = _number("Upper edge in the test frame", "px, its length.", most=200_000)
    lower_px = _number("Lower edge in the test frame", "px, its length.", most=200_000)
    height_mm = _number("Height between the two edges", "mm on the object.", most=20_000)
    grey_l = _number("Grey patch wanted", "L* in the picture to be repeated.", most=100)
    seen_grey_l = _number("Grey patch in the test frame", "L*.", most=100)
    elevation_deg = _number("Lamp elevation wanted", "degrees above the face.", most=89)
    lamp_distance_mm = _number("Lamp to gauge", "mm along the floor.", most=50_000)
    pin_mm = _number("Pin of the rake gauge", "mm, its height.", most=1_000)
    shadow_mm = _number("Shadow of the pin in the test frame", "mm, its length.", most=20_000)

    def clean(self) -> dict[str, Any]:
        """Ask for the partner of whatever was typed alone."""
        found = super().clean() or {}
        for names, words in (
            (("px_per_mm", "seen_px_per_mm"), "Type both densities, or neither."),
            (("upper_px", "lower_px", "height_mm"), "Type both edges and their distance, or none."),
            (("grey_l", "seen_grey_l"), "Type L* of both grey patches, or neither."),
        ):
            given = [name for name in names if found.get(name)]
            for name in names if given and len(given) < len(names) else ():
                if not found.get(name) and name not in self.errors:
                    self.add_error(name, words)
        for name in ("grey_l", "seen_grey_l"):
            if found.get(name) and found[name] <= DARKEST_L:
                self.add_error(
                    name, "This patch is too dark to set an exposure by. Take a lighter one."
                )
        return found


#: The form in the order of the work: each part is one thing to set, with what tells of it.
PARTS = (
    ("Distance", ("distance_mm", "px_per_mm", "seen_px_per_mm")),
    ("Tilt", ("upper_px", "lower_px", "height_mm")),
    ("Exposure", ("grey_l", "seen_grey_l")),
    ("Lamp", ("elevation_deg", "lamp_distance_mm", "pin_mm", "shadow_mm")),
)


@lru_cache(maxsize=1)
def _tolerances() -> Tolerances:
    text = (settings.BASE_DIR / "fixtures" / DATA).read_text("utf-8")
    return recall_tolerances(json.loads(text))


def recall_form(card: SetupCard, data: Any) -> RecallForm:
    """The form, filled with what the card says until something was typed."""
    if data:
        return RecallForm(data)
    initial = {
        field: card.values[name] for field, name in CARD_NAMES.items() if card.values.get(name)
    }
    return RecallForm(initial=initial)


def recall_context(card: SetupCard, form: RecallForm) -> dict[str, Any]:
    """What the page shows: the advice, or what is missing for one."""
    advice, refusal = _advice(form) if form.is_bound and form.is_valid() else ((), "")
    to_do = [each for each in advice if not each.is_good]
    if to_do:
        answer = f"{len(to_do)} thing{'' if len(to_do) == 1 else 's'} to move before the next frame"
    elif advice:
        answer = "This set-up is back where it was"
    else:
        answer = f"Rebuild set-up card {card}"
    return {
        "card": card,
        "form": form,
        "parts": [
            {"label": label, "fields": [form[name] for name in names]} for label, names in PARTS
        ],
        "answer": answer,
        "crumbs": [
            {
                "label": f"Set-up card {card}",
                "href": reverse("campaigns:setup_card", args=[card.pk]),
            }
        ],
        "advice": advice,
        "refusal": refusal,
        "is_asked": form.is_bound and form.is_valid(),
    }


def _advice(form: RecallForm) -> tuple[tuple[Advice, ...], str]:
    typed = form.cleaned_data
    upper, lower = typed.get("upper_px"), typed.get("lower_px")
    measured = Measured(
        px_per_mm=typed.get("seen_px_per_mm") or None,
        keystone=(lower - upper) / ((lower + upper) / 2) if upper and lower else None,
        level=_light(typed.get("seen_grey_l")),
        shadow_mm=typed.get("shadow_mm") or None,
    )
    wanted = Wanted(
        distance_mm=typed["distance_mm"],
        px_per_mm=typed.get("px_per_mm") or None,
        height_mm=typed.get("height_mm") or None,
        level=_light(typed.get("grey_l")),
        elevation_deg=typed.get("elevation_deg") or None,
        lamp_distance_mm=typed.get("lamp_distance_mm") or None,
        pin_mm=typed.get("pin_mm") or None,
    )
    try:
        return advise(measured, wanted, _tolerances()), ""
    except ValueError as problem:
        return (), str(problem)


def _light(lightness: float | None) -> float | None:
    """Light of a patch by its L* (CIE 15, above L* 8)."""
    return ((lightness + 16) / 116) ** 3 if lightness else None
