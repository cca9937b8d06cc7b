"""What a form says of a value it cannot take: what is wrong, by the field's label, what to do.

Every form of the program is a `SpokenForm`. Where a field has words of its own, they stand; only
what the framework would say is said here instead, in one place. The framework's messages are
recognised by being translatable, which none of ours is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import Promise

DAMAGED = (
    "Something that this page sends along by itself is missing or damaged. Load the page again, "
    "then enter this once more."
)
NOT_ON_OFFER = "“{label}”: what was chosen is not on offer any more. Choose from the list."

#: What is missing, by the kind of field; the first kind that fits speaks.
MISSING: tuple[tuple[type[forms.Field], str], ...] = (
    (forms.BooleanField, "“{label}” is not ticked. Tick it, or leave this form."),
    (forms.FileField, "“{label}”: no file came. Choose one."),
    (forms.MultipleChoiceField, "“{label}”: nothing is ticked. Choose at least one."),
    (forms.ModelMultipleChoiceField, "“{label}”: nothing is ticked. Choose at least one."),
    (forms.ChoiceField, "“{label}” is not chosen yet. Choose one from the list."),
    (forms.ModelChoiceField, "“{label}” is not chosen yet. Choose one from the list."),
    (forms.Field, "“{label}” is missing. Fill it in."),
)
#: What cannot be read, by the kind of field.
UNREADABLE: tuple[tuple[type[forms.Field], str], ...] = (
    (forms.FloatField, "“{label}” takes a number, such as 12.5."),
    (forms.DecimalField, "“{label}” takes a number, such as 12.5."),
    (forms.IntegerField, "“{label}” takes a whole number, such as 12."),
    (forms.DateTimeField, "“{label}” takes a day and a time, written as 2026-04-16 09:12."),
    (forms.DateField, "“{label}” takes a day, written as 2026-04-24."),
    (forms.TimeField, "“{label}” takes a time of day, written as 13:00."),
    (forms.DurationField, "“{label}” takes hours, minutes and seconds, written as 0:30:00."),
    (forms.EmailField, "“{label}” takes an e-mail address, such as name@museum.example."),
    (forms.FileField, "“{label}”: the file did not arrive. Choose it again."),
    (forms.Field, "“{label}” cannot be read. Type it again."),
)
#: The same beside a box of the browser's own, which has its own way of writing a day and a time.
IN_A_BOX: Mapping[str, str] = {
    "date": "“{label}” is no day as it stands. Fill in the whole day, or choose it in the box.",
    "datetime-local": (
        "“{label}” is no day and time as it stands. Fill in all of it, or choose it in the box."
    ),
    "time": "“{label}” is no time of day as it stands. Fill in hours and minutes.",
}
#: Everything else, by the framework's code.
OTHERS: Mapping[str, str] = {
    "invalid_choice": NOT_ON_OFFER,
    "invalid_pk_value": NOT_ON_OFFER,
    "invalid_list": NOT_ON_OFFER,
    "min_value": "“{label}” must be {limit_value} or more.",
    "max_value": "“{label}” must be {limit_value} or less.",
    "step_size": "“{label}” goes in steps of {limit_value}.",
    "min_length": (
        "“{label}” needs at least {limit_value} characters and has {show_value}. Say more."
    ),
    "max_length": (
        "“{label}” takes at most {limit_value} characters and has {show_value}. Shorten it."
    ),
    "max_digits": "“{label}” has too many digits. Shorten the number.",
    "max_decimal_places": "“{label}” has too many digits behind the point. Round the number.",
    "max_whole_digits": "“{label}” has too many digits before the point. Check the number.",
    "overflow": "“{label}” is longer than can be reckoned with. Shorten it.",
    "missing": "“{label}”: no file came. Choose one.",
    "empty": "“{label}”: the file is empty. Choose another one.",
    "contradiction": "“{label}”: choose a file or tick to remove it, not both.",
    "null_characters_not_allowed": "“{label}” holds a sign that cannot be kept. Type it again.",
}


class SpokenForm(forms.Form):
    """A form that names a field by its label when it cannot take what was sent."""

    def add_error(self, field: str | None, error: Any) -> None:
        """Keep an error; what the framework says of a field is said in our words."""
        if field is not None and isinstance(error, ValidationError):
            for each in getattr(error, "error_list", ()):
                if isinstance(each.message, Promise):
                    each.message = self._said(field, each)
                    each.params = None
        super().add_error(field, error)

    def _said(self, name: str, error: ValidationError) -> str:
        bound = self[name]
        if bound.is_hidden:
            return DAMAGED
        label = str(bound.label)
        return sentence(bound.field, label, code=error.code or "", values=error.params or {})

    @property
    def to_put_right(self) -> Iterator[tuple[str, str, str]]:
        """What the summary above the form lists: where, label, sentence.

        The label is empty where the sentence names it, and the place where nothing is shown.
        """
        for bound in self.hidden_fields():
            if bound.errors:
                yield "", "", str(bound.errors[0])
        for bound in self.visible_fields():
            if bound.errors:
                label, said = str(bound.label), str(bound.errors[0])
                shown = "" if said.startswith(f"“{label}”") else label
                yield bound.id_for_label or bound.auto_id, shown, said


def sentence(
    field: forms.Field, label: str, *, code: str, values: Mapping[str, Any] | None = None
) -> str:
    """Say why a field cannot take a value.

    >>> sentence(forms.CharField(), "Why", code="required")
    '“Why” is missing. Fill it in.'
    >>> sentence(forms.FloatField(), "Height, mm", code="invalid")
    '“Height, mm” takes a number, such as 12.5.'
    >>> sentence(forms.IntegerField(), "Phase", code="min_value", values={"limit_value": 1})
    '“Phase” must be 1 or more.'
    """
    if code == "required":
        words = _of_kind(field, MISSING)
    elif code == "max_length" and isinstance(field, forms.FileField):
        words = "“{label}”: the file's name is too long. Give it a shorter one."
    else:
        words = OTHERS.get(code) or _in_a_box(field) or _of_kind(field, UNREADABLE)
    return words.format_map({**(values or {}), "label": label})


def _in_a_box(field: forms.Field) -> str:
    kind = getattr(field.widget, "input_type", "")
    return IN_A_BOX.get(kind, "")


def _of_kind(field: forms.Field, table: tuple[tuple[type[forms.Field], str], ...]) -> str:
    return next(words for kind, words in table if isinstance(field, kind))
