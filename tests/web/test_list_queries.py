"""Lists ask the database the same number of questions however long they are."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import Catalogue
from imaging_requests.deliverables.models import Correction, LoneWorker
from imaging_requests.people.models import User
from imaging_requests.pictures.models import Grant
from imaging_requests.progress.settle import settle
from imaging_requests.treatments.models import DecisionCase
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db

#: Lists whose number of questions is pinned nowhere else, with who looks at them.
LISTS = {
    "progress:treatments": "Signe",
    "progress:decisions": "Runa",
    "deliverables:corrections": "Signe",
    "deliverables:lone_work": "Signe",
    "pictures:grants": "Signe",
    "pictures:granted": "Ines",
    "people:accounts": "Hale",
    "progress:numbers": "Signe",
    "progress:rows": "Signe",
}


@pytest.fixture
def catalogue() -> Catalogue:
    factory.rules()
    for name in ("lead", "conservator", "photographer", "curator"):
        getattr(factory, name)()
    factory.person("Hale", "keeper")
    factory.person("Ines", "co_author")
    return factory.catalogue()


def fill(catalogue: Catalogue, number: int) -> None:
    """Add some of everything that the lists show."""
    now = timezone.now()
    people = {person.name: person for person in User.objects.all()}
    things = [factory.museum_object() for _ in range(number)]
    for place, thing in enumerate(things):
        factory.entry(thing, catalogue=catalogue, curator=people["Oda"])
        treatment = factory.treatment(thing, (2,), by=people["Runa"])
        own = factory.deliverable(thing, "RK", variant="L", by=people["Amaro"], state="accepted")
        DecisionCase.objects.create(
            object=thing,
            intervention=treatment.interventions.get(),
            chain=own.chain,
            technique="RK",
            face="F",
            variant="L",
            proposal="out_of_date",
            reason="The relief may show more.",
            assigned_to=people["Runa"],
        )
        Grant.objects.create(
            person=people["Ines"],
            object=thing,
            purpose="Text of the entry",
            since=now - hours(24),
            until=now + hours(24),
            given_by=people["Signe"],
        )
        guest = factory.person(f"Guest {thing.pk}-{place}", "photographer")
        LoneWorker.objects.create(
            person=guest,
            allowed_by=people["Signe"],
            since=now,
            until=now + hours(24),
            reason="The colleague is ill.",
        )
        Correction.objects.create(
            deliverable=own,
            kind=Correction.Kind.REPROCESS,
            found_by=people["Signe"],
            wrong_since=now,
            why="Two tiles were swapped.",
        )
    settle([thing.pk for thing in things], now=NOW)


@pytest.mark.parametrize("name", LISTS)
def test_a_list_asks_as_much_of_two_rows_as_of_six(catalogue: Catalogue, name: str) -> None:
    args = {
        "progress:numbers": [catalogue.pk],
        "progress:rows": [catalogue.pk, "present-views", "unresolved"],
    }
    address = reverse(name, args=args.get(name))
    client = Client()
    client.force_login(User.objects.get(name=LISTS[name]))

    def questions() -> tuple[int, int]:
        client.get(address)
        with CaptureQueriesContext(connection) as seen:
            answer = client.get(address)
        assert answer.status_code == 200
        return len(seen), len(answer.content)

    fill(catalogue, 2)
    few, short = questions()
    fill(catalogue, 4)
    many, long = questions()
    assert many == few
    assert long > short, "the list has grown, so the count means something"
