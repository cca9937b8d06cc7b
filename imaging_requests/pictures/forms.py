"""Forms that restrict pictures, lift that again, and open pictures to people from outside."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.text import Truncator

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.pictures.models import RestrictionKind, Sight
from imaging_requests.requesting.models import Technique

WHOLE = "object"
SURFACE, PICTURE = "surface:", "picture:"


def start_of(day: date) -> datetime:
    """Return the first instant of a day by the studio's clock."""
    return timezone.make_aware(datetime.combine(day, time(0)))


def _day(label: str, *, required: bool, help_text: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=required,
        help_text=help_text,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        validators=[demand_reckonable],
    )


class RestrictionForm(SpokenForm):
    """What is kept from whom, why, and until when."""

    scope = forms.ChoiceField(label="Restrict")
    techniques = forms.MultipleChoiceField(
        choices=Technique.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked means all.",
    )
    kind = forms.ChoiceField(label="Because of", choices=RestrictionKind.choices)
    reason = forms.CharField(
        label="Reason",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Shown to people of the house who meet the restriction.",
    )
    ends_on = _day(
        "Ends on",
        required=False,
        help_text="From the beginning of this day the pictures are open. An embargo needs it.",
    )

    def __init__(self, *args: Any, scopes: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["scope"].choices = scopes  # type: ignore[attr-defined]

    def values(self) -> dict[str, Any]:
        """Return what the action takes."""
        cleaned = self.cleaned_data
        scope, ends_on = cleaned["scope"], cleaned["ends_on"]
        return {
            "kind": cleaned["kind"],
            "reason": cleaned["reason"],
            "techniques": cleaned["techniques"],
            "surface": scope.removeprefix(SURFACE) if scope.startswith(SURFACE) else "",
            "chain": UUID(scope.removeprefix(PICTURE)) if scope.startswith(PICTURE) else None,
            "until": start_of(ends_on) if ends_on else None,
        }


class EndForm(SpokenForm):
    """Why a restriction or a grant ends now."""

    reason = forms.CharField(max_length=400, widget=forms.Textarea(attrs={"rows": 2}))
    read_version = forms.IntegerField(widget=forms.HiddenInput)


class GrantForm(SpokenForm):
    """Which objects are opened to whom, how much, and until when."""

    person = forms.ModelChoiceField(
        queryset=User.objects.none(),
        empty_label="choose a person",
        help_text="Accounts of co-authors and lenders; the system keeper opens them.",
    )
    objects = forms.CharField(
        label="Objects",
        max_length=2000,
        help_text="Inventory numbers with commas between them. The parts of an object are "
        "opened with it.",
    )
    sight = forms.ChoiceField(label="What", choices=Sight.choices)
    last_day = _day("Last day", required=True, help_text="It ends with this day.")
    purpose = forms.CharField(max_length=240, help_text="The person reads it too.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = holders(  # type: ignore[attr-defined]
            Role.CO_AUTHOR, Role.LENDER
        )

    def clean_objects(self) -> list[int]:
        """Find every object by its number; an unknown number is named."""
        numbers = [part.strip() for part in self.cleaned_data["objects"].split(",")]
        found, unknown = [], []
        for number in dict.fromkeys(filter(None, numbers)):
            thing = CollectionObject.objects.filter(numbers__number__iexact=number).first()
            if thing is None:
                unknown.append(Truncator(number).chars(40))
            else:
                found.append(thing.pk)
        if unknown:
            raise forms.ValidationError(
                f"No object has the number {', '.join(unknown)}. Check it; nothing was opened."
            )
        if not found:
            raise forms.ValidationError("Name at least one object by its number.")
        return found

    def values(self) -> dict[str, Any]:
        """Return what the action takes."""
        cleaned = self.cleaned_data
        return {
            "person_id": cleaned["person"].pk,
            "object_ids": cleaned["objects"],
            "sight": cleaned["sight"],
            "until": start_of(cleaned["last_day"] + timedelta(days=1)),
            "purpose": cleaned["purpose"],
        }
