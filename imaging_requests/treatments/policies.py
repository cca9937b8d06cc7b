"""Who may plan, record, decide and sign off: conservators their own, the head reassigns."""

from __future__ import annotations

from typing import Any

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import READ, act
from imaging_requests.treatments.models import (
    DecisionCase,
    EmergencyOverride,
    TimesProposal,
    Treatment,
)


def _own_treatment(user: User, subject: Any) -> str:
    treatment: Treatment = subject
    if treatment.conservator_id != user.pk:
        return (
            f"Treatment {treatment.code} is {treatment.conservator.name}'s; only the treating "
            "conservator records it, and the department head can reassign it."
        )
    return ""


def _own_case(user: User, subject: Any) -> str:
    case: DecisionCase = subject
    if case.assigned_to_id != user.pk:
        return (
            f"This question is assigned to {case.assigned_to.name}; the department head can "
            "reassign it."
        )
    return ""


def _own_emergency(user: User, subject: Any) -> str:
    override: EmergencyOverride = subject
    if override.conservator_id != user.pk and not user.has_role(Role.HEAD):
        return (
            f"{override.conservator.name} started this emergency and names its witness; the "
            "department head can do it too."
        )
    return ""


def _other_than_proposer(user: User, subject: Any) -> str:
    proposal: TimesProposal = subject
    if proposal.proposed_by_id == user.pk:
        return "You proposed these times yourself; a second person countersigns or declines them."
    return ""


READ_TREATMENTS = READ
PLAN_TREATMENT = act("treatments.plan", "Planning a treatment", roles=frozenset({Role.CONSERVATOR}))
TREAT = act(
    "treatments.treat",
    "Recording a treatment",
    roles=frozenset({Role.CONSERVATOR}),
    rule=_own_treatment,
)
COUNTERSIGN_TIMES = act(
    "treatments.countersign_times",
    "Countersigning or declining corrected times",
    roles=frozenset({Role.LEAD}),
    rule=_other_than_proposer,
)
RECORD_INCIDENT = act(
    "treatments.record_incident",
    "Recording an incident",
    roles=frozenset({Role.CONSERVATOR, Role.LEAD}),
)
COMPLETE_EMERGENCY = act(
    "treatments.complete_emergency",
    "Naming the witness of an emergency",
    roles=frozenset({Role.CONSERVATOR, Role.HEAD}),
    rule=_own_emergency,
)
DECIDE = act(
    "treatments.decide",
    "Deciding whether an older picture is still true",
    roles=frozenset({Role.CONSERVATOR}),
    rule=_own_case,
)
REOPEN_CASE = act(
    "treatments.reopen_case",
    "Reopening a decision",
    roles=frozenset({Role.CONSERVATOR, Role.HEAD}),
)
REASSIGN = act(
    "treatments.reassign",
    "Giving a treatment or a question to another conservator",
    roles=frozenset({Role.HEAD}),
)
