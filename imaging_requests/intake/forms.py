"""Forms of drops and of the sorting table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from imaging_requests.intake.actions.placing import Choice
from imaging_requests.intake.decisions import Why
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.models import Frame, FrameRole, FrameState
from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.requests import whole_number
from imaging_requests.people.spoken import SpokenForm

DURATION = re.compile(r"(?:(?P<h>\d{1,6}):)?(?P<m>\d{1,2}):(?P<s>\d{1,2})")
INSTANT_FORMATS = ["%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M"]
SLOW, FAST = "slow", "fast"
#: Seconds from one frame without a time to the next, unless somebody says otherwise.
USUAL_INTERVAL_S, LONGEST_INTERVAL_S = 1, 3_600
NO_LINES = "choose a session above"
#: Kinds of reasons with which the camera's time of a frame is in doubt.
DOUBTED = (Why.TIME, Why.CLOCK, Why.SESSION)
#: Before a place that is taken: what lies there is set aside as a spare.
INSTEAD = "instead/"

Choices = list[Any]


class DropForm(SpokenForm):
    """What the files of a new drop were shot for."""

    shot_for = forms.ChoiceField(
        label="What was shot",
        required=False,
        help_text=(
            "A shot line is best: its frames then find their places by themselves. With a session "
            "alone, only frames that leave no doubt are placed; with neither, all wait for you."
        ),
    )
    note = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, choices: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        shot_for = self.fields["shot_for"]
        assert isinstance(shot_for, forms.ChoiceField)
        shot_for.choices = [("", "Not known yet"), *choices]

    def wanted(self) -> tuple[int | None, int | None]:
        """Return the session or the shot line that was chosen."""
        kind, _, key = str(self.cleaned_data["shot_for"]).partition(":")
        chosen = int(key) if key else None
        return (chosen, None) if kind == "session" else (None, chosen)


class _ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class _ManyFilesField(forms.FileField):
    """Several files from one control."""

    widget = _ManyFiles

    def clean(self, data: Any, initial: Any = None) -> Any:
        files = data if isinstance(data, list | tuple) else [data] if data else []
        if not files and self.required:
            raise forms.ValidationError("No file was chosen. Choose one or more, then send them.")
        return list(files)


#: What a browser writes in the name of a file that is sent with a form (HTML Living Standard,
#: "multipart/form-data encoding algorithm"); nothing else in a name is escaped, "%" neither.
ESCAPED = (("%22", '"'), ("%0D", "\r"), ("%0A", "\n"))


def sent_name(written: str) -> str:
    """The name of a file as it is on its disk, from the name that came with a form.

    >>> sent_name("panel %22left%22 50%.tif")
    'panel "left" 50%.tif'
    """
    for escaped, character in ESCAPED:
        written = written.replace(escaped, character)
    return written


class UploadForm(SpokenForm):
    """Files sent in one go, for browsers without scripts."""

    offered = _ManyFilesField(
        label="Files",
        help_text=(
            "TIFF, DICOM, camera raw, JPEG or PNG, as many as you like. Nothing in a file is ever "
            "changed."
        ),
    )

    def chosen(self) -> list[Any]:
        """Return the files that came."""
        files: list[Any] = self.cleaned_data["offered"]
        return files


class ClockForm(SpokenForm):
    """How far the camera's clock was off while the files of a drop were shot."""

    read_version = forms.IntegerField(widget=forms.HiddenInput)
    amount = forms.CharField(
        label="The camera's clock was off by",
        help_text="Hours, minutes and seconds: 1:00:00, or 0:12. 0:00 takes a correction back.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "size": 9}),
    )
    direction = forms.ChoiceField(
        label="and it was",
        choices=((SLOW, "slow: it showed an earlier time"), (FAST, "fast: it showed a later time")),
    )

    def clean_amount(self) -> float:
        match = DURATION.fullmatch(str(self.cleaned_data["amount"]).strip())
        if match is None:
            raise forms.ValidationError(
                "Write it as hours, minutes and seconds with colons, such as 1:00:00."
            )
        parts = {name: int(text or 0) for name, text in match.groupdict().items()}
        return float(parts["h"] * 3600 + parts["m"] * 60 + parts["s"])

    def offset_s(self) -> float:
        """Return the seconds to add to the camera's clock."""
        amount = float(self.cleaned_data["amount"])
        return amount if self.cleaned_data["direction"] == SLOW else -amount


def spot_value(spot: Spot, role: str = FrameRole.VIEW) -> str:
    """Write a place as the value of a choice; what a frame is for only if it is no view."""
    value = f"{spot.line_id}:{spot.tile_y}:{spot.tile_x}:{spot.focus_slice}:{spot.ev:g}"
    return value if role == FrameRole.VIEW else f"{value}:{role}"


def read_spot(value: str) -> tuple[Spot, str]:
    """Read what `spot_value` wrote: the place, and what the frame is for.

    Raises `ValueError` for anything else.
    """
    line_id, tile_y, tile_x, focus_slice, ev, *rest = value.removeprefix(INSTEAD).split(":")
    role = FrameRole(":".join(rest)) if rest else FrameRole.VIEW
    spot = Spot(
        _bounded(line_id), _bounded(tile_y), _bounded(tile_x), _bounded(focus_slice), float(ev)
    )
    return spot, role.value


def _bounded(text: str) -> int:
    number = whole_number(text)
    if number is None:
        raise ValueError(f"{text[:40]} is no number that could be stored")
    return number


class _PlaceField(forms.ChoiceField):
    """A place; one that was taken meanwhile is refused by the action, with the reason."""

    def valid_value(self, value: Any) -> bool:
        try:
            read_spot(str(value))
        except ValueError:
            return False
        return True


class _LineField(forms.ChoiceField):
    """A shot line; one that was filled meanwhile is said by the page, with who filled it."""

    def valid_value(self, value: Any) -> bool:
        return whole_number(str(value)) is not None


class SortingForm(SpokenForm):
    """One page of the sorting table: a tick, a place and, where it is unknown, a time per frame."""

    def __init__(
        self,
        *args: Any,
        frames: Sequence[Frame],
        places: dict[int, Choices],
        line_choices: Choices,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.frames = {frame.pk: frame for frame in frames}
        nothing = "choose a line" if line_choices else NO_LINES
        self.fields["line"] = _LineField(
            label="Shot line for all ticked", required=False, choices=[("", nothing), *line_choices]
        )
        for name, label in (("first", "Also frames from number"), ("last", "to number")):
            self.fields[name] = forms.IntegerField(
                label=label,
                required=False,
                min_value=1,
                max_value=len(frames),
                widget=forms.NumberInput(attrs={"size": 3, "inputmode": "numeric"}),
            )
        if any(is_time_doubted(frame) for frame in frames):
            self._ask_for_times()
        for frame in frames:
            name = frame.first_name
            self.fields[f"tick-{frame.pk}"] = forms.BooleanField(
                label=f"Tick {name}", required=False
            )
            self.fields[f"version-{frame.pk}"] = forms.IntegerField(
                widget=forms.HiddenInput, initial=frame.row_version, required=False
            )
            self.fields[f"place-{frame.pk}"] = _PlaceField(
                label=f"Place of {name}", required=False, choices=places[frame.pk]
            )
            if is_time_doubted(frame) or frame.waiting_reason == Why.BY_HAND:
                self.fields[f"taken-{frame.pk}"] = forms.DateTimeField(
                    label=f"When {name} was taken",
                    required=False,
                    input_formats=INSTANT_FORMATS,
                    validators=[demand_reckonable],
                    widget=forms.TextInput(attrs={"placeholder": "2026-04-16 09:12", "size": 17}),
                    error_messages={"invalid": "Write the time as 2026-04-16 09:12, studio time."},
                )

    def _ask_for_times(self) -> None:
        self.fields["first_taken"] = forms.DateTimeField(
            label="True time of the first ticked whose time is in doubt",
            required=False,
            input_formats=INSTANT_FORMATS,
            validators=[demand_reckonable],
            widget=forms.TextInput(attrs={"placeholder": "2026-04-16 09:12", "size": 17}),
            error_messages={"invalid": "Write the time as 2026-04-16 09:12, studio time."},
        )
        self.fields["interval_s"] = forms.IntegerField(
            label="each next, seconds later",
            required=False,
            min_value=0,
            max_value=LONGEST_INTERVAL_S,
            initial=USUAL_INTERVAL_S,
            widget=forms.NumberInput(attrs={"size": 4, "inputmode": "numeric"}),
        )

    def _times(self) -> dict[int, datetime]:
        """Return when ticked frames whose time is in doubt were taken, as said for all at once.

        Those with a time of their camera keep their distance from the first of these, by however
        much its clock was off; those without one follow at the interval.
        """
        first: datetime | None = self.cleaned_data.get("first_taken")
        step_s = self.cleaned_data.get("interval_s")
        step = timedelta(seconds=USUAL_INTERVAL_S if step_s is None else step_s)
        if first is None:
            return {}
        times: dict[int, datetime] = {}
        last, shift = first - step, None
        for frame in (self.frames[pk] for pk in self.ticked()):
            if not is_time_doubted(frame):
                continue
            if frame.captured_at is None:
                last += step
            else:
                shift = last + step - frame.captured_at if shift is None else shift
                last = frame.captured_at + shift
            times[frame.pk] = last
        return times

    def ticked(self) -> list[int]:
        """Return the frames that were ticked or lie in the range, in the order shown."""
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        within = range(first or last or 0, (last or first or -1) + 1)
        return [
            pk
            for number, pk in enumerate(self.frames, 1)
            if self.cleaned_data.get(f"tick-{pk}") or number in within
        ]

    def moving(self) -> list[int]:
        """Return the ticked frames that still lie on the table."""
        return [pk for pk in self.ticked() if self.frames[pk].state == FrameState.WAITING]

    def versions(self) -> dict[int, int]:
        """Return the row version that the page had read of each ticked frame."""
        return {pk: self.cleaned_data.get(f"version-{pk}") or 0 for pk in self.moving()}

    def choices(self) -> list[Choice]:
        """Return the places chosen for ticked frames; those without one are left out."""
        return [
            self._choice(
                pk,
                *read_spot(self.cleaned_data[f"place-{pk}"]),
                instead=str(self.cleaned_data[f"place-{pk}"]).startswith(INSTEAD),
            )
            for pk in self.moving()
            if self.cleaned_data.get(f"place-{pk}")
        ]

    def choices_in_order(self, free: Sequence[Spot]) -> list[Choice]:
        """Give the ticked frames the free places of one line in the order shown."""
        return [self._choice(pk, spot) for pk, spot in zip(self.ticked(), free, strict=False)]

    def _choice(
        self, pk: int, spot: Spot, role: str = FrameRole.VIEW, *, instead: bool = False
    ) -> Choice:
        taken: datetime | None = self.cleaned_data.get(f"taken-{pk}") or self._times().get(pk)
        return Choice(
            frame_id=pk,
            read_version=self.cleaned_data.get(f"version-{pk}") or 0,
            spot=spot,
            role=role,
            captured_at=taken,
            instead=instead,
        )


def is_time_doubted(frame: Frame) -> bool:
    """Whether a person may have to say when a frame was taken."""
    return frame.captured_at is None or frame.waiting_reason in DOUBTED


class MovedForm(SpokenForm):
    """Frames that were moved a moment ago, with the versions that the move left: for undoing it."""

    moved = forms.CharField(widget=forms.HiddenInput)

    def clean_moved(self) -> dict[int, int]:
        try:
            return {
                _bounded(pk): _bounded(version)
                for pk, version in (
                    pair.split(":") for pair in str(self.cleaned_data["moved"]).split(",")
                )
            }
        except ValueError as error:
            raise forms.ValidationError("Reload the page; it is not clear what to undo.") from error


def posted_frames(data: Any) -> list[int]:
    """Return the frames that a sent page of the sorting table held, whatever they are now."""
    keys = (key.removeprefix("version-") for key in data if key.startswith("version-"))
    return [pk for key in keys if (pk := whole_number(key)) is not None]


def moved_value(frames: Sequence[Frame]) -> str:
    """Write frames and their versions as `MovedForm` reads them."""
    return ",".join(f"{frame.pk}:{frame.row_version}" for frame in frames)


def studio_text(instant: datetime | None) -> str:
    """Write an instant as the form reads it."""
    return f"{timezone.localtime(instant):%Y-%m-%d %H:%M:%S}" if instant else ""
