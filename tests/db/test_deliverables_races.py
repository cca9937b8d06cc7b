"""Two people at the same instant: one wins, the other is told, and nothing is done twice.

Each race is run on real transactions in two threads that set out together, many times over.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from imaging_requests.campaigns import actions as campaigns
from imaging_requests.campaigns.models import Session
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import Deliverable, DeliverableState, Package, Review
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.models import User
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.models import Intervention
from imaging_requests.treatments.rules import GateAnswer
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = 5


def at_once(*works: Callable[[], Any]) -> list[Any]:
    """Set several works off together, each in a thread of its own; return results or refusals."""
    start = threading.Barrier(len(works))
    results: list[Any] = [None] * len(works)

    def run(place: int, work: Callable[[], Any]) -> None:
        try:
            start.wait(timeout=10)
            results[place] = work()
        except DomainError as refusal:
            results[place] = refusal
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(place, work)) for place, work in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return results


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0070")


def test_of_two_reviewers_one_decides_and_the_other_is_told(obj: CollectionObject) -> None:
    signe, lioba, amaro = factory.lead(), factory.photographer("Lioba"), factory.photographer()
    for _ in range(ROUNDS):
        row = factory.deliverable(obj, state="to_review", by=amaro)
        common: dict[str, Any] = {"deliverable_id": row.pk, "read_version": row.row_version}
        results = at_once(
            lambda common=common: actions.accept(actor=signe, **common, now=NOW),  # type: ignore[misc]
            lambda common=common: actions.send_back(  # type: ignore[misc]
                actor=lioba, **common, reasons=["focus"], note="soft", now=NOW
            ),
        )
        assert sorted(type(each).__name__ for each in results) == ["Review", "StaleWrite"]
        row.refresh_from_db()
        assert Review.objects.get(deliverable=row).verdict == row.state


def test_two_workers_put_one_picture_together(obj: CollectionObject) -> None:
    amaro = factory.photographer()
    for number in range(ROUNDS):
        line = factory.shot_line(
            factory.session(by=amaro, starts_at=NOW + hours(4 * number)), obj, "VF"
        )
        factory.frames_for(line)
        made = at_once(
            *[lambda line=line: actions.assemble_line(shot_line_id=line.pk, now=NOW)] * 2  # type: ignore[misc]
        )
        row = Deliverable.objects.get(shot_line=line)
        assert {each.pk for each in made} == {row.pk}
        assert row.deliverable_frames.count() == 1


def test_two_steps_on_one_face_do_not_begin_together(obj: CollectionObject) -> None:
    factory.trigger_table()
    runa, tibor = factory.conservator(), factory.conservator("Tibor")
    for number in range(ROUNDS):
        other = factory.museum_object()
        steps = [
            factory.treatment(other, (2,), by=by, code=f"T{number}-{by.name}").interventions.get()
            for by in (runa, tibor)
        ]

        def begin(step: Intervention) -> Callable[[], Intervention]:
            return lambda: treatments.start_intervention(
                actor=step.treatment.conservator,
                intervention_id=step.pk,
                read_version=1,
                started_at=NOW,
                gate=GateAnswer(intervention_id=step.pk, at=NOW, is_open=True),
                now=NOW,
            )

        results = at_once(*[begin(step) for step in steps])
        assert sum(isinstance(each, Intervention) for each in results) == 1
        (refusal,) = [each for each in results if isinstance(each, DomainError)]
        assert refusal.code == "treatments.steps_overlap"


def test_of_two_windows_that_finish_one_step_one_is_told_what_the_other_wrote(
    obj: CollectionObject,
) -> None:
    factory.trigger_table()
    runa = factory.conservator()
    for number in range(ROUNDS):
        treatment = factory.treatment(factory.museum_object(), (2,), by=runa, code=f"T{number}")
        step = treatment.interventions.get()
        step = treatments.start_intervention(
            actor=runa,
            intervention_id=step.pk,
            read_version=step.row_version,
            started_at=NOW - hours(5),
            gate=GateAnswer(intervention_id=step.pk, at=NOW - hours(5), is_open=True),
            now=NOW,
        )

        def finish(ended: float, step: Intervention = step) -> Callable[[], Intervention]:
            return lambda: treatments.finish_intervention(
                actor=runa,
                intervention_id=step.pk,
                read_version=step.row_version,
                finished_at=NOW - hours(ended),
                cases=(),
                now=NOW,
            )

        results = at_once(finish(3), finish(1))
        (won,) = [each for each in results if isinstance(each, Intervention)]
        (told,) = [each for each in results if isinstance(each, StaleWrite)]
        assert "Runa changed step 1" in str(told)
        assert "Finished at" in {difference[0] for difference in told.differences}
        step.refresh_from_db()
        assert step.finished_at == won.finished_at
        assert step.records.count() == 2, "one start and one end are recorded, not two ends"


def test_of_two_leads_who_edit_one_session_one_is_told_what_the_other_wrote(
    obj: CollectionObject,
) -> None:
    signe, ben = factory.lead(), factory.lead("Ben")
    amaro = factory.photographer()
    for number in range(ROUNDS):
        held = factory.session(by=amaro, starts_at=NOW + hours(4 * number + 1))
        factory.shot_line(held, obj, "VF")

        def edit(actor: User, note: str, held: Session = held) -> Callable[[], Session]:
            return lambda: campaigns.edit_session(
                actor=actor,
                session_id=held.pk,
                read_version=held.row_version,
                station_id=held.station_id,
                photographer_id=held.photographer_id,
                starts_at=held.starts_at,
                ends_at=held.ends_at,
                handlers=held.handlers,
                note=note,
                now=NOW,
            )

        results = at_once(edit(signe, "bring the gauge"), edit(ben, "bring the ladder"))
        (won,) = [each for each in results if isinstance(each, Session)]
        (told,) = [each for each in results if isinstance(each, StaleWrite)]
        assert [(label, now) for label, now, _ in told.differences] == [("Note", won.note)]
        held.refresh_from_db()
        assert held.note == won.note


def test_a_package_is_sealed_once_however_often_the_button_is_pressed(
    obj: CollectionObject,
) -> None:
    signe = factory.lead()
    entry = factory.entry(obj)
    for technique in ("VF", "VC", "UV", "IR"):
        frames = [factory.frame()]
        factory.proven(frames)
        row = factory.deliverable(obj, technique, frames=frames, state=DeliverableState.ACCEPTED)
        seal: dict[str, Any] = {
            "actor": signe,
            "entry_id": entry.pk,
            "deliverable_ids": [row.pk],
            "purpose": "figures",
            "now": NOW,
        }
        results = at_once(*[lambda seal=seal: actions.seal_package(**seal)] * 2)  # type: ignore[misc]
        assert sum(isinstance(each, Package) for each in results) == 1
        assert row.package_items.count() == 1
