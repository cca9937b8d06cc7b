"""A view may become a last look after its waiver was asked for or signed: two must sign then."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.people.models import Notice, User
from imaging_requests.progress.gates import gate_of
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.settle import settle, verify
from imaging_requests.reckoning.truth.gate import GateState
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.requesting import actions
from imaging_requests.requesting.models import OwedView, Waiver, WaiverProposal
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.models import Treatment
from tests import factory
from tests.factory import hours

pytestmark = pytest.mark.django_db
WHY = {"reason_code": "nothing_to_see", "text": "The varnish has gone already."}


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


@pytest.fixture
def people() -> dict[str, User]:
    return {
        "lead": factory.lead(),
        "tibor": factory.conservator("Tibor"),
        "curator": factory.curator(),
    }


@pytest.fixture
def view(people: dict[str, User]) -> OwedView:
    """UV before a surface cleaning, which is no last look."""
    obj = factory.museum_object("AR 0118")
    factory.entry(obj)
    factory.treatment(obj, (1,), by=people["tibor"], scope=[["UV", "F"]], code="T10")
    settle([obj.pk], now=timezone.now() - hours(1))
    return obj.owed_views.get(technique="UV", anchor="BT")


def plan_varnish_removal(view: OwedView) -> None:
    """The step after which UV of the front can never be made again."""
    treatment = Treatment.objects.get(pk=view.treatment_id)
    treatments.add_intervention(
        actor=treatment.conservator,
        treatment_id=treatment.pk,
        read_version=treatment.row_version,
        type_row=2,
    )
    settle([view.object_id])


def gate_state(view: OwedView) -> GateState:
    now = timezone.now()
    speech = speech_for([view.object_id])
    moment = look(gather_cases([view.object_id])[view.object_id], speech.tables, t=now, u=now)
    found = gate_of(moment, view.treatment.interventions.get(step=1))
    assert found is not None
    return found.state


def test_signing_asks_anew_whether_the_view_is_a_last_look(
    people: dict[str, User], view: OwedView
) -> None:
    proposal = actions.propose_waiver(actor=people["curator"], owed_view_id=view.pk, **WHY)
    assert proposal.is_last_look is False
    plan_varnish_removal(view)
    Notice.objects.all().delete()
    once = actions.sign_waiver(actor=people["lead"], proposal_id=proposal.pk, read_version=1)
    assert (once.state, once.is_last_look, once.first_signed_by) == ("asked", True, people["lead"])
    assert not Waiver.objects.exists()
    assert "needs a second signature" in Notice.objects.get(user=people["tibor"]).text
    with pytest.raises(DomainError, match="two different people"):
        actions.sign_waiver(actor=people["lead"], proposal_id=proposal.pk, read_version=2)
    actions.sign_waiver(actor=people["tibor"], proposal_id=proposal.pk, read_version=2)
    waiver = Waiver.objects.get()
    assert (waiver.is_last_look, waiver.co_signed_by) == (True, people["lead"]) or (
        waiver.granted_by,
        waiver.co_signed_by,
    ) == (people["lead"], people["tibor"])
    assert gate_state(view) is GateState.OPEN


def test_a_waiver_with_one_signature_gets_its_second_and_counts_from_then_on(
    people: dict[str, User], view: OwedView, client: Client
) -> None:
    waiver = actions.grant_waiver(actor=people["lead"], owed_view_id=view.pk, **WHY)
    with pytest.raises(IllegalStep, match="has the signatures that it needs"):
        actions.co_sign_waiver(actor=people["tibor"], waiver_id=waiver.pk)
    assert gate_state(view) is GateState.OPEN
    plan_varnish_removal(view)
    assert gate_state(view) is GateState.SHUT
    treatment = reverse("progress:treatment", args=[view.treatment_id])
    page = reverse("requesting:waive", args=[view.pk])
    client.force_login(people["tibor"])
    shown = client.get(treatment).content.decode()
    assert f'<a href="{page}">Add the second signature</a>' in shown
    assert "as a last look it needs a second one" in shown
    address = reverse("requesting:waiver_co_sign", args=[waiver.pk])
    assert f'action="{address}"' in client.get(page).content.decode()
    book = client.get(reverse("requesting:waivers")).content.decode()
    assert "asks for a second signature" in book
    assert f'action="{address}"' in book
    client.force_login(people["lead"])
    assert f'action="{address}"' not in client.get(page).content.decode()
    assert client.post(address).status_code == 422, "the lead has signed already"
    client.force_login(people["tibor"])
    assert client.post(address).status_code == 302
    waiver.refresh_from_db()
    assert (waiver.co_signed_by, waiver.is_last_look) == (people["tibor"], True)
    assert gate_state(view) is GateState.OPEN
    assert "asks for a second" not in client.get(reverse("requesting:waivers")).content.decode()
    assert verify([view.object_id]) == []
    case = gather_cases([view.object_id])[view.object_id]
    earlier = look(
        case,
        speech_for([view.object_id]).tables,
        t=waiver.co_signed_at - timedelta(microseconds=1),
        u=timezone.now(),
    )
    assert {w.conservator for w in earlier.waivers[str(view.pk)]} == {""}


def test_refusing_an_ordinary_waiver_is_the_leads(
    people: dict[str, User], view: OwedView, client: Client
) -> None:
    proposal = actions.propose_waiver(actor=people["curator"], owed_view_id=view.pk, **WHY)
    refuse = reverse("requesting:waiver_refuse", args=[proposal.pk])
    client.force_login(people["tibor"])
    assert refuse not in client.get(reverse("requesting:waivers")).content.decode()
    assert client.post(refuse, {"words": "No.", "read_version": 1}).status_code == 403
    wanted = {"proposal_id": proposal.pk, "read_version": 1, "answer": "It must be made."}
    with pytest.raises(NotAllowed, match="granted or refused by the imaging lead"):
        actions.refuse_waiver(actor=people["tibor"], **wanted)
    client.force_login(people["lead"])
    assert refuse in client.get(reverse("requesting:waivers")).content.decode()
    plan_varnish_removal(view)
    client.force_login(people["tibor"])
    assert refuse in client.get(reverse("requesting:waivers")).content.decode()
    assert actions.refuse_waiver(actor=people["tibor"], **wanted).state == "refused"
    assert WaiverProposal.objects.get().answer == "It must be made."
