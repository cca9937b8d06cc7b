"""Forms of requests: what is wished, how the lead answers, what is signed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.requests import whole_number
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.requesting.models import Purpose, WaiverReason
from imaging_requests.requesting.overlaps import WishedView
from imaging_requests.requesting.words import view_words

DAY_HELP = "Year, month, day, as in 2026-04-24."

#: Every view that can be ticked: value and (technique, face, direction).
TICKS: dict[str, tuple[str, str, str]] = {
    **{f"{technique}-F": (technique, "F", "") for technique in ("VF", "VC", "UV", "IR")},
    **{f"RK-F-{direction}": ("RK", "F", direction) for direction in "LRTB"},
    **{f"{technique}-B": (technique, "B", "") for technique in ("VF", "VC", "UV", "IR")},
    **{f"RK-B-{direction}": ("RK", "B", direction) for direction in "LRTB"},
    "VF-E": ("VF", "E", ""),
    "XR-T": ("XR", "T", ""),
}


def ticks_for(views: Iterable[tuple[str, str, str]]) -> list[str]:
    """The boxes that stand for views given as technique, face and variant, in their own order.

    >>> ticks_for([("RK", "F", "L"), ("XR", "T", ""), ("RK", "F", "L detail 1")])
    ['RK-F-L', 'XR-T']
    """
    wanted = set(views)
    return [value for value, parts in TICKS.items() if parts in wanted]


class DayField(forms.DateField):
    """A day, typed as text so that a wrong one stays to be put right."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", DAY_HELP)
        kwargs.setdefault("validators", [demand_reckonable])
        kwargs.setdefault("input_formats", ["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y"])
        kwargs.setdefault(
            "widget",
            forms.DateInput(
                format="%Y-%m-%d", attrs={"inputmode": "numeric", "autocomplete": "off"}
            ),
        )
        kwargs.setdefault(
            "error_messages", {"invalid": "This is no day. Write it as in 2026-04-24."}
        )
        super().__init__(**kwargs)


class ChooseForm(SpokenForm):
    """Look for objects and entries; a plain GET form."""

    q = forms.CharField(
        label="Number, title or entry",
        required=False,
        max_length=120,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )


class WishForm(SpokenForm):
    """What is wished of the chosen objects, and what for."""

    views = forms.MultipleChoiceField(
        label="Views",
        choices=[(value, view_words(*parts)) for value, parts in TICKS.items()],
        error_messages={"required": "Tick at least one view."},
    )
    region_face = forms.ChoiceField(
        label="Region on",
        choices=(("", "no region: the whole face"), ("F", "the front"), ("B", "the back")),
        required=False,
    )
    region_left = forms.FloatField(label="Left, mm", required=False, min_value=0)
    region_top = forms.FloatField(label="Top, mm", required=False, min_value=0)
    region_width = forms.FloatField(label="Width, mm", required=False, min_value=0)
    region_height = forms.FloatField(label="Height, mm", required=False, min_value=0)
    region_density = forms.FloatField(
        label="Density, px/mm", required=False, min_value=0.1, max_value=500
    )
    purpose = forms.ChoiceField(label="Purpose", choices=Purpose.choices)
    why = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="One sentence; it decides what is made first.",
        error_messages={"required": "Say in one sentence what the pictures are needed for."},
    )
    wanted_by = DayField(label="Wanted by", required=False)
    counts_for_catalogue = forms.BooleanField(
        label="The catalogue entry is complete only with these", required=False
    )
    use_rights = forms.CharField(
        label="Use wished",
        required=False,
        max_length=160,
        help_text="Print, lecture, website, or only to look at.",
    )
    insists = forms.MultipleChoiceField(required=False)
    insists_because = forms.CharField(required=False, max_length=2000)

    REGION = ("region_left", "region_top", "region_width", "region_height", "region_density")

    def __init__(self, *args: Any, objects: Mapping[int, int | None], **kwargs: Any) -> None:
        """`objects` are the chosen objects, each with the entry it was chosen through or None."""
        super().__init__(*args, **kwargs)
        self.objects = objects
        insists = self.fields["insists"]
        if isinstance(insists, forms.MultipleChoiceField):
            insists.choices = [(f"{pk}:{view}", view) for pk in objects for view in TICKS]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        typed = [name for name in self.REGION if cleaned.get(name) is not None]
        face = cleaned.get("region_face")
        if typed and not face:
            self.add_error("region_face", "Say on which face the region lies.")
        if face:
            for name in self.REGION:
                if name not in typed and name not in self.errors:
                    self.add_error(name, "A region needs this number.")
            if len(self.objects) > 1:
                self.add_error(
                    "region_face",
                    "A region lies on one object. Choose one object, or ask for the whole face.",
                )
        return cleaned

    def wishes(self) -> list[WishedView]:
        """The wishes of a valid form, object by object."""
        data = self.cleaned_data
        insists, because = set(data["insists"]), data["insists_because"]
        found = []
        for object_id, entry_id in self.objects.items():
            for value in data["views"]:
                technique, face, direction = TICKS[value]
                has_region = bool(data["region_face"]) and data["region_face"] == face
                found.append(
                    WishedView(
                        object_id=object_id,
                        technique=technique,
                        face=face,
                        direction=direction,
                        detail_mm=tuple(data[name] for name in self.REGION[:4])
                        if has_region
                        else None,
                        px_per_mm=data["region_density"] if has_region else None,
                        entry_id=entry_id,
                        insists_because=because if f"{object_id}:{value}" in insists else "",
                    )
                )
        return found


class LinesForm(SpokenForm):
    """Ticked lines with the versions that were read; `read-<id>` carries a line's version."""

    lines = forms.MultipleChoiceField(error_messages={"required": "Tick the lines that are meant."})

    def __init__(self, *args: Any, line_ids: Sequence[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lines = self.fields["lines"]
        if isinstance(lines, forms.MultipleChoiceField):
            lines.choices = [(str(pk), str(pk)) for pk in line_ids]

    def read_versions(self) -> dict[int, int]:
        """The version that was read of each ticked line; 0 if the page did not say."""
        versions = {}
        for value in self.cleaned_data["lines"]:
            versions[int(value)] = whole_number(self.data.get(f"read-{value}")) or 0
        return versions


class AnswerForm(LinesForm):
    """The lead's answer to ticked lines."""

    answer = forms.ChoiceField(choices=(("agree", "Agree"), ("decline", "Decline")))
    promised_on = DayField(label="Promised for", required=False)
    reason = forms.CharField(
        label="Why declined",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed only for declining; the requester reads it.",
    )


class WaiverForm(SpokenForm):
    """Why a view need not be made."""

    reason_code = forms.ChoiceField(label="Reason", choices=WaiverReason.choices)
    text = forms.CharField(
        label="In words",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="So that somebody understands it in ten years.",
        error_messages={"required": "Write one sentence."},
    )
    valid_until = DayField(
        label="Valid until",
        required=False,
        help_text=f"This day included; empty: until somebody ends it. {DAY_HELP}",
    )

    def lapses_at(self) -> datetime | None:
        """The first instant at which the waiver no longer holds: midnight after its last day."""
        last: date | None = self.cleaned_data["valid_until"]
        if last is None:
            return None
        midnight = datetime.combine(last + timedelta(days=1), time(0))
        return timezone.make_aware(midnight)


class WordsForm(SpokenForm):
    """A reason in words, with the version that was read where there is one."""

    words = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write one sentence."},
    )
    read_version = forms.IntegerField(required=False, widget=forms.HiddenInput)


class NotApplicableForm(SpokenForm):
    """A view that does not apply to an object."""

    view = forms.ChoiceField(
        label="View", choices=[(value, view_words(*parts)) for value, parts in TICKS.items()]
    )
    words = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write one sentence."},
    )


class ReplaceForm(SpokenForm):
    """The view that stands for another one."""

    by = forms.TypedChoiceField(label="Replaced by", coerce=int)
    words = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Write one sentence."},
    )
    read_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, choices: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        by = self.fields["by"]
        if isinstance(by, forms.TypedChoiceField):
            by.choices = [(str(pk), words) for pk, words in choices]


class GapForm(SpokenForm):
    """The head's statement about what is lost."""

    text = forms.CharField(
        label="Statement",
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="It is shown on the page of the entry and in its row of the board.",
        error_messages={"required": "Write what is missing and why."},
    )


def add_refusal(form: forms.Form, error: Exception) -> None:
    """Show a refusal of an action above the form, with everything that was typed."""
    form.add_error(None, ValidationError(str(error)))
