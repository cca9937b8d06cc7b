"""Forms for handing in, reviewing, recalling, lone work and packages."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from imaging_requests.collection.models import Entry, ObjectNumber
from imaging_requests.deliverables.joining import Plan
from imaging_requests.deliverables.models import Correction, Package, Polarity
from imaging_requests.deliverables.rules import ReviewNumbers
from imaging_requests.imaging.joining.words import ALL_TURNS
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.treatments.forms import StudioInstantField


class VersionForm(SpokenForm):
    """A step of a picture, from the row version the page showed."""

    read_version = forms.IntegerField(widget=forms.HiddenInput)


class StartAgainForm(VersionForm):
    """Beginning the next version; with a reason where the picture was to be shot again."""

    reason = forms.CharField(
        label="Why the same frames are good after all",
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="It had to be shot again. The next reviewer reads this.",
    )

    def __init__(self, *args: Any, is_asked_why: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_asked_why:
            del self.fields["reason"]


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


class RetestForm(SpokenForm):
    """Vouching that nothing was done between two pictures."""

    note = forms.CharField(
        label="How you know that nothing was done in between",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For example: “Yearly retest: taken down, put up and shot again the same day.”",
    )


class PlateMapForm(VersionForm):
    """Where each tile of a picture lies, and how: one choice of place and one of turn per tile."""

    note = forms.CharField(
        label="How you know",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For example: “The lead markers read 4 and 3.”",
    )

    def __init__(self, *args: Any, plan: Plan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.plan = plan
        columns, rows = plan.grid
        places = [
            (f"{column},{row}", f"column {column + 1}, row {row + 1}")
            for row in range(rows)
            for column in range(columns)
        ]
        turns = [(str(number), turn.words) for number, turn in enumerate(ALL_TURNS)]
        for number, plate in enumerate(plan.plates, 1):
            self.fields[f"place_{plate.frame}"] = forms.ChoiceField(
                label=f"Place of tile {number}", choices=places
            )
            self.fields[f"turn_{plate.frame}"] = forms.ChoiceField(
                label=f"Tile {number} lies in its file", choices=turns
            )

    def plates(self) -> list[dict[str, Any]]:
        """Return the tiles as the action takes them."""
        made = []
        for plate in self.plan.plates:
            column, row = self.cleaned_data[f"place_{plate.frame}"].split(",")
            turn = ALL_TURNS[int(self.cleaned_data[f"turn_{plate.frame}"])]
            made.append(
                {
                    "frame": plate.frame,
                    "column": int(column),
                    "row": int(row),
                    "quarters": turn.quarters,
                    "mirrored": turn.is_mirrored,
                }
            )
        return made


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


class RecallForm(RefuseForm):
    """Recalling: besides the reasons, what puts it right and since when it has been wrong."""

    kind = forms.ChoiceField(
        label="What puts it right",
        required=False,
        choices=[
            ("", "follows from the reasons"),
            *(c for c in Correction.Kind.choices if c[0] != Correction.Kind.WORDS),
        ],
    )
    wrong_since = StudioInstantField(
        label="Wrong since", required=False, help_text="Left empty, it is since it was captured."
    )
    meant_number = forms.CharField(
        label="Number of the object it really shows",
        required=False,
        max_length=60,
        help_text="Only if it was filed under another object.",
    )

    def clean_meant_number(self) -> str:
        """The number must be one in force; the object is then at hand as `meant_object_id`."""
        typed = str(self.cleaned_data["meant_number"]).strip()
        self.meant_object_id: int | None = None
        if typed:
            found = ObjectNumber.objects.filter(number__iexact=typed, in_force_to=None).first()
            if found is None:
                raise forms.ValidationError(
                    f"No object has the number {typed} now. Look it up on its own page."
                )
            self.meant_object_id = found.object_id
        return typed

    def values(self) -> dict[str, Any]:
        """What the recall takes."""
        given = dict(self.cleaned_data)
        del given["meant_number"]
        return given | {"meant_object_id": self.meant_object_id}


class WordsForm(VersionForm):
    """The right words about an accepted picture."""

    says = forms.CharField(label="The right words", widget=forms.Textarea(attrs={"rows": 2}))
    why = forms.CharField(
        label="What was wrong, and how it was found", widget=forms.Textarea(attrs={"rows": 2})
    )


class CloseForm(VersionForm):
    """Closing a correction that no picture will mend."""

    words = forms.CharField(
        label="Why no other picture will take its place", widget=forms.Textarea(attrs={"rows": 2})
    )


class ConfirmForm(SpokenForm):
    """That somebody outside confirmed, and how."""

    words = forms.CharField(label="How it was confirmed", required=False, max_length=200)


class HandOverForm(SpokenForm):
    """Who gets a package."""

    user = forms.ModelChoiceField(
        label="Somebody inside",
        queryset=User.objects.none(),
        required=False,
        empty_label="nobody inside",
    )
    recipient = forms.CharField(label="Or somebody outside", required=False, max_length=160)
    purpose = forms.CharField(label="For", required=False, max_length=160)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = User.objects.filter(is_active=True).order_by("name")
        self.fields["user"].queryset = people  # type: ignore[attr-defined]


class LoneWorkForm(SpokenForm):
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


class EntryForm(SpokenForm):
    """The entry whose pictures are to be filed."""

    entry = forms.ModelChoiceField(
        label="Entry", queryset=Entry.objects.none(), empty_label="choose an entry"
    )

    def __init__(self, *args: Any, entries: QuerySet[Entry], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["entry"].queryset = entries  # type: ignore[attr-defined]


class SealForm(SpokenForm):
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

    replaces = forms.ModelChoiceField(
        label="Replaces",
        queryset=Package.objects.none(),
        required=False,
        empty_label="no package",
        help_text="Everybody who had the old package gets this one.",
    )

    def __init__(
        self,
        *args: Any,
        ready: list[tuple[int, str]],
        replaceable: QuerySet[Package],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["replaces"].queryset = replaceable  # type: ignore[attr-defined]
        self.fields["pictures"].choices = ready  # type: ignore[attr-defined]
        self.fields["pictures"].initial = [pk for pk, _ in ready]
