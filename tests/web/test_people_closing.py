"""Closing an account: two words and no other, nothing twice, and not behind anybody's back."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import Booking, Resource, SessionState
from imaging_requests.people.models import AuditEvent, User
from tests import factory

pytestmark = pytest.mark.django_db


@pytest.fixture
def amaro() -> User:
    return factory.photographer("Amaro")


def keeper(name: str) -> Client:
    client = Client()
    client.force_login(factory.person(name, "keeper"))
    return client


def events(person: User) -> list[str]:
    found = AuditEvent.objects.filter(code__startswith="people.account_", subject_id=person.pk)
    return list(found.order_by("pk").values_list("code", flat=True))


def page(client: Client, person: User, **sent: str) -> tuple[int, str]:
    address = reverse("people:account", args=[person.pk])
    answer = client.post(address, sent) if sent else client.get(address)
    person.refresh_from_db()
    return answer.status_code, answer.content.decode()


@pytest.mark.parametrize("nonsense", ["maybe", "", "true", "9" * 5000])
def test_only_yes_and_no_are_answers(amaro: User, nonsense: str) -> None:
    status, text = page(keeper("Hale"), amaro, is_open=nonsense, read_open="yes")
    assert (status, amaro.is_active, events(amaro)) == (422, True, [])
    assert "It is not clear whether the account is to be open or closed" in text


def test_a_page_that_does_not_say_what_was_read_changes_nothing(amaro: User) -> None:
    status, text = page(keeper("Hale"), amaro, is_open="no")
    assert (status, amaro.is_active, events(amaro)) == (422, True, [])
    assert "The page did not say how the account stood" in text


def test_what_changes_nothing_is_refused_and_leaves_no_event(amaro: User) -> None:
    status, text = page(keeper("Hale"), amaro, is_open="yes", read_open="yes")
    assert (status, events(amaro)) == (422, [])
    assert "The account of Amaro is open already, so nothing was changed" in text


def test_the_second_keeper_is_told_what_the_first_did(amaro: User) -> None:
    first, second = keeper("Hale"), keeper("Imre")
    assert 'name="read_open" value="yes"' in page(second, amaro)[1]
    assert page(first, amaro, is_open="no", read_open="yes")[0] == 302
    status, text = page(second, amaro, is_open="no", read_open="yes")
    assert (status, events(amaro)) == (409, ["people.account_closed"])
    assert "Hale closed the account of Amaro while you had this page open" in text
    assert 'name="read_open" value="no"' in text, "the page shows how it stands now"
    assert page(second, amaro, is_open="yes", read_open="no")[0] == 302
    assert amaro.is_active


def test_what_is_planned_with_the_person_stands_on_the_page(amaro: User) -> None:
    soon = timezone.now() + factory.hours(1)
    own = factory.session(by=amaro, starts_at=soon)
    helped = factory.session(by=factory.photographer("Bram"), starts_at=soon + factory.hours(9))
    person, _ = Resource.objects.get_or_create(kind=Resource.Kind.PERSON, person=amaro)
    Booking.objects.create(
        resource=person, session=helped, starts_at=helped.starts_at, ends_at=helped.ends_at
    )
    factory.session(by=amaro, starts_at=factory.LONG_AGO, state=SessionState.CLOSED)
    _, text = page(keeper("Hale"), amaro)
    assert "Closing the account leaves these without the person" in text
    assert text.count("as photographer") == 1
    assert text.count("as helper") == 1
    assert reverse("campaigns:session", args=[own.pk]) in text
    assert "Planned with" not in page(keeper("Imre"), factory.photographer("Cato"))[1]


def test_a_session_of_a_closed_account_still_names_the_person(amaro: User) -> None:
    session = factory.session(by=amaro, state=SessionState.DRAFT)
    signe = Client()
    signe.force_login(factory.lead())
    page(keeper("Hale"), amaro, is_open="no", read_open="yes")
    address = reverse("campaigns:session_edit", args=[session.pk])
    text = signe.get(address).content.decode()
    assert f'<option value="{amaro.pk}" selected>Amaro (account closed)</option>' in text
    new = reverse("campaigns:session_new", args=[session.campaign_id])
    assert "account closed" not in signe.get(new).content.decode()
