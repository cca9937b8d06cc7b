"""Forms that register catalogues, entries and objects, and say where an object is."""

from __future__ import annotations

from typing import Any

from django import forms

from imaging_requests.collection.models import CollectionObject, Kind, Unavailability
from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.people.spoken import SpokenForm


def _day(label: str, *, required: bool = False) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=required,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        validators=[demand_reckonable],
    )


class CatalogueForm(SpokenForm):
    """A publication that the studio documents."""

    title = forms.CharField(max_length=200)
    edition = forms.CharField(max_length=80, required=False)
    image_lock_on = _day("Pictures lock on")
    text_lock_on = _day("Text locks on")
    printing_on = _day("Printing on")


class EntryForm(SpokenForm):
    """A numbered entry of a catalogue."""

    number = forms.CharField(max_length=20, help_text="As it will be printed: 12, 12a, 12–13.")
    title = forms.CharField(max_length=240)
    curator = forms.ModelChoiceField(
        queryset=User.objects.none(), required=False, empty_label="nobody yet"
    )
    weight = forms.IntegerField(
        min_value=1, max_value=5, initial=3, help_text="How much it counts when time is short."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["curator"].queryset = holders(Role.CURATOR)  # type: ignore[attr-defined]


class ObjectForm(SpokenForm):
    """An object, with its first number; its sizes are recorded on its own page."""

    number = forms.CharField(
        label="Inventory number",
        max_length=60,
        help_text="A number known already adds that object; a new one registers it.",
    )
    title = forms.CharField(max_length=240, required=False)
    kind = forms.ChoiceField(choices=Kind.choices, initial=Kind.PAINTING)
    part_of = forms.CharField(
        label="Part of the object with the number", max_length=60, required=False
    )
    owner = forms.CharField(max_length=160, required=False)
    consent_needed = forms.CharField(label="Consent needed for", max_length=240, required=False)

    def clean_part_of(self) -> CollectionObject | None:
        number = self.cleaned_data["part_of"].strip()
        if not number:
            return None
        found = CollectionObject.objects.filter(numbers__number__iexact=number).first()
        if found is None:
            raise forms.ValidationError(
                f"No object has the number {number}. Register the whole first."
            )
        return found


class StayForm(SpokenForm):
    """Where an object is from now on."""

    place = forms.CharField(max_length=120)
    since = forms.DateTimeField(
        label="Since",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
        validators=[demand_reckonable],
    )
    confirmed_by = forms.CharField(label="Confirmed by", max_length=120, required=False)


class UnavailableForm(SpokenForm):
    """A stretch in which the studio cannot have the object."""

    reason = forms.ChoiceField(choices=Unavailability.Reason.choices)
    since = _day("From", required=True)
    until = _day("Until")
    note = forms.CharField(max_length=240, required=False)


class MergeForm(SpokenForm):
    """A record is a double of another one."""

    into = forms.CharField(
        label="Number of the record that stays",
        max_length=60,
        help_text="Both numbers, all pictures and all events are kept, and it can be undone for a "
        "while.",
    )
    reason = forms.CharField(label="How you know that they are one object", widget=forms.Textarea)
    read_version = forms.IntegerField(widget=forms.HiddenInput)

    def clean_into(self) -> CollectionObject:
        number = self.cleaned_data["into"].strip()
        found = CollectionObject.objects.filter(numbers__number__iexact=number).first()
        if found is None:
            raise forms.ValidationError(f"No object has the number {number}. Check it.")
        return found


class PartForm(SpokenForm):
    """Two merged records were two objects after all."""

    reason = forms.CharField(label="Why they are two objects", widget=forms.Textarea)
    read_version = forms.IntegerField(widget=forms.HiddenInput)
