"""Acts by which people put right who treats, what is planned, and what was entered by mistake."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.settle import settle, verify
from imaging_requests.treatments import actions
from imaging_requests.treatments.models import DecisionCase, Intervention, Treatment
from imaging_requests.treatments.rules import GateAnswer, NewCase
from tests import factory
from tests.web.test_progress_two_windows import signed_in, words

pytestmark = pytest.mark.django_db
REASON = "Runa is away until the middle of May"


@pytest.fixture
def runa() -> User:
    factory.rules()
    return factory.conservator()


@pytest.fixture
def tibor() -> User:
    return factory.conservator("Tibor")


@pytest.fixture
def treatment(runa: User) -> Treatment:
    """Two planned steps; the first began three hours ago."""
    planned = factory.treatment(factory.museum_object("AR 0038"), (2, 7), by=runa, code="T2")
    first = planned.interventions.get(step=1)
    begun = timezone.now() - timedelta(hours=3)
    actions.start_intervention(
        actor=runa,
        intervention_id=first.pk,
        read_version=first.row_version,
        started_at=begun,
        gate=GateAnswer(intervention_id=first.pk, at=begun, is_open=True),
    )
    planned.refresh_from_db()
    return planned


@pytest.fixture
def case(treatment: Treatment, runa: User) -> DecisionCase:
    """An open question of its first step, now finished."""
    first = treatment.interventions.get(step=1)
    picture = factory.deliverable(treatment.object, "IR", captured_at=factory.LONG_AGO)
    asked = NewCase(
        chain=picture.chain,
        technique="IR",
        face="F",
        proposal="valid",
        reason="Varnish removed. Is it still true?",
    )
    actions.finish_intervention(
        actor=runa,
        intervention_id=first.pk,
        read_version=first.row_version,
        finished_at=timezone.now() - timedelta(hours=1),
        cases=[asked],
    )
    treatment.refresh_from_db()
    return DecisionCase.objects.get()


def post(client: Client, name: str, pk: int, *args: str, **sent: Any) -> Any:
    return client.post(reverse(f"progress:{name}", args=[pk, *args]), sent)


def test_the_head_gives_a_treatment_to_somebody_else_and_says_why(
    treatment: Treatment, case: DecisionCase, runa: User, tibor: User
) -> None:
    head = signed_in(factory.head())
    page = reverse("progress:treatment", args=[treatment.pk])
    assert "Give the treatment to another conservator" in words(head.get(page))
    assert "to another conservator" not in words(signed_in(runa).get(page))
    sent = {"conservator_id": tibor.pk, "read_version": treatment.row_version, "reason": REASON}
    assert post(signed_in(runa), "treatment_reassign", treatment.pk, **sent).status_code == 403
    short = post(head, "treatment_reassign", treatment.pk, **sent | {"reason": "away"})
    assert short.status_code == 422
    assert "The reason has 4 characters" in words(short)
    assert "\naway</textarea>" in short.content.decode()
    stale = post(head, "treatment_reassign", treatment.pk, **sent | {"read_version": 1})
    assert stale.status_code == 409
    assert "T2" in words(stale)
    assert "Conservator Runa Tibor" in words(stale), "what stands, and what was chosen"
    assert f"\n{REASON}</textarea>" in stale.content.decode()
    done = head.post(reverse("progress:treatment_reassign", args=[treatment.pk]), sent, follow=True)
    assert "T2 is Tibor's now, with its open questions." in done.content.decode().replace(
        "&#x27;", "'"
    )
    treatment.refresh_from_db()
    case.refresh_from_db()
    assert (treatment.conservator, case.assigned_to) == (tibor, tibor)


def test_the_head_hands_one_question_on(
    treatment: Treatment, case: DecisionCase, runa: User, tibor: User
) -> None:
    head = signed_in(factory.head())
    assert "Give this question to another" in words(head.get(reverse("progress:decisions")))
    sent = {"conservator_id": tibor.pk, "read_version": case.row_version, "reason": REASON}
    assert post(signed_in(runa), "case_hand_on", case.pk, **sent).status_code == 403
    nobody = post(head, "case_hand_on", case.pk, **sent | {"conservator_id": ""})
    assert nobody.status_code == 422
    assert "“Conservator” is not chosen yet" in words(nobody)
    stale = post(head, "case_hand_on", case.pk, **sent | {"read_version": 0})
    assert stale.status_code == 409
    assert "while you were working on it" in words(stale)
    assert post(head, "case_hand_on", case.pk, **sent).status_code == 302
    case.refresh_from_db()
    treatment.refresh_from_db()
    assert (case.assigned_to, treatment.conservator) == (tibor, runa)


def test_an_answered_question_is_found_again_and_reopened_with_a_reason(
    case: DecisionCase, runa: User
) -> None:
    actions.decide_case(
        actor=runa,
        case_id=case.pk,
        read_version=case.row_version,
        verdict="valid",
        reason="compared at ten times",
    )
    case.refresh_from_db()
    head = signed_in(factory.head())
    assert "Reopen" not in words(head.get(reverse("progress:decisions")))
    decided = head.get(reverse("progress:decisions"), {"show": "decided"})
    assert "1 decision is made" in words(decided)
    assert "Reopen this decision" in words(decided)
    on_page = head.get(reverse("progress:treatment", args=[case.intervention.treatment_id]))  # type: ignore[union-attr]
    assert "Reopen this decision" in words(on_page)
    sent = {"read_version": case.row_version, "reason": "the cupping is flatter than it was"}
    lead = signed_in(factory.lead())
    assert post(lead, "case_reopen", case.pk, **sent).status_code == 403
    short = post(head, "case_reopen", case.pk, **sent | {"reason": "why"})
    assert short.status_code == 422
    assert "The reason has 3 characters" in words(short)
    assert "\nwhy</textarea>" in short.content.decode(), "the form is still there"
    assert post(head, "case_reopen", case.pk, **sent).status_code == 302
    case.refresh_from_db()
    assert case.state == DecisionCase.State.OPEN
    again = post(head, "case_reopen", case.pk, **sent)
    assert again.status_code == 409
    assert "Not saved." in words(again)


def test_the_plan_of_a_step_that_has_not_begun_is_changed(
    treatment: Treatment, runa: User, tibor: User
) -> None:
    second = treatment.interventions.get(step=2)
    client = signed_in(runa)
    page = client.get(reverse("progress:treatment", args=[treatment.pk]))
    assert words(page).count("Change what is planned") == 1, "only of the step not begun"
    sent = {"type_row": 6, "face": "F", "phase": 1, "read_version": second.row_version}
    sent |= {"label": "filling", "planned_on": "2030-05-04"}
    assert post(signed_in(tibor), "step_act", second.pk, "edit", **sent).status_code == 403
    wrong = post(client, "step_act", second.pk, "edit", **sent | {"planned_on": "in May"})
    assert wrong.status_code == 422
    assert 'value="filling"' in wrong.content.decode()
    done = client.post(reverse("progress:step_act", args=[second.pk, "edit"]), sent, follow=True)
    assert "The plan of step 2 is changed." in words(done)
    second.refresh_from_db()
    assert (second.type_row, second.label, str(second.planned_on)) == (6, "filling", "2030-05-04")
    stale = post(client, "step_act", second.pk, "edit", **sent | {"label": "cleaning"})
    assert stale.status_code == 409
    assert "Label filling cleaning" in words(stale)


def test_a_start_entered_by_mistake_is_taken_back(treatment: Treatment, runa: User) -> None:
    first = treatment.interventions.get(step=1)
    client = signed_in(runa)
    sent = {"read_version": first.row_version, "reason": "recorded on the wrong painting"}
    short = post(client, "step_act", first.pk, "take-back", **sent | {"reason": "oops"})
    assert short.status_code == 422
    address = reverse("progress:step_act", args=[first.pk, "take-back"])
    done = client.post(address, sent | {"seen": "yes"}, follow=True)
    assert "Step 1 is planned again." in words(done)
    first.refresh_from_db()
    assert (first.state, first.started_at) == ("planned", None)
    assert post(client, "step_act", first.pk, "take-back", **sent).status_code == 409
    assert verify([first.object_id]) == []


def test_what_a_finished_step_taken_back_changes_is_shown_before(
    treatment: Treatment, case: DecisionCase, runa: User
) -> None:
    first = Intervention.objects.get(treatment=treatment, step=1)
    client = signed_in(runa)
    sent = {"read_version": first.row_version, "reason": "recorded on the wrong painting"}
    late = factory.deliverable(treatment.object, "UV", captured_at=timezone.now())
    assert late.captured_at > first.finished_at  # type: ignore[operator]
    asked = post(client, "step_act", first.pk, "take-back", **sent)
    assert asked.status_code == 422
    assert "UV of the front, captured on" in words(asked)
    assert "will show another state" in words(asked)
    assert post(client, "step_act", first.pk, "take-back", **sent, seen="yes").status_code == 302
    case.refresh_from_db()
    assert case.state == DecisionCase.State.DROPPED


def test_what_is_owed_after_a_treatment_does_not_wait_for_a_dropped_step(
    treatment: Treatment, case: DecisionCase, runa: User
) -> None:
    second = treatment.interventions.get(step=2)
    client = signed_in(runa)
    sent = {"read_version": second.row_version, "reason": "lent before it could be done"}
    assert post(client, "step_act", second.pk, "drop", **sent).status_code == 302
    settle([treatment.object_id])
    after = ViewStatus.objects.filter(object=treatment.object, owed_view__anchor="AT")
    assert after
    assert not after.filter(status="blocked").exists()
