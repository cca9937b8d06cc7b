"""Two windows on one treatment: the second is told what changed, even if its form is gone."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people import audit
from imaging_requests.people.errors import StaleWrite
from imaging_requests.people.models import User
from imaging_requests.treatments import actions
from imaging_requests.treatments.models import DecisionCase, Incident, Intervention, Treatment
from imaging_requests.treatments.rules import GateAnswer, NewCase
from tests import factory

pytestmark = pytest.mark.django_db


@pytest.fixture
def runa() -> User:
    factory.rules()
    return factory.conservator()


@pytest.fixture
def step(runa: User) -> Intervention:
    """Varnish removal that began three hours ago."""
    begun = timezone.now() - timedelta(hours=3)
    planned = factory.treatment(factory.museum_object("AR 0038"), (2,), by=runa, code="T2")
    only = planned.interventions.get()
    return actions.start_intervention(
        actor=runa,
        intervention_id=only.pk,
        read_version=only.row_version,
        started_at=begun,
        gate=GateAnswer(intervention_id=only.pk, at=begun, is_open=True),
    )


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def words(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def at_the_studio(instant: datetime) -> datetime:
    return timezone.localtime(instant, ZoneInfo(str(settings.STUDIO_ZONE)))


def hours_ago(hours: float) -> str:
    return f"{at_the_studio(timezone.now()) - timedelta(hours=hours):%Y-%m-%dT%H:%M}"


def test_the_second_window_that_finishes_a_step_is_told_what_the_first_wrote(
    runa: User, step: Intervention
) -> None:
    client = signed_in(runa)
    address = reverse("progress:step_act", args=[step.pk, "finish"])
    read = {"read_version": step.row_version, "seen": "yes"}
    assert client.post(address, read | {"finished_at": hours_ago(2)}).status_code == 302
    step.refresh_from_db()
    assert step.finished_at is not None
    second = client.post(address, read | {"finished_at": hours_ago(1)})
    assert second.status_code == 409
    assert "Not saved. Runa changed step 1 of T2 while you were working on it, at " in words(second)
    differs = f"Finished at {at_the_studio(step.finished_at):%-d %b %Y, %H:%M}"
    assert differs in words(second), "what stands now, in the studio's own time"
    before = step.finished_at
    step.refresh_from_db()
    assert step.finished_at == before


def test_the_second_window_that_starts_a_step_is_told_as_well(
    runa: User, step: Intervention
) -> None:
    address = reverse("progress:step_act", args=[step.pk, "start"])
    late = {"read_version": step.row_version - 1, "started_at": hours_ago(1)}
    second = signed_in(runa).post(address, late)
    assert second.status_code == 409
    assert "Not saved. Runa changed step 1 of T2" in words(second)


def test_a_refusal_whose_form_still_stands_is_shown_once(runa: User, step: Intervention) -> None:
    address = reverse("progress:step_act", args=[step.pk, "finish"])
    wrong = {"read_version": step.row_version, "finished_at": hours_ago(5), "seen": "yes"}
    answer = signed_in(runa).post(address, wrong)
    assert answer.status_code == 422
    assert words(answer).count("Not saved.") == 1


def test_a_question_that_somebody_decided_meanwhile_says_so(runa: User, step: Intervention) -> None:
    picture = factory.deliverable(step.treatment.object, "RK", variant="L")
    case = NewCase(
        chain=picture.chain,
        technique="RK",
        face="F",
        variant="L",
        proposal="out_of_date",
        reason="The relief may show more.",
    )
    actions.finish_intervention(
        actor=runa,
        intervention_id=step.pk,
        read_version=step.row_version,
        finished_at=timezone.now() - timedelta(hours=1),
        cases=[case],
    )
    open_case = DecisionCase.objects.get()
    client = signed_in(runa)
    address = reverse("progress:decide", args=[open_case.pk])
    answer = {
        "read_version": open_case.row_version,
        "verdict": "valid",
        "reason": "The relief is as it was before.",
    }
    assert client.post(address, answer).status_code == 302
    second = client.post(address, answer | {"verdict": "out_of_date"})
    assert second.status_code in (409, 422)
    assert "Not saved. Runa changed" in words(second)
    open_case.refresh_from_db()
    assert open_case.verdicts.get().verdict == "valid"


def test_a_start_that_is_entered_late_lists_the_pictures_made_since_before_it_is_saved(
    runa: User,
) -> None:
    thing = factory.museum_object("AR 0070")
    planned = factory.treatment(thing, (30,), by=runa, code="T4").interventions.get()
    factory.deliverable(thing, "VF", captured_at=timezone.now() - timedelta(hours=1))
    client = signed_in(runa)
    address = reverse("progress:step_act", args=[planned.pk, "start"])
    sent = {"read_version": planned.row_version, "started_at": hours_ago(3)}
    listed = client.post(address, sent)
    assert listed.status_code == 422
    assert "Before you save" in words(listed)
    assert "will count as made while this step was under way, not before it." in words(listed)
    assert 'name="seen" value="yes"' in listed.content.decode()
    planned.refresh_from_db()
    assert planned.started_at is None
    assert "Before you save" not in words(client.post(address, sent | {"started_at": hours_ago(0)}))
    planned.refresh_from_db()
    assert planned.started_at is not None


def test_an_incident_that_is_entered_late_lists_the_pictures_made_since_before_it_is_saved(
    runa: User,
) -> None:
    thing = factory.museum_object("AR 0070")
    factory.deliverable(thing, "VF", captured_at=timezone.now() - timedelta(hours=1))
    client = signed_in(runa)
    address = reverse("progress:incident_new", args=[thing.pk])
    sent = {"kind": "impact", "occurred_at": hours_ago(3), "assigned_to": runa.pk, "note": "Knock"}
    listed = client.post(address, sent)
    assert listed.status_code == 422
    assert "will count as made after the incident, not before it." in words(listed)
    assert 'name="seen" value="yes"' in listed.content.decode()
    assert "Knock" in listed.content.decode()
    assert not Incident.objects.exists()
    assert client.post(address, sent | {"seen": "yes"}).status_code == 302
    assert Incident.objects.get().object_id == thing.pk


def test_an_incident_of_now_is_recorded_at_once(runa: User) -> None:
    thing = factory.museum_object("AR 0070")
    factory.deliverable(thing, "VF", captured_at=timezone.now() - timedelta(hours=1))
    sent = {"kind": "impact", "occurred_at": hours_ago(0), "assigned_to": runa.pk, "note": ""}
    address = reverse("progress:incident_new", args=[thing.pk])
    assert signed_in(runa).post(address, sent).status_code == 302
    assert Incident.objects.count() == 1


def test_a_treatment_that_got_a_step_meanwhile_says_who_added_it(
    runa: User, step: Intervention
) -> None:
    """Not who changed the treatment itself before that."""
    treatment = Treatment.objects.get()
    audit.record("treatments.resumed", actor=factory.lead(), subject=treatment)
    actions.add_intervention(
        actor=runa, treatment_id=treatment.pk, read_version=treatment.row_version, type_row=7
    )
    with pytest.raises(StaleWrite, match=r"^Runa changed T2 .* while you were working on it, at "):
        actions.pause_treatment(
            actor=runa,
            treatment_id=treatment.pk,
            read_version=treatment.row_version,
            reason="the room is needed",
        )
