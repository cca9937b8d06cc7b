"""The receipt says of every file where it is proven, and of the card only what is true."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.campaigns.models import Session
from imaging_requests.intake.models import Copy, Drop, Frame
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import bracket, bring, open_drop, settle

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def session(amaro: User) -> Session:
    session = factory.session(by=amaro)
    factory.shot_line(session, factory.museum_object("AR 0070"), "RK", "F", "L")
    return session


def shown(user: User, drop: Drop) -> str:
    client = Client()
    client.force_login(user)
    answer = client.get(reverse("intake:receipt", args=[drop.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_every_kept_file_stands_with_its_digest_and_the_card_may_be_formatted(
    amaro: User, session: Session
) -> None:
    drop = open_drop(amaro, session=session)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
    settle()
    page = shown(amaro, drop)
    assert "3 of 3 files kept" in page
    assert "You may format the card: all 3 files of this drop are proven in two places" in page
    for frame in Frame.objects.all():
        assert frame.sha256 in page
    assert "not proven" not in page
    assert "read again from the disk" in page
    assert "Both places lie on one disk here" in page
    assert "AR 0070 front, raking light from the left" in page
    client = Client()
    client.force_login(amaro)
    link = reverse("intake:receipt", args=[drop.pk])
    assert link in client.get(reverse("intake:drop", args=[drop.pk])).content.decode()


def test_refused_unproven_and_missing_files_forbid_the_card_and_say_why(
    amaro: User, session: Session
) -> None:
    drop = open_drop(amaro, session=session)
    files = bracket(session, (-1, 0))
    for name, data in files:
        bring(drop, name, data)
    bring(drop, "words.tif", b"no picture here, only words")
    settle()
    Copy.objects.filter(frame__first_name=files[0][0], place="second copy").update(is_good=False)
    page = shown(amaro, drop)
    assert "2 of 3 files kept" in page
    assert "Do not format the card yet: 1 file refused" in page
    assert "1 file not proven in two places" in page
    assert "words.tif is a text file" in page
    assert page.count("not proven</strong>") == 1


def test_an_empty_drop_has_an_empty_receipt(amaro: User) -> None:
    page = shown(amaro, open_drop(amaro))
    assert "0 of 0 files kept" in page
    assert "Nothing has arrived yet. Keep the card as it is." in page


def test_the_receipt_costs_a_fixed_number_of_queries(
    amaro: User, session: Session, django_assert_num_queries: Any
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counted = []
    drop = open_drop(amaro, session=session)
    for name, data in bracket(session, (-1, 0, 1)):
        bring(drop, name, data)
        settle()
        with CaptureQueriesContext(connection) as seen:
            shown(amaro, drop)
        counted.append(len(seen))
    assert counted[1] == counted[2], counted


def test_refused_files_lie_on_the_sorting_table_with_their_reason(
    amaro: User, session: Session
) -> None:
    drop = open_drop(amaro, session=session)
    ((name, data),) = bracket(session, (0,))
    bring(drop, name, data[: len(data) // 2])
    settle()
    client = Client()
    client.force_login(amaro)
    address = reverse("intake:sorting_table")
    page = client.get(address).content.decode()
    assert "Refused files: copy them again from the card" in page
    assert name in page
    assert "The file is cut short" in page
    other = client.get(address, {"drop": "9999-00001"}).content.decode()
    assert "The file is cut short" not in other
    arrival = drop.arrivals.get()
    client.post(reverse("intake:arrival_give_up", args=[arrival.token]))
    assert "The file is cut short" not in client.get(address).content.decode()
