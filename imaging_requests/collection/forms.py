"""The form of an object's facts."""

from __future__ import annotations

from datetime import date

from django import forms
from django.utils import timezone

from imaging_requests.collection.limits import limits_at
from imaging_requests.collection.models import Flaking, LightClass, ObjectFacts, Support
from imaging_requests.collection.rules import MEASURES, why_not_a_measure, why_not_that_day
from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.spoken import SpokenForm


def _yes_no(label: str, help_text: str = "") -> forms.TypedChoiceField:
    return forms.TypedChoiceField(
        label=label,
        choices=(("", "not known"), ("yes", "yes"), ("no", "no")),
        coerce=lambda value: {"yes": True, "no": False}.get(value),
        empty_value=None,
        required=False,
        help_text=help_text,
    )


def _measure(label: str, unit: str, help_text: str = "") -> forms.FloatField:
    return forms.FloatField(
        label=f"{label} ({unit})",
        required=False,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )


class FactsForm(SpokenForm):
    """What is known of an object; empty means not known yet."""

    read_record = forms.IntegerField(widget=forms.HiddenInput, required=False)
    height_mm = _measure("Height", "mm", "Unframed, as the viewer sees the front.")
    width_mm = _measure("Width", "mm")
    depth_mm = _measure("Depth", "mm")
    warp_mm = _measure("Warp", "mm", "Deepest point below a straight edge; 0 for a flat face.")
    weight_kg = _measure("Weight", "kg")
    support = forms.ChoiceField(choices=(("", "not known"), *Support.choices), required=False)
    painted_faces = forms.ChoiceField(choices=(("F", "Front"), ("FB", "Front and back")))
    is_lined = forms.BooleanField(
        label="Lined",
        required=False,
        help_text="A lining covered the original back when the object came into the programme.",
    )
    framed = _yes_no("Framed")
    glazed = _yes_no("Glazed")
    sealed = _yes_no("Sealed frame", "Cannot be unframed.")
    light_class = forms.ChoiceField(
        label="Light class", choices=(("", "not known"), *LightClass.choices), required=False
    )
    flaking = forms.ChoiceField(choices=Flaking.choices)
    flash_allowed = forms.BooleanField(label="Flash may be used", required=False)
    uv_allowed = forms.BooleanField(label="UV may be used", required=False)
    heat_sensitive = forms.BooleanField(label="Sensitive to heat", required=False)
    pinned_px_per_mm = _measure(
        "Pinned density",
        "px/mm",
        "Keeps the visible views' density when the size is measured again.",
    )
    measured_on = forms.DateField(
        label="Measured on",
        required=False,
        validators=[demand_reckonable],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    method = forms.CharField(label="How it was measured", max_length=120, required=False)
    is_turned = forms.BooleanField(
        label="Height and width are right as typed", required=False, initial=False
    )

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        limits = limits_at(timezone.now())
        for name in MEASURES:
            reason = why_not_a_measure(name, cleaned.get(name), limits.get(name))
            if reason:
                self.add_error(name, reason)
        measured_on = cleaned.get("measured_on")
        if isinstance(measured_on, date):
            reason = why_not_that_day(measured_on, timezone.localdate())
            if reason:
                self.add_error("measured_on", reason)
        return cleaned

    @classmethod
    def initial_of(cls, facts: ObjectFacts | None) -> dict[str, object]:
        """Return what the form shows at first."""
        if facts is None:
            return {"painted_faces": "F", "flash_allowed": True, "uv_allowed": True}
        words = {True: "yes", False: "no", None: ""}
        values = {name: getattr(facts, name, None) for name in cls.base_fields}
        for name in ("framed", "glazed", "sealed"):
            values[name] = words[values[name]]
        values["read_record"] = facts.pk
        return values
