"""Reads of treatments: steps with their names, people to choose from, questions still open."""

from __future__ import annotations

from django.db.models import Prefetch, Q, QuerySet

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import EVERYONE_INSIDE
from imaging_requests.people.queries import holders
from imaging_requests.reckoning.truth.triggers import TriggerTable
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    EmergencyOverride,
    Intervention,
    Treatment,
)


def treatments() -> QuerySet[Treatment]:
    """List treatments with their object and conservator and, in order, their steps."""
    steps = Intervention.objects.select_related("override").order_by("step")
    return Treatment.objects.select_related("object", "conservator").prefetch_related(
        Prefetch("interventions", queryset=steps)
    )


def step_types(table: TriggerTable) -> list[tuple[int, str]]:
    """Return the kinds of step of a trigger table, incidents aside, for a form."""
    return [
        (row.number, f"{row.number}. {row.name}")
        for row in table.rows.values()
        if not row.is_incident
    ]


def conservators() -> QuerySet[User]:
    """List everybody who may treat."""
    return holders(Role.CONSERVATOR)


def witnesses(of: User) -> QuerySet[User]:
    """List everybody of the house who can be named as witness of a person's emergency start."""
    return holders(*(role for role in Role if role in EVERYONE_INSIDE)).exclude(pk=of.pk)


def cases() -> QuerySet[DecisionCase]:
    """List questions, the open ones first and the oldest of them first, with their answers."""
    answers = DecisionVerdict.objects.select_related("by").order_by("recorded_at", "pk")
    return (
        DecisionCase.objects.select_related(
            "object", "assigned_to", "intervention__treatment", "incident"
        )
        .prefetch_related(Prefetch("verdicts", queryset=answers))
        .order_by("-state", "opened_at", "pk")
    )


def incomplete_emergencies() -> QuerySet[EmergencyOverride]:
    """List emergency starts that lack a witness's name or a record picture, the oldest first."""
    return (
        EmergencyOverride.objects.filter(Q(witness=None) | Q(record_picture=""))
        .select_related("intervention__treatment", "intervention__object", "conservator")
        .order_by("recorded_at")
    )
