"""Canvases that came lined are recorded as lined, so that their pictures lie on the lining."""

from __future__ import annotations

import pytest

from imaging_requests.collection.models import ObjectFacts
from imaging_requests.collection.rules import layers_of
from imaging_requests.demo import museum
from imaging_requests.demo.scenario import read_scenario
from tests import factory

pytestmark = pytest.mark.django_db


def test_what_is_painted_as_lined_is_recorded_as_lined() -> None:
    runa, recorded = factory.conservator(), {}
    for thing in read_scenario("full").things:
        if thing.number in ("AR 0024", "AR 0058", "AR 0079"):
            row = factory.museum_object(thing.number, with_facts=False)
            museum._record_facts(row, thing, runa, factory.NOW)
            facts = ObjectFacts.objects.filter(object=row).latest("recorded_at")
            recorded[thing.number] = facts.is_lined
    assert recorded == {"AR 0024": True, "AR 0058": True, "AR 0079": False}
    assert layers_of(is_lined=True)[1:3] == ("B.1", "B.2")


def test_a_lining_comes_off_only_what_came_lined_or_was_lined_since() -> None:
    scenario = read_scenario("full")
    lined = {thing.number for thing in scenario.things if thing.looks.get("is_lined")}
    for treatment in scenario["treatments"]["treatments"]:
        for step in treatment["steps"]:
            if step["row"] == 12:
                assert treatment["object"] in lined
            if step["row"] == 11:
                assert treatment["object"] not in lined
                lined.add(treatment["object"])
