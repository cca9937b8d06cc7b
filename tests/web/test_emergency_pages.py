"""An emergency start owes a witness's name and a record picture, and pages say so until it has."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.treatments.models import EmergencyOverride, Treatment
from tests import factory

pytestmark = pytest.mark.django_db
REASON = "Water stood behind the canvas."


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


def begun(by: User, at: datetime, **more: object) -> tuple[Treatment, EmergencyOverride]:
    """A treatment whose only step began against a shut gate."""
    thing = factory.museum_object("AR 0079", "The Blind Cartographer")
    treatment = factory.treatment(thing, rows=(11,), by=by, code="T7", state="under_way")
    step = treatment.interventions.get()
    type(step).objects.filter(pk=step.pk).update(state="started", started_at=at)
    override = EmergencyOverride.objects.create(
        intervention=step, conservator=by, reason=REASON, recorded_at=at, **more
    )
    return treatment, override


def page(client: Client, person: User, address: str) -> str:
    client.force_login(person)
    return client.get(address).content.decode()


@pytest.mark.parametrize(
    ("hours", "words", "kind"),
    [(1, ", due by", "Owed:"), (30, ", overdue since", "Owed, and late:")],
)
def test_the_treatment_page_says_what_is_owed_and_until_when(
    client: Client, hours: int, words: str, kind: str
) -> None:
    runa = factory.conservator()
    treatment, _ = begun(runa, timezone.now() - timedelta(hours=hours))
    shown = page(client, runa, reverse("progress:treatment", args=[treatment.pk]))
    assert kind in shown
    assert f"the name of a witness and where its record picture is kept{words}" in shown
    assert "Begun as an emergency by Runa, " in shown
    assert REASON in shown


def test_a_field_that_is_needed_does_not_say_that_it_may_stay_empty(client: Client) -> None:
    runa = factory.conservator()
    thing = factory.museum_object("AR 0040")
    factory.entry(thing, number="17")
    treatment = factory.treatment(thing, (2,), by=runa)
    shown = page(client, runa, reverse("progress:treatment", args=[treatment.pk]))
    assert "It cannot wait: start with the gate shut" in shown
    label = shown.partition(">Why it could not wait")[2].partition("</label>")[0]
    assert label == ""
    kept = shown.partition(">Where the picture made on the spot is kept")[2]
    assert "may stay empty" in kept.partition("</label>")[0]


def test_what_alone_is_owed_is_needed_and_the_state_is_said_once(client: Client) -> None:
    runa = factory.conservator()
    treatment, _ = begun(runa, timezone.now(), record_picture="Telephone, sheet 7")
    shown = page(client, runa, reverse("progress:treatment", args=[treatment.pk]))
    assert ">Named as witness</label>" in shown
    heading = " ".join(shown.partition("<h3>")[2].partition("</h3>")[0].split())
    assert "under way, began " in heading
    assert "started" not in heading
    assert shown.count("button--do") == 1


def test_first_pages_of_those_who_answer_for_it_say_so_until_it_is_complete(client: Client) -> None:
    runa, signe, corvin = factory.conservator(), factory.lead(), factory.head()
    tibor, first = factory.conservator("Tibor"), reverse("progress:first_page")
    assert "emergency start" not in page(client, signe, first)
    treatment, override = begun(runa, timezone.now() - timedelta(hours=1))
    for person in (runa, signe, corvin):
        shown = page(client, person, first)
        assert "1 emergency start is not complete" in shown
        assert reverse("progress:treatment", args=[treatment.pk]) in shown
    assert "emergency start" not in page(client, tibor, first)
    EmergencyOverride.objects.filter(pk=override.pk).update(
        witness=tibor, witnessed_at=timezone.now()
    )
    shown = page(client, signe, first)
    assert "where its record picture is kept, due by" in shown
    assert "the name of a witness" not in shown
    EmergencyOverride.objects.filter(pk=override.pk).update(record_picture="Folder, sheet 1")
    assert "emergency start" not in page(client, signe, first)


def test_the_conservator_completes_it_on_the_treatment_page(client: Client) -> None:
    runa, tibor = factory.conservator(), factory.conservator("Tibor")
    factory.person("Oskar", "lender")
    treatment, override = begun(runa, timezone.now() - timedelta(hours=1))
    address = reverse("progress:treatment", args=[treatment.pk])
    act = reverse("progress:emergency", args=[override.intervention_id])
    shown = page(client, runa, address)
    assert f'action="{act}"' in shown
    assert f'<option value="{tibor.pk}">Tibor</option>' in shown
    assert ">Oskar</option>" not in shown
    assert f'action="{act}"' not in page(client, tibor, address)
    client.force_login(runa)
    empty = client.post(act, {"witness": "", "record_picture": ""})
    assert empty.status_code == 422
    assert "Name the witness or say where the picture is kept." in empty.content.decode()
    sent = {"witness": tibor.pk, "record_picture": "Conservation folder, sheet 1"}
    assert client.post(act, sent).status_code == 302
    override.refresh_from_db()
    assert (override.witness, override.record_picture) == (tibor, "Conservation folder, sheet 1")
    shown = page(client, runa, address)
    assert "Tibor was named as witness, " in shown
    assert "Record picture: Conservation folder, sheet 1." in shown
    assert "Owed" not in shown
    assert f'action="{act}"' not in shown


def test_what_was_said_otherwise_meanwhile_is_shown_beside_what_was_typed(client: Client) -> None:
    runa, tibor = factory.conservator(), factory.conservator("Tibor")
    _, override = begun(runa, timezone.now() - timedelta(hours=1))
    act = reverse("progress:emergency", args=[override.intervention_id])
    client.force_login(runa)
    first = {"witness": "", "record_picture": "Folder A"}
    assert client.post(act, first).status_code == 302
    older = client.post(act, {"witness": tibor.pk, "record_picture": "Folder B"})
    assert older.status_code == 409
    shown = older.content.decode()
    assert "said meanwhile, and otherwise" in shown
    assert "Folder A" in shown
    assert 'value="Folder B"' in shown, "what was typed stays in the form"
    override.refresh_from_db()
    assert (override.witness, override.record_picture) == (None, "Folder A")
    assert client.post(act, {"witness": "", "record_picture": "Folder A"}).status_code == 302
    assert client.post(act, {"witness": tibor.pk}).status_code == 302
    complete = client.post(act, {"witness": runa.pk, "record_picture": "Folder C"})
    assert complete.status_code == 422
    assert "Folder C" in complete.content.decode()


def test_a_witness_named_at_the_start_is_said_to_be_named_and_by_whom(client: Client) -> None:
    runa, tibor = factory.conservator(), factory.conservator("Tibor")
    at = timezone.now() - timedelta(hours=1)
    treatment, _ = begun(runa, at, witness=tibor, witnessed_at=at, record_picture="Sheet 1")
    shown = page(client, runa, reverse("progress:treatment", args=[treatment.pk]))
    assert "Tibor was named as witness by Runa, " in shown
