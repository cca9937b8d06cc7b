"""Forms of campaigns and sessions. Days and times are the studio's, whoever reads them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from django import forms
from django.db.models import Q, QuerySet

from imaging_requests.campaigns.models import Session, Station
from imaging_requests.campaigns.rules import NOT_DONE_WORDS
from imaging_requests.campaigns.words import local, studio_zone
from imaging_requests.people.forms import PeopleField
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.protocols.models import ProtocolVersion, VersionState
from imaging_requests.requesting.forms import DayField, WordsForm, add_refusal

__all__ = [
    "CampaignForm",
    "LightForm",
    "NotDoneForm",
    "PickForm",
    "SessionForm",
    "WordsForm",
    "add_refusal",
]

TIME_HELP = "Hours and minutes, as in 13:00."


class ClockField(forms.TimeField):
    """A time of day, typed as text so that a wrong one stays to be put right."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", TIME_HELP)
        kwargs.setdefault("input_formats", ["%H:%M", "%H.%M", "%H"])
        kwargs.setdefault(
            "widget",
            forms.TimeInput(format="%H:%M", attrs={"inputmode": "numeric", "autocomplete": "off"}),
        )
        kwargs.setdefault(
            "error_messages", {"invalid": "This is no time of day. Write it as in 13:00."}
        )
        super().__init__(**kwargs)


class CampaignForm(SpokenForm):
    """A stretch of capture and its goal."""

    name = forms.CharField(max_length=120, help_text="As in “Spring backs and X-ray”.")
    goal = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What is to be there at its end.",
    )
    starts_on = DayField(label="First day")
    ends_on = DayField(label="Last day")
    protocol = forms.ModelChoiceField(
        label="Protocol",
        queryset=ProtocolVersion.objects.none(),
        required=False,
        empty_label="none in particular",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        protocol = self.fields["protocol"]
        if isinstance(protocol, forms.ModelChoiceField):
            protocol.queryset = ProtocolVersion.objects.filter(state=VersionState.PUBLISHED).defer(
                "definition"
            )


class _PersonField(forms.ModelChoiceField):
    """One person; whose account is closed is still shown, and marked."""

    def label_from_instance(self, obj: Any) -> str:
        return str(obj) if obj.is_active else f"{obj} (account closed)"


class _HelpersField(PeopleField):
    label_from_instance = _PersonField.label_from_instance


class SessionForm(SpokenForm):
    """When, where and by whom; carries the version that was read when it edits."""

    station = forms.ModelChoiceField(
        queryset=Station.objects.none(), empty_label="choose a station"
    )
    photographer = _PersonField(queryset=User.objects.none(), empty_label="choose a photographer")
    day = DayField(label="Day")
    starts = ClockField(label="Start")
    ends = ClockField(label="End", help_text=f"{TIME_HELP} Earlier than the start: the next day.")
    helpers = _HelpersField(
        queryset=User.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )
    handlers = forms.IntegerField(
        label="Art handlers promised",
        min_value=0,
        max_value=20,
        initial=0,
        help_text="People without an account who come to place and turn the objects.",
    )
    note = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 2}))
    read_version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """Whoever `initial` names is offered too, even with a closed account or another role."""
        super().__init__(*args, **kwargs)
        people = _with(holders(Role.PHOTOGRAPHER, Role.LEAD), self.initial.get("photographer"))
        everybody = _with(
            holders(Role.PHOTOGRAPHER, Role.LEAD, Role.CONSERVATOR),
            *self.initial.get("helpers", ()),
        )
        for name, queryset in (
            ("station", Station.objects.filter(is_active=True)),
            ("photographer", people),
            ("helpers", everybody),
        ):
            field = self.fields[name]
            if isinstance(field, forms.ModelChoiceField):
                field.queryset = queryset

    @classmethod
    def initial_of(cls, session: Session, helpers: Sequence[User]) -> dict[str, Any]:
        """The session as it is, on the studio's clock."""
        start, end = local(session.starts_at), local(session.ends_at)
        return {
            "station": session.station_id,
            "photographer": session.photographer_id,
            "day": start.date(),
            "starts": start.time(),
            "ends": end.time(),
            "helpers": [person.pk for person in helpers],
            "handlers": session.handlers,
            "note": session.note,
            "read_version": session.row_version,
        }

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        photographer, helpers = cleaned.get("photographer"), cleaned.get("helpers")
        if photographer is not None and helpers is not None:
            cleaned["helpers"] = [person for person in helpers if person != photographer]
        return cleaned

    def span(self) -> tuple[datetime, datetime]:
        """Start and end as instants; an end earlier than the start is on the next day."""
        day: date = self.cleaned_data["day"]
        starts: time = self.cleaned_data["starts"]
        ends: time = self.cleaned_data["ends"]
        last = day if ends > starts else day + timedelta(days=1)
        zone = studio_zone()
        return (
            datetime.combine(day, starts, tzinfo=zone),
            datetime.combine(last, ends, tzinfo=zone),
        )


def _with(people: QuerySet[User], *present: int | None) -> QuerySet[User]:
    """The people, and those who are named already."""
    named = [pk for pk in present if pk is not None]
    offered = Q(pk__in=people.order_by().values("pk")) | Q(pk__in=named)
    return User.objects.filter(offered).order_by("name")


class PickForm(SpokenForm):
    """Owed views that are ticked for a session."""

    views = forms.TypedMultipleChoiceField(
        coerce=int, error_messages={"required": "Tick what is to be shot."}
    )
    read_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, view_ids: Sequence[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        views = self.fields["views"]
        if isinstance(views, forms.TypedMultipleChoiceField):
            views.choices = [(str(pk), str(pk)) for pk in view_ids]


class NotDoneForm(SpokenForm):
    """Why a line was not shot."""

    reason = forms.ChoiceField(
        choices=[(code.value, words) for code, words in NOT_DONE_WORDS.items()],
        error_messages={"required": "Choose a reason."},
    )
    words = forms.CharField(required=False, max_length=2000)
    read_version = forms.IntegerField(required=False)


class LightForm(SpokenForm):
    """Light received outside the sessions."""

    received_on = DayField(label="Day")
    lxh = forms.FloatField(label="Lux hours", min_value=0.1, max_value=10_000_000)
    note = forms.CharField(
        label="Where from",
        max_length=240,
        help_text="The exhibition, the film, the visit.",
    )
