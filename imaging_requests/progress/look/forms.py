"""Forms of region notes."""

from __future__ import annotations

import json
from typing import Any

from django import forms

from imaging_requests.deliverables.models import SurfaceNote
from imaging_requests.deliverables.rules_notes import LONGEST_TEXT
from imaging_requests.people.spoken import SpokenForm

BOX = ("left_mm", "top_mm", "width_mm", "height_mm")


class NoteForm(SpokenForm):
    """A note at a region: numbers of a rectangle, or corners that a script drew."""

    text = forms.CharField(
        label="Note", max_length=LONGEST_TEXT, widget=forms.Textarea(attrs={"rows": 3})
    )
    left_mm = forms.FloatField(label="From the left, mm", required=False, min_value=0)
    top_mm = forms.FloatField(label="From the top, mm", required=False, min_value=0)
    width_mm = forms.FloatField(label="Width, mm", required=False, min_value=0)
    height_mm = forms.FloatField(label="Height, mm", required=False, min_value=0)
    corners = forms.CharField(required=False, widget=forms.HiddenInput)
    back = forms.CharField(required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if self.errors:
            return data
        corners = self._corners(str(data.get("corners") or ""))
        if corners is not None:
            return data | {"shape": SurfaceNote.Shape.POLYGON, "points_mm": corners}
        box = [data.get(name) for name in BOX]
        if None in box:
            raise forms.ValidationError(
                "Draw a region on the picture, or type all four numbers of a rectangle."
            )
        left, top, width, height = (float(value) for value in box if value is not None)
        right, below = left + width, top + height
        points = [[left, top], [right, top], [right, below], [left, below]]
        return data | {"shape": SurfaceNote.Shape.RECTANGLE, "points_mm": points}

    def _corners(self, text: str) -> list[list[float]] | None:
        if not text:
            return None
        try:
            corners = [[float(x), float(y)] for x, y in json.loads(text)]
        except (ValueError, TypeError, OverflowError, RecursionError) as error:
            raise forms.ValidationError(
                "The outline could not be read. Draw it again, or type a rectangle."
            ) from error
        return corners


class NewNoteForm(NoteForm):
    """A note on a picture."""

    picture = forms.IntegerField(widget=forms.HiddenInput)


class ChangeNoteForm(NoteForm):
    """A note that is changed, from the row version the page showed."""

    read_version = forms.IntegerField(widget=forms.HiddenInput)
