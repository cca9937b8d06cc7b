"""Recording a treatment: planning, starting through the gate, finishing, correcting, ending."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from imaging_requests.collection.models import StaleMark
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, User
from imaging_requests.treatments import actions
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    EmergencyOverride,
    Intervention,
    InterventionRecord,
    InterventionState,
    TimesProposal,
    Treatment,
    TreatmentState,
)
from imaging_requests.treatments.rules import EmergencyStart, GateAnswer, NewCase
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db
CHAIN = uuid.UUID(int=7)
REASON = "seen at ten times magnification"


@pytest.fixture
def runa() -> User:
    return factory.conservator()


@pytest.fixture
def treatment(runa: User) -> Treatment:
    factory.trigger_table()
    return factory.treatment(factory.museum_object("AR 0070"), (1, 2, 6), by=runa)


def step(treatment: Treatment, number: int) -> Intervention:
    return treatment.interventions.get(step=number)


def gate(row: Intervention, at: datetime, *missing: str) -> GateAnswer:
    return GateAnswer(intervention_id=row.pk, at=at, is_open=not missing, missing=missing)


def start(
    row: Intervention, at: datetime, *, by: User, missing: tuple[str, ...] = (), **more: Any
) -> Intervention:
    row.refresh_from_db()
    return actions.start_intervention(
        actor=by,
        intervention_id=row.pk,
        read_version=row.row_version,
        started_at=at,
        gate=gate(row, at, *missing),
        now=more.pop("now", NOW),
        **more,
    )


def finish(
    row: Intervention, at: datetime, *, by: User, cases: tuple[NewCase, ...] = (), **more: Any
) -> Intervention:
    row.refresh_from_db()
    return actions.finish_intervention(
        actor=by,
        intervention_id=row.pk,
        read_version=row.row_version,
        finished_at=at,
        cases=cases,
        now=more.pop("now", NOW),
    )


def question(chain: uuid.UUID = CHAIN, proposal: str = "out_of_date") -> NewCase:
    return NewCase(
        chain=chain,
        technique="RK",
        face="F",
        variant="L",
        proposal=proposal,
        reason="Varnish fills fine relief.",
    )


def test_a_conservator_plans_a_treatment_with_its_steps(runa: User) -> None:
    factory.trigger_table()
    obj = factory.museum_object()
    made = actions.plan_treatment(
        actor=runa,
        object_id=obj.pk,
        title=" Varnish removal ",
        scope=[("UV", "F"), ("RK", "F", ["before"])],
        now=NOW,
    )
    assert (made.code, made.title, made.conservator) == ("T1", "Varnish removal", runa)
    assert made.scope == [["UV", "F"], ["RK", "F", ["before"]]]
    first = actions.add_intervention(
        actor=runa, treatment_id=made.pk, read_version=1, type_row=2, label="cleaned", now=NOW
    )
    second = actions.add_intervention(
        actor=runa, treatment_id=made.pk, read_version=2, type_row=7, now=NOW
    )
    assert [first.step, second.step] == [1, 2]
    assert StaleMark.objects.filter(object=obj).count() == 3
    with pytest.raises(DomainError, match="version 1, knows no step of type 99"):
        actions.add_intervention(
            actor=runa, treatment_id=made.pk, read_version=3, type_row=99, now=NOW
        )


def test_the_plan_of_a_step_changes_until_it_begins(treatment: Treatment, runa: User) -> None:
    row = step(treatment, 1)
    changed = actions.edit_intervention(
        actor=runa, intervention_id=row.pk, read_version=1, label="soot", area_cm2=3.0, now=NOW
    )
    assert (changed.label, changed.area_cm2) == ("soot", 3.0)
    event = AuditEvent.objects.get(code="treatments.step_changed")
    assert event.before == {"label": "", "area_cm2": None, "face": "F"}
    assert event.after == {"label": "soot", "area_cm2": 3.0, "face": "F"}
    start(row, NOW - hours(1), by=runa)
    with pytest.raises(IllegalStep, match="cannot change the plan of this step: it is started"):
        actions.edit_intervention(
            actor=runa, intervention_id=row.pk, read_version=3, label="dirt", now=NOW
        )


def test_a_step_begins_through_an_open_gate(treatment: Treatment, runa: User) -> None:
    row = start(step(treatment, 1), NOW - hours(2), by=runa)
    treatment.refresh_from_db()
    assert (row.state, row.started_at) == (InterventionState.STARTED, NOW - hours(2))
    assert treatment.state == TreatmentState.UNDER_WAY
    record = InterventionRecord.objects.get(intervention=row)
    assert (record.recorded_at, record.started_at, record.recorded_by) == (
        NOW,
        NOW - hours(2),
        runa,
    )
    event = AuditEvent.objects.get(code="treatments.step_started")
    assert event.valid_at == NOW - hours(2)
    assert StaleMark.objects.filter(reason="treatments.step_started").exists()


def test_a_shut_gate_keeps_a_step_from_beginning(treatment: Treatment, runa: User) -> None:
    row = step(treatment, 1)
    with pytest.raises(DomainError, match="The gate is shut: UV, front would be lost"):
        start(row, NOW, by=runa, missing=("UV, front",))
    row.refresh_from_db()
    assert row.started_at is None
    assert not InterventionRecord.objects.exists()
    assert not AuditEvent.objects.filter(code="treatments.step_started").exists()


@pytest.mark.parametrize("name", ["curator", "photographer", "lead", "head", "keeper"])
def test_nobody_but_the_treating_conservator_records_a_step(
    treatment: Treatment, name: str
) -> None:
    with pytest.raises(NotAllowed, match="Recording a treatment is for the conservator"):
        start(step(treatment, 1), NOW, by=factory.person("Other", name))


def test_a_colleague_is_told_whose_treatment_it_is(treatment: Treatment, runa: User) -> None:
    tibor = factory.conservator("Tibor")
    with pytest.raises(NotAllowed, match="is Runa's; only the treating conservator records it"):
        start(step(treatment, 1), NOW, by=tibor)
    start(step(treatment, 1), NOW, by=runa)


def test_what_was_done_on_tuesday_is_entered_on_friday(treatment: Treatment, runa: User) -> None:
    tuesday = NOW - hours(72)
    start(step(treatment, 1), tuesday, by=runa)
    row = finish(step(treatment, 1), tuesday + hours(3), by=runa)
    assert row.finished_at == tuesday + hours(3)
    assert [r.recorded_at for r in row.records.all()] == [NOW, NOW]
    with pytest.raises(DomainError, match="The start of the step lies in the future"):
        start(step(treatment, 2), NOW + hours(1), by=runa)


def test_a_stale_page_does_not_overwrite(treatment: Treatment, runa: User) -> None:
    row = step(treatment, 1)
    actions.edit_intervention(
        actor=runa, intervention_id=row.pk, read_version=1, label="cleaned", now=NOW
    )
    with pytest.raises(StaleWrite, match="Runa changed step 1 of") as refusal:
        actions.start_intervention(
            actor=runa,
            intervention_id=row.pk,
            read_version=1,
            started_at=NOW,
            gate=gate(row, NOW),
            now=NOW,
        )
    assert refusal.value.differences[0][0] == "Started at"


def test_steps_do_not_overlap_on_one_face_unless_combined(treatment: Treatment, runa: User) -> None:
    start(step(treatment, 1), NOW - hours(5), by=runa)
    with pytest.raises(DomainError, match="On the front of this object step 1 of"):
        start(step(treatment, 2), NOW - hours(4), by=runa)
    second = step(treatment, 2)
    actions.edit_intervention(
        actor=runa, intervention_id=second.pk, read_version=1, combined=True, now=NOW
    )
    start(second, NOW - hours(4), by=runa)


def test_two_treatments_of_one_object_do_not_overlap_either(
    treatment: Treatment, runa: User
) -> None:
    other = factory.treatment(treatment.object, (8,), by=runa, code="T900")
    start(step(treatment, 1), NOW - hours(5), by=runa)
    with pytest.raises(DomainError, match="was under way at the same time"):
        start(step(other, 1), NOW - hours(4), by=runa)


def correct(
    row: Intervention,
    started_at: datetime,
    finished_at: datetime | None,
    *,
    by: User,
    signed_by: User,
    cases: tuple[NewCase, ...] = (),
) -> Intervention:
    row.refresh_from_db()
    proposal = propose(row, started_at, finished_at, by=by)
    return actions.countersign_times(
        actor=signed_by,
        proposal_id=proposal.pk,
        read_version=1,
        gate=gate(row, started_at),
        cases=cases,
        now=NOW,
    )


def told(user: User) -> list[str]:
    return list(Notice.objects.filter(user=user).values_list("text", flat=True))


def propose(
    row: Intervention,
    started_at: datetime,
    finished_at: datetime | None,
    *,
    by: User,
    reason: str = REASON,
) -> TimesProposal:
    return actions.propose_times(
        actor=by,
        intervention_id=row.pk,
        read_version=row.row_version,
        started_at=started_at,
        finished_at=finished_at,
        reason=reason,
        changes=("UV of the front: filed now, out of date afterwards.",),
        now=NOW,
    )


def test_a_finished_step_asks_its_questions_exactly_once(treatment: Treatment, runa: User) -> None:
    start(step(treatment, 1), NOW - hours(5), by=runa)
    row = finish(step(treatment, 1), NOW - hours(4), by=runa, cases=(question(),))
    case = DecisionCase.objects.get()
    assert (case.intervention, case.assigned_to, case.proposal) == (row, runa, "out_of_date")
    assert "1 older picture of" in Notice.objects.get(user=runa).text
    correct(
        row,
        NOW - hours(6),
        NOW - hours(4),
        by=runa,
        signed_by=factory.lead(),
        cases=(question(), question(uuid.UUID(int=8))),
    )
    assert DecisionCase.objects.count() == 2


@pytest.fixture
def recorded(treatment: Treatment, runa: User) -> Intervention:
    """A finished step with one open question."""
    start(step(treatment, 1), NOW - hours(5), by=runa, now=NOW - hours(4))
    ended = NOW - hours(3)
    return finish(step(treatment, 1), ended, by=runa, cases=(question(),), now=ended)


def test_corrected_times_stay_beside_what_was_recorded_before(
    recorded: Intervention, runa: User
) -> None:
    signe = factory.lead()
    corrected = correct(recorded, NOW - hours(30), NOW - hours(28), by=runa, signed_by=signe)
    kept = [(r.state, r.started_at, r.finished_at, r.reason) for r in corrected.records.all()]
    assert kept == [
        ("started", NOW - hours(5), None, ""),
        ("finished", NOW - hours(5), NOW - hours(3), ""),
        ("finished", NOW - hours(30), NOW - hours(28), REASON),
    ]
    event = AuditEvent.objects.get(code="treatments.times_corrected")
    assert (event.reason, event.actor, event.after["proposed_by"]) == (REASON, signe, runa.pk)
    assert any("Signe countersigned the corrected times" in said for said in told(runa))
    assert DecisionCase.objects.get().state == DecisionCase.State.DROPPED
    again = correct(
        recorded, NOW - hours(31), NOW - hours(28), by=runa, signed_by=signe, cases=(question(),)
    )
    assert DecisionCase.objects.get().state == DecisionCase.State.OPEN
    assert again.records.count() == 4


def test_proposed_times_change_nothing_before_the_lead_signs(
    recorded: Intervention, runa: User
) -> None:
    signe = factory.lead()
    StaleMark.objects.all().delete()
    proposal = propose(recorded, NOW - hours(30), NOW - hours(28), by=runa)
    before = (recorded.started_at, recorded.finished_at, recorded.row_version)
    recorded.refresh_from_db()
    assert (recorded.started_at, recorded.finished_at, recorded.row_version) == before
    assert recorded.records.count() == 2
    assert DecisionCase.objects.get().state == DecisionCase.State.OPEN
    assert not StaleMark.objects.exists()
    assert (proposal.started_before, proposal.finished_before) == before[:2]
    assert proposal.changes == ["UV of the front: filed now, out of date afterwards."]
    notice = Notice.objects.get(user=signe).text
    assert "Runa proposes other times for step 1 of" in notice
    assert "Nothing changes until you countersign." in notice
    assert AuditEvent.objects.get(code="treatments.times_proposed").reason == REASON


def test_who_proposes_times_does_not_countersign_them(recorded: Intervention, runa: User) -> None:
    signe = factory.lead()
    with pytest.raises(NotAllowed, match="Recording a treatment is for the conservator"):
        propose(recorded, NOW - hours(30), NOW - hours(28), by=signe)
    with pytest.raises(DomainError, match="The reason has 5 characters; at least 10"):
        propose(recorded, NOW - hours(30), NOW - hours(28), by=runa, reason="typo.")
    with pytest.raises(DomainError, match="These are the times on record already"):
        propose(recorded, NOW - hours(5), NOW - hours(3), by=runa)
    both = factory.person("Both", "conservator", "lead")
    Treatment.objects.filter(pk=recorded.treatment_id).update(conservator=both)
    proposal = propose(recorded, NOW - hours(30), NOW - hours(28), by=both)
    wanted = {"proposal_id": proposal.pk, "read_version": 1, "now": NOW}
    asked = gate(recorded, NOW - hours(30))
    with pytest.raises(NotAllowed, match="corrected times is for the imaging lead"):
        actions.countersign_times(actor=runa, gate=asked, **wanted)
    with pytest.raises(NotAllowed, match="You proposed these times yourself"):
        actions.countersign_times(actor=both, gate=asked, **wanted)
    with pytest.raises(NotAllowed, match="You proposed these times yourself"):
        actions.decline_times(actor=both, reason=REASON, **wanted)
    with pytest.raises(IntegrityError), transaction.atomic():
        TimesProposal.objects.filter(pk=proposal.pk).update(
            state="signed", decided_by=both, decided_at=NOW
        )
    signed = actions.countersign_times(actor=signe, gate=asked, **wanted)
    assert signed.started_at == NOW - hours(30)
    with pytest.raises(StaleWrite):
        actions.countersign_times(actor=signe, gate=asked, **wanted)
    with pytest.raises(IllegalStep, match="This proposal is decided: countersigned"):
        actions.countersign_times(actor=signe, gate=asked, **(wanted | {"read_version": 2}))
    with pytest.raises(DatabaseError, match="decided never change"), transaction.atomic():
        TimesProposal.objects.filter(pk=proposal.pk).update(reason="another reason")


def test_declined_times_leave_the_record_as_it_is(recorded: Intervention, runa: User) -> None:
    signe = factory.lead()
    proposal = propose(recorded, NOW - hours(30), NOW - hours(28), by=runa)
    wanted = {"actor": signe, "proposal_id": proposal.pk, "read_version": 1, "now": NOW}
    with pytest.raises(DomainError, match="The reason has 2 characters"):
        actions.decline_times(**wanted, reason="no")
    declined = actions.decline_times(**wanted, reason="the diary says otherwise")
    assert declined.get_state_display() == "Declined"
    recorded.refresh_from_db()
    assert recorded.started_at == NOW - hours(5)
    said = f"you proposed for step 1 of {recorded.treatment.code}: the diary says otherwise"
    assert any(text.endswith(said) for text in told(runa))
    assert propose(recorded, NOW - hours(29), NOW - hours(28), by=runa).state == "open"


def test_a_step_changed_meanwhile_makes_its_proposal_stale(
    treatment: Treatment, runa: User
) -> None:
    signe = factory.lead()
    row = start(step(treatment, 1), NOW - hours(5), by=runa)
    proposal = propose(row, NOW - hours(6), None, by=runa)
    finish(step(treatment, 1), NOW - hours(1), by=runa)
    with pytest.raises(IllegalStep, match="has changed since these times were proposed"):
        actions.countersign_times(
            actor=signe, proposal_id=proposal.pk, read_version=1, gate=None, now=NOW
        )
    row.refresh_from_db()
    assert row.started_at == NOW - hours(5)
    later = propose(row, NOW - hours(6), NOW - hours(1), by=runa)
    proposal.refresh_from_db()
    assert (proposal.state, later.state) == ("replaced", "open")
    with pytest.raises(IllegalStep, match="decided: replaced by a later proposal"):
        actions.countersign_times(
            actor=signe, proposal_id=proposal.pk, read_version=2, gate=None, now=NOW
        )


def test_a_correction_does_not_change_how_far_a_step_is(treatment: Treatment, runa: User) -> None:
    row = start(step(treatment, 1), NOW - hours(5), by=runa)
    with pytest.raises(DomainError, match="still under way, so it has no end to correct"):
        propose(row, NOW - hours(6), NOW, by=runa)


def test_a_start_entered_late_needs_no_second_signature(treatment: Treatment, runa: User) -> None:
    row = start(step(treatment, 1), NOW - hours(24 * 3), by=runa)
    row = finish(row, NOW - hours(24 * 3 - 2), by=runa)
    assert (row.started_at, row.state) == (NOW - hours(72), "finished")
    assert not TimesProposal.objects.exists()


def test_a_start_that_never_happened_is_taken_back(treatment: Treatment, runa: User) -> None:
    start(step(treatment, 1), NOW - hours(5), by=runa)
    row = finish(step(treatment, 1), NOW - hours(4), by=runa, cases=(question(),))
    signe = factory.lead()
    back = actions.take_back_start(
        actor=runa,
        intervention_id=row.pk,
        read_version=row.row_version,
        reason="recorded on the wrong painting",
        now=NOW,
    )
    assert (back.state, back.started_at) == (InterventionState.PLANNED, None)
    assert back.records.count() == 3
    said = Notice.objects.get(user=signe).text
    assert said.endswith("which was on record as finished: recorded on the wrong painting")
    assert DecisionCase.objects.get().state == DecisionCase.State.DROPPED


def test_an_emergency_begins_at_once_and_names_what_was_lost(
    treatment: Treatment, runa: User
) -> None:
    corvin, signe = factory.head(), factory.lead()
    row = start(
        step(treatment, 1),
        NOW,
        by=runa,
        missing=("UV, front", "raking from left, front"),
        emergency=EmergencyStart(reason="water is coming through the roof"),
    )
    override = EmergencyOverride.objects.get(intervention=row)
    treatment.refresh_from_db()
    assert treatment.is_emergency
    assert override.lost_views == ["UV, front", "raking from left, front"]
    for person in (runa, corvin, signe):
        text = Notice.objects.get(user=person).text
        assert "UV, front and raking from left, front" in text
        assert "A witness is to be named by 17 Apr" in text
        assert "Where the record picture is kept is to be said by 17 Apr" in text


@pytest.mark.parametrize("role", ["co_author", "lender"])
def test_a_witness_works_in_the_house(treatment: Treatment, runa: User, role: str) -> None:
    outsider = factory.person("Oskar", role)
    fire = EmergencyStart(reason="smoke in the store", witness_id=outsider.pk)
    with pytest.raises(DomainError, match="is somebody of the house") as refused:
        start(step(treatment, 1), NOW, by=runa, missing=("UV",), emergency=fire)
    assert refused.value.code == "treatments.witness_from_outside"
    row = start(
        step(treatment, 1), NOW, by=runa, missing=("UV",), emergency=EmergencyStart(reason="smoke")
    )
    override = EmergencyOverride.objects.get(intervention=row)
    complete: dict[str, Any] = {"actor": runa, "override_id": override.pk, "now": NOW + hours(1)}
    with pytest.raises(DomainError, match="is somebody of the house"):
        actions.complete_emergency(**complete, witness_id=outsider.pk)
    named = actions.complete_emergency(**complete, witness_id=factory.lead().pk)
    assert named.witness_id is not None


def test_an_open_gate_makes_no_emergency(treatment: Treatment, runa: User) -> None:
    start(step(treatment, 1), NOW, by=runa, emergency=EmergencyStart(reason="just to be certain"))
    assert not EmergencyOverride.objects.exists()


def test_the_witness_is_a_second_person_named_within_the_time(
    treatment: Treatment, runa: User
) -> None:
    corvin, tibor = factory.head(), factory.conservator("Tibor")
    fire = EmergencyStart(reason="smoke in the store")
    with pytest.raises(DomainError, match="The witness of an emergency is a second person"):
        start(
            step(treatment, 1),
            NOW,
            by=runa,
            missing=("UV",),
            emergency=EmergencyStart(reason="smoke", witness_id=runa.pk),
        )
    row = start(step(treatment, 1), NOW, by=runa, missing=("UV",), emergency=fire)
    override = EmergencyOverride.objects.get(intervention=row)
    name: dict[str, Any] = {"override_id": override.pk, "witness_id": tibor.pk}
    with pytest.raises(DomainError, match="is a second person"):
        actions.complete_emergency(
            actor=runa, override_id=override.pk, witness_id=runa.pk, now=NOW + hours(1)
        )
    with pytest.raises(NotAllowed, match="Runa started this emergency"):
        actions.complete_emergency(actor=tibor, **name, now=NOW + hours(1))
    with pytest.raises(NotAllowed, match="The 24 hours for naming the witness ended on") as late:
        actions.complete_emergency(actor=runa, **name, now=NOW + hours(24.1))
    assert "The department head can still name one" in late.value.next_step
    late_row = actions.complete_emergency(actor=corvin, **name, now=NOW + hours(30))
    assert (late_row.witness, late_row.witnessed_at) == (tibor, NOW + hours(30))
    again = actions.complete_emergency(actor=corvin, **name, now=NOW + hours(31))
    assert again.witnessed_at == NOW + hours(30), "the same again changes nothing"
    other = factory.conservator("Ysolde")
    with pytest.raises(StaleWrite) as otherwise:
        actions.complete_emergency(
            actor=corvin, override_id=override.pk, witness_id=other.pk, now=NOW + hours(31)
        )
    assert otherwise.value.differences == [("Witness", "Tibor", "Ysolde")]


def test_a_case_is_decided_by_its_conservator_with_a_reason(
    treatment: Treatment, runa: User
) -> None:
    tibor = factory.conservator("Tibor")
    start(step(treatment, 1), NOW - hours(5), by=runa)
    finish(step(treatment, 1), NOW - hours(4), by=runa, cases=(question(),))
    case = DecisionCase.objects.get()
    answer: dict[str, Any] = {"case_id": case.pk, "read_version": 1, "now": NOW}
    with pytest.raises(NotAllowed, match="This question is assigned to Runa"):
        actions.decide_case(actor=tibor, **answer, verdict="valid", reason=REASON)
    with pytest.raises(DomainError, match="at least 10 are needed"):
        actions.decide_case(actor=runa, **answer, verdict="valid", reason="yes")
    with pytest.raises(DomainError, match="says “still valid” or “out of date”"):
        actions.decide_case(actor=runa, **answer, verdict="reopened", reason=REASON)
    actions.decide_case(actor=runa, **answer, verdict="valid", reason=REASON)
    with pytest.raises(StaleWrite):
        actions.decide_case(actor=runa, **answer, verdict="out_of_date", reason=REASON)
    with pytest.raises(IllegalStep, match="cannot decide this question: it is closed"):
        actions.decide_case(
            actor=runa, **(answer | {"read_version": 2}), verdict="valid", reason=REASON
        )
    case.refresh_from_db()
    assert case.state == DecisionCase.State.CLOSED
    assert DecisionVerdict.objects.get().reason == REASON
    assert StaleMark.objects.filter(reason="treatments.decided").exists()


def test_a_colleague_who_sees_it_otherwise_reopens_and_the_head_reassigns(
    treatment: Treatment, runa: User
) -> None:
    tibor, corvin = factory.conservator("Tibor"), factory.head()
    start(step(treatment, 1), NOW - hours(5), by=runa)
    finish(step(treatment, 1), NOW - hours(4), by=runa, cases=(question(),))
    case = DecisionCase.objects.get()
    actions.decide_case(
        actor=runa, case_id=case.pk, read_version=1, verdict="valid", reason=REASON, now=NOW
    )
    actions.reopen_case(
        actor=tibor, case_id=case.pk, read_version=2, reason="the cupping is flatter", now=NOW
    )
    assert "Tibor reopened a decision of yours" in Notice.objects.filter(user=runa)[0].text
    to_tibor: dict[str, Any] = {"conservator_id": tibor.pk, "reason": "Runa is away until May"}
    with pytest.raises(NotAllowed, match="is for the department head"):
        actions.reassign_case(actor=runa, case_id=case.pk, read_version=3, **to_tibor, now=NOW)
    with pytest.raises(DomainError, match="Corvin is no conservator"):
        actions.reassign_case(
            actor=corvin,
            case_id=case.pk,
            read_version=3,
            conservator_id=corvin.pk,
            reason=REASON,
            now=NOW,
        )
    actions.reassign_case(actor=corvin, case_id=case.pk, read_version=3, **to_tibor, now=NOW)
    actions.decide_case(
        actor=tibor,
        case_id=case.pk,
        read_version=4,
        verdict="out_of_date",
        reason=REASON,
        now=NOW,
    )
    assert [v.verdict for v in case.verdicts.all()] == ["valid", "reopened", "out_of_date"]


def test_signing_off_needs_every_step_ended_and_every_question_closed(
    treatment: Treatment, runa: User
) -> None:
    start(step(treatment, 1), NOW - hours(9), by=runa)
    finish(step(treatment, 1), NOW - hours(8), by=runa, cases=(question(),))
    treatment.refresh_from_db()
    with pytest.raises(IllegalStep, match="cannot sign off this treatment: it is under way"):
        actions.sign_off_treatment(
            actor=runa, treatment_id=treatment.pk, read_version=treatment.row_version, now=NOW
        )
    for number in (2, 3):
        row = step(treatment, number)
        actions.drop_intervention(
            actor=runa,
            intervention_id=row.pk,
            read_version=row.row_version,
            reason="not needed",
            now=NOW,
        )
    treatment.refresh_from_db()
    assert treatment.state == TreatmentState.FINISHED
    with pytest.raises(IllegalStep, match="1 question about older pictures is still open"):
        actions.sign_off_treatment(
            actor=runa, treatment_id=treatment.pk, read_version=treatment.row_version, now=NOW
        )
    actions.decide_case(
        actor=runa,
        case_id=DecisionCase.objects.get().pk,
        read_version=1,
        verdict="out_of_date",
        reason=REASON,
        now=NOW,
    )
    signed = actions.sign_off_treatment(
        actor=runa, treatment_id=treatment.pk, read_version=treatment.row_version, now=NOW
    )
    assert (signed.state, signed.signed_off_at) == (TreatmentState.SIGNED_OFF, NOW)


def test_an_emergency_is_not_signed_off_without_witness_and_record_picture(
    treatment: Treatment, runa: User
) -> None:
    tibor = factory.conservator("Tibor")
    row = start(
        step(treatment, 1),
        NOW - hours(1),
        by=runa,
        missing=("UV",),
        emergency=EmergencyStart(reason="smoke in the store"),
    )
    finish(row, NOW, by=runa)
    for number in (2, 3):
        actions.drop_intervention(
            actor=runa,
            intervention_id=step(treatment, number).pk,
            read_version=1,
            reason="not needed",
            now=NOW,
        )
    treatment.refresh_from_db()
    sign: dict[str, Any] = {
        "actor": runa,
        "treatment_id": treatment.pk,
        "read_version": treatment.row_version,
        "now": NOW,
    }
    with pytest.raises(IllegalStep, match="no witness and step 1 has no record picture"):
        actions.sign_off_treatment(**sign)
    actions.complete_emergency(
        actor=runa,
        override_id=EmergencyOverride.objects.get().pk,
        witness_id=tibor.pk,
        record_picture="telephone, 16 April, in the dossier",
        now=NOW,
    )
    assert actions.sign_off_treatment(**sign).state == TreatmentState.SIGNED_OFF


def test_a_treatment_rests_between_steps_and_is_taken_up_again(
    treatment: Treatment, runa: User
) -> None:
    start(step(treatment, 1), NOW - hours(9), by=runa)
    treatment.refresh_from_db()
    pause: dict[str, Any] = {"actor": runa, "treatment_id": treatment.pk, "now": NOW}
    with pytest.raises(IllegalStep, match="cannot pause this treatment: a step is under way"):
        actions.pause_treatment(
            **pause, read_version=treatment.row_version, reason="waiting for money"
        )
    finish(step(treatment, 1), NOW - hours(8), by=runa)
    treatment.refresh_from_db()
    paused = actions.pause_treatment(
        **pause, read_version=treatment.row_version, reason="waiting for money"
    )
    with pytest.raises(IllegalStep, match="it is paused") as refusal:
        start(step(treatment, 2), NOW, by=runa)
    assert refusal.value.next_step == "Resume the treatment first."
    resumed = actions.resume_treatment(**pause, read_version=paused.row_version)
    assert resumed.state == TreatmentState.UNDER_WAY


def test_a_treatment_that_never_began_is_dropped_with_its_steps(
    treatment: Treatment, runa: User
) -> None:
    actions.drop_treatment(
        actor=runa, treatment_id=treatment.pk, read_version=1, reason="lent first", now=NOW
    )
    assert set(treatment.interventions.values_list("state", flat=True)) == {"dropped"}


def test_the_head_gives_a_treatment_and_its_open_questions_to_a_colleague(
    treatment: Treatment, runa: User
) -> None:
    tibor, corvin = factory.conservator("Tibor"), factory.head()
    start(step(treatment, 1), NOW - hours(9), by=runa)
    finish(step(treatment, 1), NOW - hours(8), by=runa, cases=(question(),))
    treatment.refresh_from_db()
    give: dict[str, Any] = {
        "treatment_id": treatment.pk,
        "read_version": treatment.row_version,
        "conservator_id": tibor.pk,
        "reason": "Runa is away until May",
        "now": NOW,
    }
    with pytest.raises(NotAllowed, match="is for the department head"):
        actions.reassign_treatment(actor=runa, **give)
    with pytest.raises(DomainError, match="at least 10 are needed"):
        actions.reassign_treatment(actor=corvin, **give | {"reason": "away"})
    with pytest.raises(DomainError, match="Runa has it already"):
        actions.reassign_treatment(actor=corvin, **give | {"conservator_id": runa.pk})
    actions.reassign_treatment(actor=corvin, **give)
    told = f"Corvin gave treatment {treatment.code} to Tibor: Runa is away until May"
    assert told in Notice.objects.filter(user=runa).values_list("text", flat=True)
    assert DecisionCase.objects.get().assigned_to == tibor
    start(step(treatment, 2), NOW, by=tibor)


def test_a_new_phase_reopens_a_finished_treatment(runa: User) -> None:
    factory.trigger_table()
    done = factory.treatment(
        factory.museum_object(),
        (19,),
        by=runa,
        state=TreatmentState.FINISHED,
        finished_at=NOW - hours(99),
    )
    actions.add_intervention(
        actor=runa, treatment_id=done.pk, read_version=1, type_row=20, phase=2, now=NOW
    )
    done.refresh_from_db()
    assert done.state == TreatmentState.UNDER_WAY


def test_an_incident_opens_questions_for_a_conservator(runa: User) -> None:
    factory.trigger_table()
    obj, signe = factory.museum_object(), factory.lead()
    incident = actions.record_incident(
        actor=signe,
        object_id=obj.pk,
        kind="water",
        occurred_at=NOW - hours(3),
        assigned_to_id=runa.pk,
        note="a leak above the easel",
        cases=(question(),),
        now=NOW,
    )
    case = DecisionCase.objects.get(incident=incident)
    assert (case.intervention, case.assigned_to) == (None, runa)
    with pytest.raises(NotAllowed, match="Recording an incident is for"):
        actions.record_incident(
            actor=factory.curator(),
            object_id=obj.pk,
            kind="water",
            occurred_at=NOW,
            assigned_to_id=runa.pk,
            now=NOW,
        )
