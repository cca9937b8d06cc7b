"""Numbers longer than any column: every field of every form, every parameter of every view.

A number of 20 digits fits into no column of the database, and one of 5,000 is longer than what
Python reads as a number without being asked twice. Both are answered with a sentence, never with
an error of the program.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from django import forms
from django.db import models
from django.test import Client
from django.urls import get_resolver, reverse

import imaging_requests
from imaging_requests.people.forms import PeopleField
from imaging_requests.people.models import User
from tests import factory
from tests.guards import test_permission_walk as walk
from tests.intake_scene import open_drop

pytestmark = pytest.mark.django_db

PACKAGE = Path(imaging_requests.__file__).parent
LONG = ("9" * 20, "9" * 5000)


def form_classes() -> set[type[forms.BaseForm]]:
    """Every form of the program, wherever it is written."""
    for module in pkgutil.walk_packages([str(PACKAGE)], "imaging_requests."):
        if module.name.rpartition(".")[2] in {"forms", "register_forms", "filters"}:
            importlib.import_module(module.name)
    found, waiting = set(), [forms.BaseForm]
    while waiting:
        for each in waiting.pop().__subclasses__():
            waiting.append(each)
            if each.__module__.startswith("imaging_requests."):
                found.add(each)
    return found


def fields() -> Iterator[tuple[str, forms.Field]]:
    """Every field that a form declares; one without rows of its own is given all."""
    for form in form_classes():
        for name, field in getattr(form, "base_fields", {}).items():
            if isinstance(field, forms.ModelChoiceField):
                field = type(field)(queryset=field.queryset.model._default_manager.all())
            yield f"{form.__name__}.{name}", field


def answers_in_words(field: forms.Field, value: str) -> bool:
    """Whether the field takes the value or refuses it; an error of the program is neither."""
    is_many = isinstance(field, forms.MultipleChoiceField | forms.ModelMultipleChoiceField)
    for given in ([value], ["1", value]) if is_many else (value,):
        try:
            cleaned = field.clean(given)
            if isinstance(cleaned, models.QuerySet):
                list(cleaned)
        except forms.ValidationError:
            continue
        except (OverflowError, ValueError, TypeError):
            return False
    return True


def parameters() -> set[str]:
    """Every name that the program reads from an address or a sent form by itself."""
    found = set()
    for file in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                source, names = node.func, node.args[:1]
                if source.attr not in {"get", "getlist"}:
                    continue
                holder = source.value
            elif isinstance(node, ast.Subscript):
                holder, names = node.value, [node.slice]
            elif isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In):
                holder, names = node.comparators[0], [node.left]
            else:
                continue
            if isinstance(holder, ast.Attribute) and holder.attr in {"POST", "GET"}:
                found |= {
                    str(name.value)
                    for name in names
                    if isinstance(name, ast.Constant) and isinstance(name.value, str)
                }
    return found


def test_every_field_of_every_form_answers_a_long_number_in_words() -> None:
    factory.lead()
    seen = dict(fields())
    broken = {
        f"{name} with {len(value)} digits"
        for name, field in seen.items()
        for value in LONG
        if not answers_in_words(field, value)
    }
    assert broken == set()
    assert len(form_classes()) >= 50, "the guard saw too few forms to mean anything"
    assert len(seen) >= 150, "the guard saw too few fields to mean anything"


def test_a_planted_field_that_hands_any_number_to_the_database_is_found() -> None:
    factory.lead()
    bare = forms.ModelMultipleChoiceField(queryset=User.objects.all())
    assert not answers_in_words(bare, LONG[0])
    assert answers_in_words(PeopleField(queryset=User.objects.all()), LONG[0])


@pytest.fixture
def clients() -> dict[str, Client]:
    """A few people, one of most things that a form is about, and a browser for each role."""
    factory.rules()
    made = {}
    for role in ("lead", "keeper", "conservator", "photographer", "curator", "head"):
        made[role] = Client()
        made[role].force_login(factory.person(f"The {role}", role))
    people = {user.name.removeprefix("The "): user for user in User.objects.all()}
    for _ in range(2):
        thing = factory.museum_object()
        factory.entry(thing, curator=people["curator"])
        factory.treatment(thing, (2,), by=people["conservator"])
        factory.deliverable(thing, "UV", by=people["photographer"])
        factory.request_line(factory.request(people["curator"]), thing)
        line = factory.shot_line(factory.session(by=people["lead"]), thing)
        factory.frame(line)
        open_drop(people["photographer"], session=line.session)
    return made


def test_every_parameter_of_every_view_answers_a_long_number_in_words(
    clients: dict[str, Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    own = parameters()
    names = own | {name.partition(".")[2] for name, _ in fields()}
    assert len(own) >= 20, "the guard saw too few parameters to mean anything"
    assert len(names) >= 100, "the guard saw too few names to mean anything"
    pair = {"p": list(LONG)}
    asked = (
        ("post", dict.fromkeys(names, LONG[0])),
        ("post", dict.fromkeys(own, LONG[1]) | pair),
        ("get", dict.fromkeys(names, LONG[0])),
    )
    monkeypatch.setitem(walk.ARGUMENTS, "IntConverter", 1)
    sent, reached = 0, set()
    for name, pattern in walk.ALL_ROUTES:
        address = walk._address(get_resolver(), pattern)
        act = getattr(pattern.callback, "act", None)
        assert address is not None
        role = next((each for each in clients if act is None or each in act.roles), None)
        if role is None or name == "people:sign_out":
            continue
        for method, data in asked:
            answer = getattr(clients[role], method)(address, data)
            assert answer.status_code < 500, f"{method} {name} as {role}"
            sent += 1
            if answer.status_code == 404:
                break  # nothing of the kind is here, so the view reads nothing
            if answer.status_code not in {403, 405}:
                reached.add(name)
    assert sent >= 250, "the guard sent too little to mean anything"
    assert len(reached) >= 60, f"the guard reached only {len(reached)} views"


@pytest.mark.parametrize("value", LONG, ids=["20 digits", "5000 digits"])
def test_the_headers_of_an_upload_answer_a_long_number_in_words(
    clients: dict[str, Client], value: str
) -> None:
    for headers in (
        {"Upload-Length": value, "Upload-Metadata": "drop MQ=="},
        {"Upload-Length": "1", "Upload-Metadata": "drop OTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk5"},
    ):
        answer = clients["photographer"].post(
            reverse("intake:tus"), headers={"Tus-Resumable": "1.0.0", **headers}
        )
        assert answer.status_code == 400, answer.content
