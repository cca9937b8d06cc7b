"""Picking views: what falls due first and why, and views that somebody else has taken."""

from __future__ import annotations

import re
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns import actions
from imaging_requests.campaigns.models import Session
from imaging_requests.campaigns.words import local
from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import User
from imaging_requests.progress.settle import settle
from imaging_requests.requesting.models import Demand, OwedView
from tests import factory
from tests.campaign_scene import at, owed, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _scene() -> None:
    factory.rules()
    factory.station("bay")


@pytest.fixture
def people() -> dict[str, User]:
    names = {"photographer": "Amaro", "lead": "Signe"}
    return {role: factory.person(name, role) for role, name in names.items()}


@pytest.fixture
def island() -> CollectionObject:
    return owed("AR 0070", "The Quarantine Island")


def pick(session: Session) -> str:
    return reverse("campaigns:session_pick", args=[session.pk])


def view_of(obj: CollectionObject, technique: str) -> OwedView:
    found: OwedView = obj.owed_views.filter(technique=technique, face="F").earliest("pk")
    return found


def read(client: Client, session: Session) -> dict[str, int]:
    client.get(pick(session))
    return {"read_version": Session.objects.get(pk=session.pk).row_version}


def test_a_view_that_went_to_another_session_is_named_with_its_taker(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    mine = factory.session(state="draft", starts_at=at(9, days=5))
    theirs = factory.session(state="draft", starts_at=at(9, days=6), campaign=mine.campaign)
    uv, vc = view_of(island, "UV"), view_of(island, "VC")
    ilse = factory.lead("Ilse")
    signed_in(client, people["lead"])
    form = read(client, mine)
    actions.add_owed_views(actor=ilse, session_id=theirs.pk, read_version=1, owed_view_ids=[uv.pk])
    answer = client.post(pick(mine), {**form, "views": [uv.pk, vc.pk]})
    page = text(answer)
    assert answer.status_code == 422
    assert "UV of the front of AR 0070 is in the session at the Bay on" in page
    assert f"now: Ilse put it there on {local(timezone.now()):%a}" in page
    assert f'href="{reverse("campaigns:session", args=[theirs.pk])}"' in page
    assert "not on offer any more. Choose" not in page
    kept = page.split(f'value="{vc.pk}"')[1].split(">")[0]
    assert "checked" in kept, "what is still to be had stays ticked"
    assert not mine.shot_lines.exists()


def test_a_second_tab_is_told_that_the_view_is_in_this_session(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    mine = factory.session(state="draft", starts_at=at(9, days=5))
    uv = view_of(island, "UV")
    signed_in(client, people["lead"])
    form = read(client, mine)
    client.post(pick(mine), {**form, "views": [uv.pk]})
    page = text(client.post(pick(mine), {**form, "views": [uv.pk]}))
    assert "UV of the front of AR 0070 is in this session now: Signe put it there" in page
    assert mine.shot_lines.count() == 1


def test_a_view_that_nobody_asks_for_any_more_says_so(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    mine = factory.session(state="draft", starts_at=at(9, days=5))
    uv = view_of(island, "UV")
    signed_in(client, people["lead"])
    form = read(client, mine)
    OwedView.objects.filter(pk=uv.pk).update(
        ended_at=timezone.now(), end_reason="The entry was taken out."
    )
    page = text(client.post(pick(mine), {**form, "views": [uv.pk]}))
    assert "UV of the front of AR 0070 is not to be shot." in page
    assert "The entry was taken out." in page


def wish_for(view: OwedView, *, wanted: date | None, promised: date | None) -> None:
    line = factory.request_line(
        factory.request(User.objects.filter(name="Oda").first(), wanted_by=wanted),
        view.object,
        technique=view.technique,
        face=view.face,
        state="agreed",
        promised_on=promised,
    )
    Demand.objects.create(owed_view=view, source="request", request_line=line)


JAN, FEB, MARCH = date(2027, 1, 20), date(2027, 2, 1), date(2027, 3, 5)


@pytest.mark.parametrize(
    ("treated", "wanted", "promised", "said"),
    [
        (None, FEB, JAN, "20 Jan 2027 promised"),
        (None, JAN, FEB, "20 Jan 2027 wanted"),
        (JAN, FEB, MARCH, "20 Jan 2027 for the treatment"),
        (MARCH, FEB, None, "1 Feb 2027 wanted"),
        (JAN, JAN, JAN, "20 Jan 2027 for the treatment"),
        (None, None, None, "–"),
    ],
)
def test_a_view_is_due_by_the_earliest_day_that_anybody_named(
    client: Client,
    people: dict[str, User],
    island: CollectionObject,
    treated: date | None,
    wanted: date | None,
    promised: date | None,
    said: str,
) -> None:
    uv = view_of(island, "UV")
    wish_for(uv, wanted=wanted, promised=promised)
    settle()
    OwedView.objects.filter(pk=uv.pk).update(due_on=treated)
    signed_in(client, people["lead"])
    page = text(client.get(pick(factory.session(state="draft", starts_at=at(9, days=5)))))
    cell = page.split(f'value="{uv.pk}"')[1].split('data-column="Due"')[1].split("</td>")[0]
    assert " ".join(re.sub("<[^>]*>?", "", cell.split(">", 1)[1]).split()) == said


def test_what_falls_due_first_stands_first_whoever_named_the_day(
    client: Client, people: dict[str, User]
) -> None:
    late, _, soon, step = (owed(f"AR 008{place}") for place in range(4))
    wish_for(view_of(late, "UV"), wanted=MARCH, promised=None)
    wish_for(view_of(soon, "VC"), wanted=MARCH, promised=JAN)
    settle()
    OwedView.objects.filter(pk=view_of(step, "UV").pk).update(due_on=FEB)
    signed_in(client, people["lead"])
    page = text(client.get(pick(factory.session(state="draft", starts_at=at(9, days=5)))))
    numbers = re.findall(r'class="number"[^>]*>(AR 008\d)<', page)
    assert numbers == ["AR 0082", "AR 0083", "AR 0080", "AR 0081"]
