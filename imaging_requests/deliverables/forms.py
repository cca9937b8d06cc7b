"""Forms for handing in, reviewing, recalling, lone work and packages."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from imaging_requests.collection.models import Entry
from imaging_requests.deliverables.models import Polarity
from imaging_requests.deliverables.rules import ReviewNumbers
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.treatments.forms import StudioInstantField


class VersionForm(forms.Form):
    """A step of a picture, from the row version the page showed."""

    read_version = forms.IntegerField(widget=forms.HiddenInput)


class HandInForm(VersionForm):
    """Putting a picture before a reviewer; an X-ray says how it shows density."""

    polarity = forms.ChoiceField(
        label="Polarity",
        choices=[(p.value, p.label) for p in (Polarity.NEGATIVE, Polarity.POSITIVE)],
        widget=forms.RadioSelect,
        help_text="The lead marker is the brightest thing, or the darkest.",
    )

    def __init__(self, *args: Any, is_x_ray: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_x_ray:
            del self.fields["polarity"]


class AcceptForm(VersionForm):
    """Accepting a picture; against a failed check only with a reason."""

    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    override_reason = forms.CharField(
        label="Why it is good enough although a check failed",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, may_override: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_override:
            del self.fields["override_reason"]


class RefuseForm(VersionForm):
    """Sending back or recalling, with reasons from the list and words of one's own."""

    reasons = forms.MultipleChoiceField(label="Reasons", widget=forms.CheckboxSelectMultiple)
    note = forms.CharField(
        label="What is wrong, and where",
        help_text="The photographer reads this at the easel.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, numbers: ReviewNumbers, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reasons"].choices = [  # type: ignore[attr-defined]
            (reason.code, reason.words) for reason in numbers.reasons.values()
        ]


class LoneWorkForm(forms.Form):
    """A stretch in which somebody works alone."""

    person = forms.ModelChoiceField(
        label="Who works alone", queryset=User.objects.none(), empty_label="choose a person"
    )
    since = StudioInstantField(label="From")
    until = StudioInstantField(label="Until")
    reason = forms.CharField(label="Why", widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, actor: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = holders(Role.PHOTOGRAPHER, Role.LEAD).exclude(pk=actor.pk)
        self.fields["person"].queryset = people  # type: ignore[attr-defined]


class EntryForm(forms.Form):
    """The entry whose pictures are to be filed."""

    entry = forms.ModelChoiceField(
        label="Entry", queryset=Entry.objects.none(), empty_label="choose an entry"
    )

    def __init__(self, *args: Any, entries: QuerySet[Entry], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["entry"].queryset = entries  # type: ignore[attr-defined]


class SealForm(forms.Form):
    """Which ready pictures of an entry are sealed together, and what for."""

    pictures = forms.TypedMultipleChoiceField(
        label="Pictures", coerce=int, widget=forms.CheckboxSelectMultiple
    )
    purpose = forms.CharField(
        label="Purpose",
        max_length=160,
        required=False,
        help_text="Left empty, it is the entry's number and title.",
    )

    def __init__(self, *args: Any, ready: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pictures"].choices = ready  # type: ignore[attr-defined]
        self.fields["pictures"].initial = [pk for pk, _ in ready]
