"""Placed frames are measured by themselves; a fail holds the acceptance back, in plain words."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import actions, queries, shown
from imaging_requests.deliverables.actions.measuring import ask_to_measure
from imaging_requests.deliverables.measuring import Found, without_echoes
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.imaging.synthesis import Technique
from imaging_requests.intake.limits import measurement_rules
from imaging_requests.intake.models import FileCheck, Job
from imaging_requests.people.errors import DomainError, IllegalStep
from tests import factory
from tests.intake_scene import bring, open_drop, settle, tiff
from tests.pure.measure_samples import shoot

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]
EVS = (-1, 0)


@pytest.fixture
def line() -> ShotLine:
    factory.rules()
    obj = factory.museum_object("AR 0070", "The Quarantine Island")
    session = factory.session(by=factory.photographer())
    return factory.shot_line(
        session,
        obj,
        meets=[factory.owed_view(obj)],
        px_per_mm=2.5,
        exposures_ev=list(EVS),
        expected_files=len(EVS),
    )


def bring_bracket(line: ShotLine, *, has_barrier_filter: bool) -> None:
    drop = open_drop(line.session.photographer, line=line)
    start = line.session.starts_at + timedelta(minutes=10)
    for place, ev in enumerate(EVS):
        exposure = shoot(
            Technique.FLUORESCENCE,
            ev=ev,
            noise_seed=place,
            has_barrier_filter=has_barrier_filter,
        )
        data = tiff(
            at=start + timedelta(seconds=30 * place),
            exposure_s=8 * 2.0**ev,
            picture=exposure.pixels,
        )
        bring(drop, f"UV{place}.tif", data)


def checks(rule: str) -> list[FileCheck]:
    return list(FileCheck.objects.filter(rule=rule).order_by("frame"))


def test_a_forgotten_filter_is_found_and_holds_the_acceptance_back(
    line: ShotLine, client: Client
) -> None:
    bring_bracket(line, has_barrier_filter=False)
    settle()
    row = Deliverable.objects.get()
    assert row.is_complete
    assert [each.verdict for each in checks("U1")] == ["fail", "fail"]
    slip = checks("U1")[0]
    assert "barrier filter" in slip.sentence
    assert "white patch" in slip.unit
    assert [each.verdict for each in checks("U3")] == ["pass"]
    assert [each.verdict for each in checks("U7")] == ["pass"]
    assert shown.rule_words("U1") == "Light that should have been blocked (U1)"

    client.force_login(line.session.photographer)
    page = client.get(reverse("intake:drop", args=[line.drops.get().pk])).content.decode()
    assert "Most likely the barrier filter was not on the lens" in page

    row = actions.hand_in(
        actor=line.session.photographer, deliverable_id=row.pk, read_version=row.row_version
    )
    lead = factory.lead()
    with pytest.raises(DomainError, match="checks failed"):
        actions.accept(actor=lead, deliverable_id=row.pk, read_version=row.row_version)
    review = actions.accept(
        actor=lead,
        deliverable_id=row.pk,
        read_version=row.row_version,
        override_reason="The painting has left; the glow can still be read.",
    )
    assert review.override_reason


def test_a_picture_waits_for_its_measuring_and_is_not_measured_twice(line: ShotLine) -> None:
    bring_bracket(line, has_barrier_filter=True)
    settle()
    row = Deliverable.objects.get()
    assert [each.verdict for each in checks("U1")] == ["pass", "pass"]
    assert Job.objects.get(kind="measure").result["frames"] == 2
    row = actions.hand_in(
        actor=line.session.photographer, deliverable_id=row.pk, read_version=row.row_version
    )
    ask_to_measure(line.pk)
    assert queries.unread_frames(row) == 2
    lead = factory.lead()
    with pytest.raises(IllegalStep, match="still being measured"):
        actions.accept(actor=lead, deliverable_id=row.pk, read_version=row.row_version)
    settle()
    assert Job.objects.get(kind="measure").result["frames"] == 0
    assert queries.unread_frames(row) == 0
    assert actions.accept(actor=lead, deliverable_id=row.pk, read_version=row.row_version)


def test_what_a_target_tells_in_one_frame_is_not_asked_of_the_others() -> None:
    rules = measurement_rules()
    dark = rules.unknown("U1", "No patch here.")
    told = rules.found("U1", 3.0, good="Only the glow.", bad="")
    noise = rules.unknown("U6", "Too small.")
    kept = without_echoes([Found(1, dark), Found(2, told), Found(1, noise), Found(2, noise)])
    assert [(each.frame_id, each.finding.rule_id) for each in kept] == [
        (2, "U1"),
        (1, "U6"),
        (2, "U6"),
    ]
    same = [Found(1, rules.unknown(rule, "No chart.")) for rule in ("V1", "V2", "V3")]
    assert len(without_echoes([*same, Found(2, rules.unknown("V1", "No chart."))])) == 1
