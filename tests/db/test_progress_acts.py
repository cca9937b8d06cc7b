"""Acts that span rooms: the gate holds, questions are asked once, late entries are told first."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime, timedelta

import pytest

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.deliverables.models import Deliverable, DeliverableState, Review
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.progress import acts, acts_times
from imaging_requests.progress.emergencies import emergency_words
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.settle import settle, verify
from imaging_requests.treatments.models import (
    DecisionCase,
    EmergencyOverride,
    Intervention,
    Treatment,
)
from imaging_requests.treatments.rules import EmergencyStart
from tests import factory

pytestmark = pytest.mark.django_db

NOW = factory.NOW
FRONT = (("VF", ""), ("VC", ""), ("RK", "L"), ("RK", "T"), ("UV", ""))


@dataclass(frozen=True)
class Scene:
    object: CollectionObject
    entry: Entry
    treatment: Treatment
    conservator: User
    photographer: User
    lead: User

    def step(self, number: int = 1) -> Intervention:
        return self.treatment.interventions.get(step=number)


@pytest.fixture
def scene() -> Scene:
    factory.rules()
    thing = factory.museum_object("AR 0070")
    entry = factory.entry(thing, number="23")
    runa = factory.conservator()
    treatment = factory.treatment(thing, by=runa)
    made = Scene(
        object=thing,
        entry=entry,
        treatment=treatment,
        conservator=runa,
        photographer=factory.photographer(),
        lead=factory.lead(),
    )
    settle([thing.pk], now=NOW)
    return made


def accept(
    scene: Scene, technique: str, variant: str = "", *, face: str = "F", at: datetime
) -> Deliverable:
    """An accepted picture as it stands after review."""
    picture = Deliverable.objects.create(
        chain=uuid.uuid4(),
        object=scene.object,
        face=face,
        surface=f"{face}.1",
        technique=technique,
        variant=variant,
        kind="single",
        state=DeliverableState.ACCEPTED,
        captured_at=at,
        created_at=at,
        handed_in_at=at,
        px_per_mm=24,
        is_complete=True,
        photographer=scene.photographer,
    )
    Review.objects.create(
        deliverable=picture, verdict=Review.Verdict.ACCEPTED, by=scene.lead, recorded_at=at
    )
    return picture


def start(scene: Scene, *, at: datetime = NOW, **more: object) -> Intervention:
    step = scene.step()
    return acts.start_step(
        actor=scene.conservator,
        intervention_id=step.pk,
        read_version=step.row_version,
        started_at=at,
        now=NOW,
        **more,  # type: ignore[arg-type]
    )


def test_the_worked_gate_is_shut_by_the_one_missing_view_and_open_once_it_is_accepted(
    scene: Scene,
) -> None:
    before = NOW - timedelta(days=3)
    for technique, variant in FRONT[:-1]:
        accept(scene, technique, variant, at=before)
    with pytest.raises(DomainError, match="The gate is shut: UV of the front before treatment"):
        start(scene)
    assert scene.step().state == "planned"
    accept(scene, "UV", at=before)
    assert start(scene).state == "started"


def test_a_picture_captured_after_the_start_does_not_open_the_gate(scene: Scene) -> None:
    for technique, variant in FRONT[:-1]:
        accept(scene, technique, variant, at=NOW - timedelta(days=3))
    accept(scene, "UV", at=NOW - timedelta(hours=1))
    with pytest.raises(DomainError, match="The gate is shut"):
        start(scene, at=NOW - timedelta(hours=2))
    assert start(scene, at=NOW).state == "started"


def test_an_emergency_starts_against_a_shut_gate_and_keeps_the_list_of_what_is_lost(
    scene: Scene,
) -> None:
    emergency = EmergencyStart(reason="Water is coming through the roof.", witness_id=scene.lead.pk)
    step = start(scene, emergency=emergency)
    assert step.state == "started"
    assert len(step.override.lost_views) == len(FRONT)


def finish(scene: Scene, number: int, *, at: datetime = NOW) -> Intervention:
    step = scene.step(number)
    return acts.finish_step(
        actor=scene.conservator,
        intervention_id=step.pk,
        read_version=step.row_version,
        finished_at=at,
        now=NOW,
    )


def cleaned(scene: Scene) -> None:
    """Every view accepted before, the first step (surface cleaning) under way for a day."""
    for technique, variant in (*FRONT, ("IR", "")):
        accept(scene, technique, variant, at=NOW - timedelta(days=9))
    for technique, variant in (("VF", ""), ("RK", "L"), ("UV", "")):
        accept(scene, technique, variant, face="B", at=NOW - timedelta(days=9))
    accept_x_ray(scene)
    start(scene, at=NOW - timedelta(days=1))


def accept_x_ray(scene: Scene) -> None:
    picture = Deliverable(
        chain=uuid.uuid4(),
        object=scene.object,
        face="T",
        surface="T.1",
        technique="XR",
        kind="single",
        polarity="negative",
        state=DeliverableState.ACCEPTED,
        captured_at=NOW - timedelta(days=9),
        created_at=NOW - timedelta(days=9),
        handed_in_at=NOW - timedelta(days=9),
        px_per_mm=24,
        is_complete=True,
        photographer=scene.photographer,
    )
    picture.save()
    Review.objects.create(
        deliverable=picture,
        verdict=Review.Verdict.ACCEPTED,
        by=scene.lead,
        recorded_at=NOW - timedelta(days=9),
    )


def present(scene: Scene) -> dict[str, str]:
    settle([scene.object.pk], now=NOW)
    rows = ViewStatus.objects.filter(object=scene.object, owed_view__anchor="CUR").values_list(
        "owed_view__technique", "owed_view__face", "owed_view__variant", "status"
    )
    return {"-".join(part for part in row[:3] if part): row[3] for row in rows}


def test_a_finished_step_makes_its_views_untrue_in_the_next_reading(scene: Scene) -> None:
    cleaned(scene)
    assert set(present(scene).values()) == {"accepted"}
    finish(scene, 1)
    after = present(scene)
    assert {key for key, status in after.items() if status == "out_of_date"} == {
        "VF-F",
        "VC-F",
        "UV-F",
    }
    why = ViewStatus.objects.get(
        object=scene.object, owed_view__technique="UV", owed_view__face="F", owed_view__anchor="CUR"
    ).why
    assert why.endswith("changed UV of the front.")
    assert EntryStatus.objects.get(entry=scene.entry).grade == "in_progress"
    assert verify([scene.object.pk], now=NOW) == []


def test_varnish_removal_asks_once_for_each_picture_it_puts_in_doubt(scene: Scene) -> None:
    cleaned(scene)
    finish(scene, 1, at=NOW - timedelta(hours=20))
    second = scene.step(2)
    acts.start_step(
        actor=scene.conservator,
        intervention_id=second.pk,
        read_version=second.row_version,
        started_at=NOW - timedelta(hours=19),
        now=NOW,
    )
    finish(scene, 2)
    cases = DecisionCase.objects.filter(intervention=second)
    assert sorted(f"{case.technique}-{case.face}-{case.variant}" for case in cases) == [
        "IR-F-",
        "RK-F-L",
        "RK-F-T",
    ]
    assert {case.proposal for case in cases if case.technique == "RK"} == {"out_of_date"}
    assert {case.proposal for case in cases if case.technique == "IR"} == {"valid"}
    assert present(scene)["RK-F-L"] == "undecided"


def test_the_second_of_two_people_who_finish_a_step_is_told_what_changed(scene: Scene) -> None:
    cleaned(scene)
    step = scene.step()
    read = step.row_version
    finish(scene, 1)
    with pytest.raises(StaleWrite) as refused:
        acts.finish_step(
            actor=scene.conservator,
            intervention_id=step.pk,
            read_version=read,
            finished_at=NOW - timedelta(hours=2),
            now=NOW,
        )
    assert "Runa changed step 1" in str(refused.value)
    assert [difference[0] for difference in refused.value.differences] == ["Finished at"]
    assert AuditEvent.objects.filter(code="treatments.step_finished").count() == 1


def test_a_late_entry_lists_the_pictures_whose_meaning_changes(scene: Scene) -> None:
    cleaned(scene)
    accept(scene, "UV", at=NOW - timedelta(hours=2))
    sentences = acts.correction_sentences(
        scene.step(),
        started_at=scene.step().started_at,
        finished_at=NOW - timedelta(hours=3),
        now=NOW,
        is_correction=False,
    )
    assert len(sentences) == 1
    assert sentences[0].startswith("UV of the front, captured on 16 Apr 2026")


def corrected(scene: Scene, step: Intervention, started_at: datetime) -> Intervention:
    """The conservator proposes another start, the lead countersigns it."""
    step.refresh_from_db()
    proposal = acts_times.propose_step_times(
        actor=scene.conservator,
        intervention_id=step.pk,
        read_version=step.row_version,
        started_at=started_at,
        finished_at=step.finished_at,
        reason="The diary of the workshop says so.",
        now=NOW,
    )
    assert any("At that time the gate was shut" in said for said in proposal.changes)
    return acts_times.countersign_step_times(
        actor=scene.lead, proposal_id=proposal.pk, read_version=1, now=NOW
    )


def before_treatment(scene: Scene) -> dict[str, str]:
    settle([scene.object.pk], now=NOW)
    rows = ViewStatus.objects.filter(object=scene.object, owed_view__anchor="BT").values_list(
        "owed_view__technique", "owed_view__variant", "status"
    )
    return {"-".join(part for part in row[:2] if part): row[2] for row in rows}


def test_a_start_corrected_to_a_time_with_a_shut_gate_keeps_what_it_missed(scene: Scene) -> None:
    for technique, variant in FRONT:
        accept(scene, technique, variant, at=NOW - timedelta(days=3))
    step = start(scene, at=NOW - timedelta(days=1))
    assert set(before_treatment(scene).values()) == {"accepted"}
    corrected(scene, step, NOW - timedelta(days=9))
    assert set(before_treatment(scene).values()) == {"lost"}, "relief too: it was taken afterwards"
    override = step.override
    assert (override.conservator, override.witness) == (scene.conservator, scene.lead)
    assert len(override.lost_views) == len(FRONT)
    assert Treatment.objects.get(pk=scene.treatment.pk).is_emergency is True
    said = emergency_words(override, NOW).known
    assert said[0].startswith(
        "Its start was corrected by Runa to a time at which the gate was shut"
    )
    assert any(sentence.startswith("Not accepted before it began: visible") for sentence in said)
    told = "\n".join(Notice.objects.filter(user=scene.lead).values_list("text", flat=True))
    assert "when its gate was shut. Not accepted before it: visible" in told
    assert verify([scene.object.pk], now=NOW) == []


def test_a_start_corrected_while_the_gate_stood_open_is_no_emergency(scene: Scene) -> None:
    for technique, variant in FRONT:
        accept(scene, technique, variant, at=NOW - timedelta(days=9))
    step = start(scene, at=NOW - timedelta(days=1))
    proposal = acts_times.propose_step_times(
        actor=scene.conservator,
        intervention_id=step.pk,
        read_version=step.row_version,
        started_at=NOW - timedelta(days=2),
        finished_at=None,
        reason="The diary of the workshop says so.",
        now=NOW,
    )
    acts_times.countersign_step_times(
        actor=scene.lead, proposal_id=proposal.pk, read_version=1, now=NOW
    )
    assert not EmergencyOverride.objects.exists()
    assert set(before_treatment(scene).values()) == {"accepted"}
