"""What the forms of treatments take in, keep and refuse."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime

import pytest
from django.http import QueryDict
from django.utils import timezone

from imaging_requests.treatments.forms import (
    DecideForm,
    EmergencyForm,
    StartForm,
    StepForm,
    TimesForm,
    TreatmentForm,
)
from imaging_requests.treatments.models import Intervention
from imaging_requests.treatments.queries import witnesses
from tests import factory

pytestmark = pytest.mark.django_db


def test_the_scope_comes_out_as_technique_and_face() -> None:
    form = TreatmentForm({"title": "Varnish removal", "scope": ["UV F", "XR T"]})
    assert form.is_valid(), form.errors
    assert form.cleaned_data["scope"] == [["UV", "F"], ["XR", "T"]]


def test_a_planned_end_before_the_beginning_is_refused_at_its_field() -> None:
    form = TreatmentForm(
        {
            "title": "Lining",
            "scope": ["UV F"],
            "planned_from": "2026-05-04",
            "planned_to": "2026-05-01",
        }
    )
    assert form.errors["planned_to"] == ["The planned end lies before the planned beginning."]


def test_kinds_of_step_come_from_the_table_in_force_without_incidents() -> None:
    factory.trigger_table()
    form = StepForm(now=factory.NOW)
    choices = dict(form.fields["type_row"].choices)
    assert choices[2] == "2. Varnish thinned or removed"
    assert 32 not in choices
    assert form.fields["direction"].help_text == (
        "Only for “Backing board put on / taken off”; the others say it by themselves."
    )
    sent = StepForm(
        {"type_row": "25", "face": "F", "phase": "1", "direction": "off", "read_version": "3"},
        now=factory.NOW,
    )
    assert sent.is_valid(), sent.errors
    assert (sent.values()["type_row"], sent.values()["direction"]) == (25, "off")
    assert "read_version" not in sent.values()


def test_times_are_the_studios_own() -> None:
    row = Intervention(started_at=factory.NOW, finished_at=factory.NOW)
    with timezone.override(zoneinfo.ZoneInfo("Europe/London")):
        form = TimesForm(
            {
                "started_at": "2026-04-14T09:00",
                "finished_at": "2026-04-14T11:30",
                "reason": "entered late",
                "read_version": "1",
            },
            step=row,
        )
        assert form.is_valid(), form.errors
    assert form.cleaned_data["started_at"].astimezone(UTC) == datetime(
        2026, 4, 14, 8, 0, tzinfo=UTC
    )
    assert "finished_at" not in TimesForm(step=Intervention(started_at=factory.NOW)).fields


def test_an_open_gate_asks_nothing_about_emergencies_and_a_shut_one_asks_why() -> None:
    runa, tibor = factory.conservator(), factory.conservator("Tibor")
    assert "is_emergency" not in StartForm(actor=runa, gate_is_open=True).fields
    sent = {"started_at": "2026-04-16T08:00", "read_version": "1", "is_emergency": "on"}
    form = StartForm(sent, actor=runa, gate_is_open=False)
    assert form.errors["emergency_reason"] == ["Say what could not wait."]
    own = StartForm(
        sent | {"emergency_reason": "smoke", "witness": runa.pk}, actor=runa, gate_is_open=False
    )
    assert "witness" in own.errors
    form = StartForm(
        sent | {"emergency_reason": "smoke", "witness": tibor.pk}, actor=runa, gate_is_open=False
    )
    assert form.is_valid(), form.errors
    emergency = form.emergency()
    assert emergency is not None
    assert (emergency.reason, emergency.witness_id) == ("smoke", tibor.pk)


def test_the_verdict_is_the_button_that_was_pressed() -> None:
    sent = QueryDict("reason=seen+at+ten+times&read_version=1&verdict=&verdict=valid")
    form = DecideForm(sent)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["verdict"] == "valid"
    none = DecideForm(QueryDict("reason=seen+at+ten+times&read_version=1&verdict="))
    assert none.errors["verdict"] == ["Press “still valid” or “out of date”."]


def test_an_emergency_is_completed_with_what_it_lacks() -> None:
    runa, tibor = factory.conservator(), factory.conservator("Tibor")
    people = witnesses(runa)
    form = EmergencyForm({"witness": ""}, witnesses=people, lacking=["witness"])
    assert "record_picture" not in form.fields
    assert form.errors == {
        "witness": ["“Named as witness” is not chosen yet. Choose one from the list."]
    }
    both = ["witness", "record_picture"]
    neither = EmergencyForm({"witness": ""}, witnesses=people, lacking=both)
    assert neither.non_field_errors() == ["Name the witness or say where the picture is kept."]
    assert EmergencyForm({"witness": tibor.pk}, witnesses=people, lacking=["witness"]).is_valid()
