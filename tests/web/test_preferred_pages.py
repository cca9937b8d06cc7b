"""Pages tell a preferred state: the protocol in words, the object, the treatment and its gate."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.protocols.models import ProtocolVersion
from tests import factory
from tests import progress_scene as scene
from tests.db.test_preferred_states import preferring, published, shoot, treat

pytestmark = pytest.mark.django_db


@pytest.fixture
def version() -> ProtocolVersion:
    factory.rules()
    return published(preferring())


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_a_protocol_says_what_it_prefers(client: Client, version: ProtocolVersion) -> None:
    client.force_login(factory.curator())
    said = "preferably the cleaned state, before retouching; as second best as it is now"

    def page(row: ProtocolVersion) -> str:
        kwargs = {"kind": "protocol", "pk": row.pk}
        return text(client, reverse("protocols:version", kwargs=kwargs))

    assert page(version).count(said) == 1
    assert said not in page(factory.protocol(3))


def test_the_last_days_of_a_preferred_state_are_told_and_its_end_is_never_refused(
    client: Client, version: ProtocolVersion
) -> None:
    now = timezone.now()
    thing = factory.museum_object("AR 0091")
    factory.entry(thing, number="91", pinned_to=version)
    course = treat(thing, now, rows=2)
    scene.derive(now)
    signe = factory.lead()
    client.force_login(signe)
    pages = [
        reverse("progress:object", args=[thing.pk]),
        reverse("progress:treatment", args=[course.pk]),
    ]
    anchor = f"after step 2 of treatment {course.code}"
    lasting = f"The cleaned state, before retouching, {anchor}, lasts"
    missing = "Preferred, with no accepted picture of it: infrared of the front."
    for page in pages:
        found = text(client, page)
        assert lasting in found
        assert missing in found
    told = text(client, pages[1])
    assert "Preferred, not demanded." in told
    assert "Outside the documentation." not in told
    assert f"infrared of the front, {anchor}." in told
    assert "infrared of the front" not in told.partition("Views that keep the gate shut")[2][:400]
    first = "Preferred, only now: 1 view of a state that a step ends"
    assert first in text(client, "/")
    assert "AR 0091: the cleaned state lasts until" in text(client, "/")
    of_runa, of_nobody = Client(), Client()
    of_runa.force_login(course.conservator)
    of_nobody.force_login(factory.conservator("Tilda"))
    assert first in text(of_runa, "/")
    assert "Preferred, only now" not in text(of_nobody, "/")
    shoot(thing, now - timedelta(days=2), signe)
    scene.derive(now)
    assert "Preferred, only now" not in text(client, "/")
    for page in pages:
        assert "Only now:" not in text(client, page)
    assert "It shows the preferred state" in text(client, pages[0])


def test_a_preference_costs_the_pages_no_query(client: Client, version: ProtocolVersion) -> None:
    now = timezone.now()
    signe = factory.lead()

    def told(thing: CollectionObject, number: str, pinned_to: ProtocolVersion) -> list[int]:
        entry = factory.entry(thing, number=number, pinned_to=pinned_to)
        treat(thing, now, rows=2)
        scene.derive(now)
        shoot(thing, now - timedelta(days=2), signe)
        scene.derive(now)
        counts = []
        for address in (
            reverse("progress:object", args=[thing.pk]),
            reverse("progress:entry", args=[entry.pk]),
            reverse("progress:board", args=[entry.catalogue_id]),
        ):
            client.get(address)
            with CaptureQueriesContext(connection) as seen:
                client.get(address)
            counts.append(len(seen))
        return counts

    client.force_login(signe)
    plain = told(factory.museum_object("AR 0092"), "92", factory.protocol(3))
    assert told(factory.museum_object("AR 0091"), "91", version) == plain
