"""The control charts of a station, from the values of its checks."""

from __future__ import annotations

import json
import re
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import SetupCard
from imaging_requests.intake.models import FileCheck
from tests import factory

pytestmark = pytest.mark.django_db


def measured(values: Any) -> None:
    """One measured frame a week at the bay, the last one this week."""
    line = factory.shot_line(factory.session(), factory.museum_object("AR 0070", "Salt"), "VF")
    now = timezone.now()
    for age, value in enumerate(reversed(list(values))):
        frame = factory.frame(line, captured_at=now - timedelta(weeks=age), focus_slice=age)
        factory.check(frame, "pass", "V1", value=f"{value:.2f}", unit="ΔE00")


def test_a_drifting_station_is_named_with_since_when_and_how_fast(client: Client) -> None:
    rng = np.random.default_rng(1)
    values = rng.normal(1.2, 0.15, 34)
    values[-10:] += 0.15 * np.arange(1, 11)
    measured(values)
    client.force_login(factory.lead())
    page = client.get(reverse("deliverables:drift", args=["bay"])).content.decode()
    assert "Bay: 1 of 1 series is drifting" in page
    assert "Rising since the week of" in page
    assert "Colour of the chart, mean (VF V1)" in page
    assert page.count("base line") >= 20
    assert 'id="drift-data"' in page


def test_a_new_set_up_card_begins_the_series_anew(client: Client) -> None:
    measured(np.random.default_rng(2).normal(1.2, 0.15, 30))
    card = factory.setup_card(technique="VF")
    SetupCard.objects.filter(pk=card.pk).update(created_at=timezone.now() - timedelta(weeks=3))
    client.force_login(factory.lead())
    page = client.get(reverse("deliverables:drift", args=["bay"])).content.decode()
    assert "a base line needs 8." in page
    assert "Bay: 1 of 1 series cannot be judged yet" in page
    assert "no series is drifting" not in page


def test_a_steady_station_is_called_steady_only_after_its_base_line(client: Client) -> None:
    measured(np.random.default_rng(2).normal(1.2, 0.15, 30))
    client.force_login(factory.lead())
    page = client.get(reverse("deliverables:drift", args=["bay"])).content.decode()
    assert "Bay: no series is drifting" in page
    assert "Steady for 10 weeks" in page


def test_a_station_without_measurements_says_what_will_be_here(
    client: Client, django_assert_max_num_queries: Any
) -> None:
    factory.station()
    client.force_login(factory.lead())
    client.get(reverse("deliverables:drift_stations"))
    with django_assert_max_num_queries(12):
        page = client.get(reverse("deliverables:drift", args=["bay"])).content.decode()
    assert "nothing has been measured yet" in page
    listed = client.get(reverse("deliverables:drift_stations")).content.decode()
    assert reverse("deliverables:drift", args=["bay"]) in listed
    assert client.get(reverse("deliverables:drift", args=["attic"])).status_code == 404


def test_weeks_without_a_value_break_the_line(client: Client) -> None:
    measured(np.random.default_rng(2).normal(1.2, 0.15, 30))
    now = timezone.now()
    lost = FileCheck.objects.filter(
        frame__captured_at__gt=now - timedelta(weeks=15),
        frame__captured_at__lt=now - timedelta(weeks=5) + timedelta(hours=1),
    )
    assert lost.count() == 10
    lost.delete()
    client.force_login(factory.lead())
    page = client.get(reverse("deliverables:drift", args=["bay"])).content.decode()
    told = re.search(r'id="drift-data"[^>]*>(.*?)</script>', page, re.S)
    assert told is not None
    (drawn,) = json.loads(told.group(1))
    days = [date.fromisoformat(day) for day in drawn["days"]]
    assert {two - one for one, two in pairwise(days)} == {timedelta(weeks=1)}
    assert len(days) == len(drawn["values"]) == 30
    assert [value is None for value in drawn["values"]] == [False] * 15 + [True] * 10 + [False] * 5
