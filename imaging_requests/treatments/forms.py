"""Forms for treatments, steps, times, incidents, emergencies and decisions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet

from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.models import User
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.treatments.models import Incident, Intervention, Verdict
from imaging_requests.treatments.queries import conservators, step_types, witnesses
from imaging_requests.treatments.rules import EmergencyStart
from imaging_requests.treatments.rules_steps import DIRECTIONS, NO_DIRECTION

#: The views a treatment's documentation can ask for, in the order in which they are shot.
SCOPE_CHOICES = (
    ("VF F", "Visible, flash: front"),
    ("VC F", "Visible, continuous light: front"),
    ("RK F", "Raking light: front"),
    ("UV F", "UV fluorescence: front"),
    ("IR F", "Infrared: front"),
    ("VF B", "Visible, flash: back"),
    ("RK B", "Raking light: back"),
    ("UV B", "UV fluorescence: back"),
    ("IR B", "Infrared: back"),
    ("XR T", "X-ray"),
    ("VF E", "Visible, flash: edges"),
)


class StudioInstantField(forms.DateTimeField):
    """Date and time of the studio, as the browser's own field sends them."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        formats = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"]
        super().__init__(
            widget=widget, input_formats=formats, validators=[demand_reckonable], **kwargs
        )


def _day(**kwargs: Any) -> forms.DateField:
    return forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        validators=[demand_reckonable],
        **kwargs,
    )


def _words(label: str, *, required: bool = True, help_text: str = "") -> forms.CharField:
    return forms.CharField(
        label=label,
        required=required,
        help_text=help_text,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


def _read_version() -> forms.IntegerField:
    return forms.IntegerField(widget=forms.HiddenInput)


class TreatmentForm(SpokenForm):
    """A treatment that is planned."""

    title = forms.CharField(label="What is to be done", max_length=200)
    planned_from = _day(label="Planned from", required=False)
    planned_to = _day(label="Planned to", required=False)
    scope = forms.MultipleChoiceField(
        label="Pictures its documentation asks for",
        choices=SCOPE_CHOICES,
        widget=forms.CheckboxSelectMultiple,
        help_text="Before, after, and where a step destroys something also in between.",
    )
    counts_for_catalogue = forms.BooleanField(
        label="These pictures count for the catalogue", required=False, initial=True
    )

    def clean_scope(self) -> list[list[str]]:
        return [pair.split() for pair in self.cleaned_data["scope"]]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        start, end = cleaned.get("planned_from"), cleaned.get("planned_to")
        if start and end and end < start:
            self.add_error("planned_to", "The planned end lies before the planned beginning.")
        return cleaned


class StepForm(SpokenForm):
    """A step that is planned; the values are those of the action that keeps it."""

    type_row = forms.TypedChoiceField(label="Kind of step", coerce=int)
    label = forms.CharField(label="Short name", max_length=80, required=False)
    face = forms.ChoiceField(
        label="Treated face",
        required=False,
        choices=(("", "the one its kind is done to"), ("F", "Front"), ("B", "Back")),
        help_text="Needed if both faces are painted.",
    )
    direction = forms.ChoiceField(
        label="Put on or taken off",
        required=False,
        choices=(("", NO_DIRECTION), *DIRECTIONS.items()),
    )
    phase = forms.IntegerField(label="Phase", min_value=1, max_value=99, initial=1)
    planned_on = _day(label="Planned for", required=False)
    area_cm2 = forms.FloatField(
        label="Treated area, cm²", required=False, min_value=0.01, help_text="If it is local."
    )
    area_percent = forms.FloatField(
        label="Treated area, % of the face", required=False, min_value=0.001, max_value=100
    )
    combined = forms.BooleanField(
        label="Combined step: done together with another on the same face", required=False
    )
    exposure_until = StudioInstantField(
        label="What it uncovers can be seen until",
        required=False,
        help_text="For a lining or board that comes off: the planned end of the window.",
    )
    materials = forms.CharField(label="Materials", max_length=240, required=False)
    read_version = _read_version()

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        table = trigger_table_in_force(now)
        self.fields["type_row"].choices = step_types(table)  # type: ignore[attr-defined]
        two_ways = [row.name for row in table.rows.values() if row.has_two_directions]
        self.fields["direction"].help_text = (
            f"Only for “{'”, “'.join(two_ways)}”; the others say it by themselves."
            if two_ways
            else ""
        )

    def values(self) -> dict[str, Any]:
        """Return what was filled in, by the names the action takes."""
        return {name: v for name, v in self.cleaned_data.items() if name != "read_version"}


class StartForm(SpokenForm):
    """When a step began; with a shut gate also why it could not wait."""

    started_at = StudioInstantField(label="Began at")
    is_emergency = forms.BooleanField(
        label="Emergency: begin although the gate is shut",
        required=False,
        help_text="Only if the object cannot wait. What is not recorded before is lost.",
    )
    emergency_reason = _words(
        "Why it could not wait", required=False, help_text="An emergency needs it."
    )
    record_picture = forms.CharField(
        label="Where the picture made on the spot is kept",
        max_length=240,
        required=False,
        help_text="A telephone picture will do as evidence; it never counts as a technical view. "
        "It is owed within the same time as the witness.",
    )
    witness = forms.ModelChoiceField(
        label="Named as witness",
        queryset=User.objects.none(),
        required=False,
        empty_label="nobody yet",
        help_text="Can be named later, within the time the trigger table sets.",
    )
    read_version = _read_version()

    def __init__(self, *args: Any, actor: User, gate_is_open: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["witness"].queryset = witnesses(actor)  # type: ignore[attr-defined]
        # Needed with the tick above it only, so that no label says that it may stay empty.
        self.fields["emergency_reason"].is_needed = True  # type: ignore[attr-defined]
        if gate_is_open:
            for name in ("is_emergency", "emergency_reason", "record_picture", "witness"):
                del self.fields[name]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("is_emergency") and not (cleaned.get("emergency_reason") or "").strip():
            self.add_error("emergency_reason", "Say what could not wait.")
        return cleaned

    def emergency(self) -> EmergencyStart | None:
        """Return the emergency, if one was declared."""
        values = self.cleaned_data
        if not values.get("is_emergency"):
            return None
        witness: User | None = values.get("witness")
        return EmergencyStart(
            reason=values["emergency_reason"],
            record_picture=values["record_picture"],
            witness_id=None if witness is None else witness.pk,
        )


class FinishForm(SpokenForm):
    """When a step ended."""

    finished_at = StudioInstantField(label="Ended at")
    read_version = _read_version()


class TimesForm(SpokenForm):
    """When a step really began and ended, and how that came out."""

    started_at = StudioInstantField(label="Began at")
    finished_at = StudioInstantField(label="Ended at")
    reason = _words("Why the recorded times were wrong")
    read_version = _read_version()

    def __init__(self, *args: Any, step: Intervention, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if step.finished_at is None:
            del self.fields["finished_at"]


class ReasonForm(SpokenForm):
    """A reason, for dropping a step, pausing, taking a start back."""

    reason = _words("Why")
    read_version = _read_version()


class DecideForm(SpokenForm):
    """The answer to a question; the verdict is the button that was pressed."""

    reason = _words("What you saw", help_text="Write it so that others can follow it later.")
    verdict = forms.ChoiceField(
        widget=forms.HiddenInput,
        choices=[(v.value, v.label) for v in (Verdict.VALID, Verdict.OUT_OF_DATE)],
        error_messages={"required": "Press “still valid” or “out of date”."},
    )
    read_version = _read_version()


class ReassignForm(SpokenForm):
    """Another conservator for a treatment or a question, and why."""

    conservator_id = forms.TypedChoiceField(label="Conservator", coerce=int)
    reason = _words("Why it changes hands", help_text="The conservator who had it reads it too.")
    read_version = _read_version()

    def __init__(self, *args: Any, people: Sequence[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["conservator_id"].choices = [  # type: ignore[attr-defined]
            ("", "choose a conservator"),
            *((person.pk, person.name) for person in people),
        ]


class IncidentForm(SpokenForm):
    """What happened to an object, when, and who looks at it."""

    kind = forms.ChoiceField(label="What happened", choices=Incident.Kind.choices)
    occurred_at = StudioInstantField(label="When")
    assigned_to = forms.ModelChoiceField(
        label="Conservator who looks at it",
        queryset=User.objects.none(),
        empty_label="choose a conservator",
    )
    note = _words("In your words", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["assigned_to"].queryset = conservators()  # type: ignore[attr-defined]


class EmergencyForm(SpokenForm):
    """What an emergency start still lacks: its witness, and where the record picture is."""

    witness = forms.ModelChoiceField(
        label="Named as witness",
        queryset=User.objects.none(),
        required=False,
        empty_label="nobody yet",
    )
    record_picture = forms.CharField(
        label="Where the picture made on the spot is kept", max_length=240, required=False
    )

    def __init__(
        self, *args: Any, witnesses: QuerySet[User], lacking: Sequence[str], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["witness"].queryset = witnesses  # type: ignore[attr-defined]
        for name in {"witness", "record_picture"} - set(lacking):
            del self.fields[name]
        if len(self.fields) == 1:
            next(iter(self.fields.values())).required = True

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if len(self.fields) != 1 and not any(cleaned.values()):
            raise forms.ValidationError("Name the witness or say where the picture is kept.")
        return cleaned
