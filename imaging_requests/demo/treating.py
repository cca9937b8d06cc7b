"""The treatments of the scenario, each step at its instant and recorded when it was recorded."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from imaging_requests.demo import duties
from imaging_requests.demo.codes import View, view_of
from imaging_requests.demo.world import Step, World
from imaging_requests.progress import acts
from imaging_requests.requesting import actions as requesting
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.models import DecisionCase, Intervention, Treatment
from imaging_requests.treatments.rules import EmergencyStart

#: Within one instant, what is recorded of a treatment comes after pictures and before planning.
RANK = 5
Row = Mapping[str, Any]


def steps(world: World) -> Iterator[Step]:
    """Yield everything that happens in the treatments of this demo's objects."""
    at = world.calendar.at
    for row in world.scenario.mine(world.scenario["treatments"]["treatments"]):
        code = row["code"]
        yield Step(at(row["recorded"]), RANK, f"{code} planned", partial(_plan, world, row))
        for number, step in enumerate(row["steps"], 1):
            if "started" in step:
                recorded = step.get("start_recorded", step["started"])
                what = partial(_start, world, row, number, step)
                yield Step(at(recorded), RANK, f"{code} step {number} started", what)
            if "finished" in step:
                recorded = step.get("finish_recorded", step["finished"])
                what = partial(_finish, world, row, number, step)
                yield Step(at(recorded), RANK, f"{code} step {number} finished", what)
        for decision in row["decisions"]:
            what = partial(_decide, world, row, decision)
            yield Step(at(decision["on"]), RANK, f"{code} decided", what)
        for waiver in row.get("waivers", ()):
            yield Step(
                at(waiver["on"]), RANK, f"{code} waived", partial(_waive, world, row, waiver)
            )
        if "signed_off" in row:
            yield Step(
                at(row["signed_off"]), RANK, f"{code} signed", partial(_sign_off, world, row)
            )


def changes_before(world: World, number: str, at: Any) -> tuple[str, ...]:
    """Return what had changed on an object by an instant, in the order in which it happened."""
    done = [
        (world.calendar.at(step["finished"]), step["changes"])
        for row in world.scenario["treatments"]["treatments"]
        if row["object"] == number
        for step in row["steps"]
        if "finished" in step
    ]
    return tuple(change for when, changes in sorted(done) if when <= at for change in changes)


def _plan(world: World, row: Row) -> None:
    actor, now = world.people[row["conservator"]], world.calendar.at(row["recorded"])
    treatment = treatments.plan_treatment(
        actor=actor,
        object_id=world.objects[row["object"]],
        title=row["title"],
        scope=row["scope"],
        planned_from=world.calendar.day(row["planned_from"]),
        planned_to=world.calendar.day(row["planned_to"]),
        code=row["code"],
        now=now,
    )
    world.treatments[row["code"]] = treatment.pk
    for step in row["steps"]:
        values: dict[str, Any] = {
            name: step[name] for name in ("label", "face", "direction", "materials") if name in step
        }
        if "exposure_until" in step:
            values["exposure_until"] = world.calendar.at(step["exposure_until"])
        treatments.add_intervention(
            actor=actor,
            treatment_id=treatment.pk,
            read_version=Treatment.objects.get(pk=treatment.pk).row_version,
            type_row=step["row"],
            planned_on=world.calendar.day(step["planned_on"]),
            now=now,
            **values,
        )


def _step(world: World, row: Row, number: int) -> Intervention:
    return Intervention.objects.get(treatment=world.treatments[row["code"]], step=number)


def _start(world: World, row: Row, number: int, step: Row) -> None:
    intervention = _step(world, row, number)
    emergency = None
    if "emergency" in step:
        told = step["emergency"]
        emergency = EmergencyStart(
            reason=told["reason"],
            record_picture=told["record_picture"],
            witness_id=world.people[told["witness"]].pk,
        )
    acts.start_step(
        actor=world.people[row["conservator"]],
        intervention_id=intervention.pk,
        read_version=intervention.row_version,
        started_at=world.calendar.at(step["started"]),
        emergency=emergency,
        now=world.calendar.at(step.get("start_recorded", step["started"])),
    )


def _finish(world: World, row: Row, number: int, step: Row) -> None:
    intervention = _step(world, row, number)
    acts.finish_step(
        actor=world.people[row["conservator"]],
        intervention_id=intervention.pk,
        read_version=intervention.row_version,
        finished_at=world.calendar.at(step["finished"]),
        now=world.calendar.at(step.get("finish_recorded", step["finished"])),
    )


def _decide(world: World, row: Row, decision: Row) -> None:
    """Answer the questions that are open; one that the scenario expects must have been asked."""
    verdicts = dict(decision["verdicts"])
    cases = DecisionCase.objects.filter(
        intervention__treatment=world.treatments[row["code"]], state=DecisionCase.State.OPEN
    )
    for case in cases:
        verdict = verdicts.pop(View(case.technique, case.face, case.variant).code, None)
        if verdict is not None:
            treatments.decide_case(
                actor=world.people[row["conservator"]],
                case_id=case.pk,
                read_version=case.row_version,
                verdict=verdict,
                reason=decision["reason"],
                now=world.calendar.at(decision["on"]),
            )
    if verdicts:
        raise LookupError(f"{row['code']}: nobody asked about {', '.join(verdicts)}.")


def _waive(world: World, row: Row, waiver: Row) -> None:
    now = world.calendar.at(waiver["on"])
    for code in waiver["views"]:
        duty = duties.of_treatment(world, row["object"], view_of(code), row["code"], now)
        requesting.grant_waiver(
            actor=world.people[waiver["by"]],
            owed_view_id=duty.pk,
            reason_code=waiver["reason_code"],
            text=waiver["text"],
            co_signed_by=world.people[waiver["co_signed_by"]],
            is_last_look=True,
            now=now,
        )


def _sign_off(world: World, row: Row) -> None:
    treatment = Treatment.objects.get(pk=world.treatments[row["code"]])
    treatments.sign_off_treatment(
        actor=world.people[row["conservator"]],
        treatment_id=treatment.pk,
        read_version=treatment.row_version,
        now=world.calendar.at(row["signed_off"]),
    )
