"""Corrected times on the pages: a conservator proposes, the lead sees the changes and decides."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.progress.settle import settle, verify
from imaging_requests.treatments.models import Intervention, TimesProposal, Treatment
from tests import factory
from tests.web.test_progress_two_windows import hours_ago, signed_in, words

pytestmark = pytest.mark.django_db
REASON = "the diary of the workshop says so"


@pytest.fixture
def runa() -> User:
    factory.rules()
    return factory.conservator()


@pytest.fixture
def step(runa: User) -> Intervention:
    """A surface cleaning on record from 20 to 18 hours ago; the front was taken before it."""
    now = timezone.now()
    thing = factory.museum_object("AR 0040")
    factory.entry(thing, number="17")
    treatment = factory.treatment(thing, (1,), by=runa, code="T5")
    Treatment.objects.filter(pk=treatment.pk).update(state="finished")
    only = treatment.interventions.get()
    Intervention.objects.filter(pk=only.pk).update(
        state="finished",
        started_at=now - timedelta(hours=20),
        finished_at=now - timedelta(hours=18),
    )
    only.records.create(
        recorded_at=now - timedelta(hours=17),
        state="finished",
        started_at=now - timedelta(hours=20),
        finished_at=now - timedelta(hours=18),
    )
    picture = factory.deliverable(thing, "UV", captured_at=now - timedelta(hours=30))
    assert picture.captured_at < now - timedelta(hours=20)
    settle([thing.pk], now=now)
    only.refresh_from_db()
    return only


def propose(client: Client, step: Intervention) -> TimesProposal:
    address = reverse("progress:step_act", args=[step.pk, "correct"])
    typed = {
        "read_version": step.row_version,
        "started_at": hours_ago(50),
        "finished_at": hours_ago(48),
        "reason": REASON,
    }
    asked = client.post(address, typed)
    assert asked.status_code == 422
    assert "UV of the front, captured on" in words(asked)
    assert '<section class="cautions" tabindex="-1" autofocus' in asked.content.decode()
    assert "the conservator in charge come first" not in words(asked), "it warns of no danger"
    turned = client.post(address, typed | {"finished_at": hours_ago(51)})
    assert turned.status_code == 422
    assert "Not saved." in words(turned), "impossible times are refused at once"
    assert "Before you save" not in words(turned)
    assert not TimesProposal.objects.exists(), "what changes is shown before anything is kept"
    kept = client.post(address, typed | {"seen": "yes"}, follow=True)
    assert "Other times for step 1 are proposed. Nothing changes until" in words(kept)
    assert "Countersigning is not open to you" in words(kept)
    return TimesProposal.objects.get()


def test_the_lead_sees_what_would_change_and_countersigns(runa: User, step: Intervention) -> None:
    proposal = propose(signed_in(runa), step)
    before = (step.started_at, step.finished_at)
    step.refresh_from_db()
    assert (step.started_at, step.finished_at) == before
    lead = signed_in(factory.lead())
    first = lead.get(reverse("progress:first_page"))
    assert "1 correction of a step’s times waits for a second signature" in words(first)
    assert f"#proposal-{proposal.pk}" in first.content.decode()
    page = lead.get(reverse("progress:treatment", args=[step.treatment_id]))
    for said in (
        "Other times are proposed; a second person decides",
        f"“{REASON}”",
        "On record",
        "UV of the front, captured on",
        "Countersign: these times are right",
    ):
        assert said in words(page)
    address = reverse("progress:times_act", args=[proposal.pk, "countersign"])
    assert signed_in(runa).post(address, {"read_version": 1}).status_code == 403
    done = lead.post(address, {"read_version": 1}, follow=True)
    assert "Countersigned. The times of step 1 are corrected." in words(done)
    step.refresh_from_db()
    assert step.started_at == proposal.started_at
    assert "Proposed times: countersigned" in words(done)
    assert verify([step.object_id]) == []
    twice = lead.post(address, {"read_version": 1})
    assert twice.status_code == 409
    assert "Not saved." in words(twice)


def test_a_declined_or_stale_proposal_says_so(runa: User, step: Intervention) -> None:
    proposal = propose(signed_in(runa), step)
    lead = signed_in(factory.lead())
    decline = reverse("progress:times_act", args=[proposal.pk, "decline"])
    short = lead.post(decline, {"read_version": 1, "reason": "no"})
    assert short.status_code == 422
    assert "The reason has 2 characters" in words(short)
    Intervention.objects.filter(pk=step.pk).update(row_version=step.row_version + 1)
    stale = words(lead.get(reverse("progress:treatment", args=[step.treatment_id])))
    assert "Proposed times that no longer fit" in stale
    assert "these times are right" not in stale
    countersign = reverse("progress:times_act", args=[proposal.pk, "countersign"])
    late = lead.post(countersign, {"read_version": 1})
    assert late.status_code in {409, 422}
    assert "has changed since these times were proposed" in words(late)
    said = lead.post(decline, {"read_version": 1, "reason": "the diary is another"}, follow=True)
    assert "Step 1 keeps the times on record." in words(said)
    assert "declined on" in words(said)
    assert lead.post(reverse("progress:times_act", args=[proposal.pk, "sign"])).status_code == 404
