"""An accepted picture that lies in no package leads its reader to where it is sealed."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.stale import mark_stale
from imaging_requests.deliverables.models import Review
from imaging_requests.people.models import User
from tests import factory
from tests.campaign_scene import owed, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("page", ["object", "entry"])
def test_the_lead_is_led_to_the_packages(client: Client, page: str) -> None:
    factory.rules()
    lead: User = factory.lead()
    obj = owed("AR 0070", "The Quarantine Island")
    view = obj.owed_views.filter(technique="UV", face="F").earliest("pk")
    line = factory.shot_line(factory.session(), obj, meets=[view])
    picture = factory.deliverable(
        obj,
        frames=factory.frames_for(line),
        shot_line=line,
        px_per_mm=view.px_per_mm,
        coverage_percent=100,
    )
    Review.objects.create(deliverable=picture, verdict="accepted", by=lead)
    mark_stale([obj.pk], "a picture came")
    entry = obj.entry_objects.get().entry_id
    address = reverse(f"progress:{page}", args=[obj.pk if page == "object" else entry])
    shown = text(signed_in(client, lead).get(address))
    said = shown.split("is accepted; it is not yet in a sealed package.")
    assert len(said) == 2
    assert (
        "Waits for <b>being sealed in a package</b>; the imaging lead can move it." in said[1][:120]
    )
    assert f'href="{reverse("deliverables:packages")}">Packages</a>' in said[1].split("</td>")[0]
