"""An only-now window is told on every page of those who must use it, until its views are made."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import StaleMark
from imaging_requests.people.models import User
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.settle import settle
from imaging_requests.treatments.models import Intervention, Treatment
from tests import factory
from tests.factory import hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def course() -> Treatment:
    """A lining is to come off in a week; the bare back is to be hidden twenty days from now."""
    factory.rules()
    obj = factory.museum_object("AR 0058", is_lined=True)
    factory.entry(obj)
    course = factory.treatment(
        obj, (12,), scope=[["VF", "B"], ["UV", "B"], ["IR", "B", ["window"]]], state="under_way"
    )
    Intervention.objects.filter(treatment=course).update(
        planned_on=timezone.localdate() + timedelta(days=7),
        exposure_until=timezone.now() + timedelta(days=20),
    )
    StaleMark.objects.create(object=obj, reason="planned")
    settle()
    return course


def lining_comes_off(course: Treatment) -> None:
    now = timezone.now()
    values = {
        "state": "finished",
        "started_at": now - hours(5),
        "finished_at": now - hours(2),
    }
    Intervention.objects.filter(treatment=course).update(**values)
    Intervention.objects.get(treatment=course).records.create(recorded_at=now, **values)
    StaleMark.objects.create(object=course.object, reason="step finished")
    settle()


def text(who: User, address: str) -> str:
    client = Client()
    client.force_login(who)
    page = client.get(address).content.decode()
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def pages(course: Treatment) -> list[str]:
    lead = factory.lead()
    return [
        text(lead, reverse("progress:object", args=[course.object_id])),
        text(lead, reverse("progress:treatment", args=[course.pk])),
    ]


def test_a_window_to_come_says_from_when_to_when(course: Treatment) -> None:
    for page in pages(course):
        seen = r"Only for a while: B\.1 can be seen once “[Ll]ining removed” is done \(planned for "
        assert re.search(seen, page), page
        assert "3 of 3 views are not accepted: " in page


def test_an_open_window_counts_the_days_and_names_what_is_missing(course: Treatment) -> None:
    lining_comes_off(course)
    for page in pages(course):
        assert "Only now: B.1 can be seen until" in page
        assert "20 days left. 3 of 3 views are not accepted: " in page
        assert "infrared of the back" in page


def test_those_who_can_use_a_window_read_of_it_first(course: Treatment) -> None:
    lining_comes_off(course)
    other = factory.person("Tibor", "conservator")
    for who in (course.conservator, factory.lead(), factory.head()):
        page = text(who, "/")
        assert "Only now: 3 views to be made before a surface is hidden again" in page
        assert "AR 0058: B.1 can be seen until" in page
    for who in (other, factory.curator()):
        assert "Only now" not in text(who, "/")


def test_a_window_that_has_every_view_presses_nobody(course: Treatment) -> None:
    lining_comes_off(course)
    views = ViewStatus.objects.filter(owed_view__anchor="WIN", is_only_now=True)
    assert views.update(status="filed", is_met=True, is_only_now=False)
    assert "Only now" not in text(course.conservator, "/")
