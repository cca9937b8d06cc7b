"""No form of the program answers in the framework's words: each is walked, sent empty and sent ill.

The framework's own phrases below are those of Django 5.2, `django.forms.fields`, `.models` and
`django.core.validators`.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Iterator

import pytest
from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import QueryDict
from django.template.loader import render_to_string
from django_filters import FilterSet

import imaging_requests
from imaging_requests.people.spoken import DAMAGED, SpokenForm

pytestmark = pytest.mark.django_db
PHRASES = (
    "This field",
    "Enter a",
    "Enter the",
    "Select a valid",
    "Ensure ",
    "is not one of the available",
    "No file was submitted",
    "The submitted file",
    "is not a valid value",
)


#: Rooms without pages, or whose import does something.
WITHOUT_FORMS = {"config", "migrations", "management", "imaging", "reckoning"}


def _modules() -> Iterator[object]:
    for found in pkgutil.walk_packages(imaging_requests.__path__, "imaging_requests."):
        if not {"config", "migrations", "management", "imaging", "reckoning"} & set(
            found.name.split(".")
        ):
            yield importlib.import_module(found.name)


def _classes(base: type) -> list[type]:
    kinds = {
        kind
        for module in _modules()
        for _, kind in inspect.getmembers(module, inspect.isclass)
        if issubclass(kind, base) and kind.__module__.startswith("imaging_requests.")
    }
    return sorted(kinds - {SpokenForm}, key=lambda kind: (kind.__module__, kind.__name__))


@pytest.fixture(scope="module")
def kinds() -> list[type]:
    """Every class of a form in the program."""
    return _classes(forms.BaseForm)


def _said(form: forms.BaseForm) -> list[str]:
    return [str(said) for errors in form.errors.values() for said in errors]


def _fields_of(kind: type[forms.BaseForm]) -> type[SpokenForm]:
    """The declared fields of a form without what its own beginning and cleaning ask for."""
    return type(kind.__name__, (SpokenForm,), dict(kind.base_fields))


def test_every_form_and_filter_of_the_program_is_a_spoken_form(kinds: list[type]) -> None:
    filters = _classes(FilterSet)
    assert len(kinds) > 50
    assert len(filters) >= 8
    for kind in (*kinds, *(each._meta.form for each in filters)):
        assert issubclass(kind, SpokenForm), kind


def test_a_form_that_is_sent_empty_names_what_is_missing(kinds: list[type]) -> None:
    for kind in kinds:
        form = _fields_of(kind)(QueryDict(""), {})
        required = {name for name, field in form.fields.items() if field.required}
        assert required == set(form.errors), kind
        for said in _said(form):
            assert not said.startswith(PHRASES), (kind, said)


@pytest.mark.parametrize("value", ["never there", "-1e400", "\x00", "9" * 5_000])
def test_a_form_that_is_sent_nonsense_says_it_in_our_words(kinds: list[type], value: str) -> None:
    refused = 0
    for kind in kinds:
        bare = _fields_of(kind)
        sent = QueryDict(mutable=True)
        for name in bare.base_fields:
            sent[name] = value
        files = {name: SimpleUploadedFile("empty.tif", b"") for name in bare.base_fields}
        for said in _said(bare(sent, files)):
            refused += 1
            assert not said.startswith(PHRASES), (kind, said)
    assert refused > 50, "too little was refused to mean anything"


class _Sample(SpokenForm):
    area = forms.FloatField(label="Area, % of the face", max_value=100)
    phase = forms.IntegerField(min_value=1)
    day = forms.DateField(label="Day")
    box = forms.DateField(label="Box", widget=forms.DateInput(attrs={"type": "date"}))
    instant = forms.DateTimeField(
        label="Instant", widget=forms.DateTimeInput(attrs={"type": "datetime-local"})
    )
    address = forms.EmailField(label="Address")
    name = forms.CharField(label="Name", max_length=4)
    kind = forms.ChoiceField(label="Kind", choices=(("a", "a"),))
    several = forms.MultipleChoiceField(label="Several", choices=(("a", "a"),))
    agreed = forms.BooleanField(label="Agreed")
    ours = forms.CharField(error_messages={"required": "Say it in your words."})
    read_version = forms.IntegerField(widget=forms.HiddenInput)


def test_the_sentences_name_the_label_and_say_what_to_do() -> None:
    assert _Sample({}).errors == {
        "area": ["“Area, % of the face” is missing. Fill it in."],
        "phase": ["“Phase” is missing. Fill it in."],
        "day": ["“Day” is missing. Fill it in."],
        "box": ["“Box” is missing. Fill it in."],
        "instant": ["“Instant” is missing. Fill it in."],
        "address": ["“Address” is missing. Fill it in."],
        "name": ["“Name” is missing. Fill it in."],
        "kind": ["“Kind” is not chosen yet. Choose one from the list."],
        "several": ["“Several”: nothing is ticked. Choose at least one."],
        "agreed": ["“Agreed” is not ticked. Tick it, or leave this form."],
        "ours": ["Say it in your words."],
        "read_version": [DAMAGED],
    }
    sent = {
        "area": "101",
        "phase": "0",
        "day": "soon",
        "box": "2026-04-31",
        "instant": "soon",
        "address": "at home",
        "name": "Runa of the quay",
        "kind": "b",
        "several": ["a", "c"],
        "agreed": "on",
        "ours": "yes",
        "read_version": "x",
    }
    assert _Sample(sent).errors == {
        "area": ["“Area, % of the face” must be 100 or less."],
        "phase": ["“Phase” must be 1 or more."],
        "day": ["“Day” takes a day, written as 2026-04-24."],
        "box": ["“Box” is no day as it stands. Fill in the whole day, or choose it in the box."],
        "instant": [
            "“Instant” is no day and time as it stands. Fill in all of it, or choose it in the box."
        ],
        "address": ["“Address” takes an e-mail address, such as name@museum.example."],
        "name": ["“Name” takes at most 4 characters and has 16. Shorten it."],
        "kind": ["“Kind”: what was chosen is not on offer any more. Choose from the list."],
        "several": ["“Several”: what was chosen is not on offer any more. Choose from the list."],
        "read_version": [DAMAGED],
    }


def test_the_summary_lists_each_once_and_what_no_field_shows() -> None:
    shown = render_to_string("components/form_errors.html", {"form": _Sample({})})
    assert "“Day” is missing. Fill it in.</a>" in shown
    assert ">Ours</a>: Say it in your words." in shown
    assert f"<li>{DAMAGED}</li>" in shown
