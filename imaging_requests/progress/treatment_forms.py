"""Forms that people send about treatments, their steps and the questions they raise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django import forms
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.treatments.forms import ReasonForm, ReassignForm
from imaging_requests.treatments.models import (
    DecisionCase,
    Intervention,
    TimesProposal,
    Treatment,
    TreatmentState,
)
from imaging_requests.treatments.policies import REASSIGN, REOPEN_CASE


@dataclass(frozen=True)
class Act:
    """A form that a person may send about a treatment, a step or a question."""

    name: str
    label: str
    button: str
    form: forms.Form
    action: str
    kind: str = ""
    is_open: bool = False
    differences: tuple[tuple[str, str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    loses: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refused:
    """A form that came back: it is shown again with what was typed and why it was refused."""

    name: str
    subject_id: int
    form: forms.Form
    differences: tuple[tuple[str, str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    reason: str = ""


LABELS = {
    "start": ("Record the start", "Start the step", "do"),
    "start-shut": ("It cannot wait: start with the gate shut", "Start as an emergency", "stop"),
    "finish": ("Record the end", "Finish the step", "do"),
    "correct": ("Propose other times", "Propose these times", ""),
    "countersign": ("Countersign", "Countersign: these times are right", "do"),
    "decline": ("Decline", "Decline the proposal", "stop"),
    "emergency": ("Say what the emergency start owes", "Record it", ""),
    "take-back": (
        "Take back the start: it was entered by mistake",
        "Take the start back",
        "stop",
    ),
    "edit": ("Change what is planned", "Save the plan", ""),
    "drop": ("Drop this step", "Drop the step", "stop"),
    "add": ("Plan a step", "Add the step", ""),
    "sign-off": ("Sign the treatment off", "Sign off", "do"),
    "pause": ("Pause the treatment", "Pause", ""),
    "resume": ("Resume the treatment", "Resume", "do"),
    "drop-treatment": ("Drop the treatment", "Drop the treatment", "stop"),
    "reassign": ("Give the treatment to another conservator", "Give it to this conservator", ""),
    "hand-on": ("Give this question to another conservator", "Give it to this conservator", ""),
    "reopen": ("Reopen this decision", "Reopen it", ""),
}
#: Where a form about each kind of row is sent, and its act as a part of the address.
_SENT_TO: dict[type, str] = {
    Treatment: "progress:treatment_act",
    Intervention: "progress:step_act",
    TimesProposal: "progress:times_act",
}


class VersionForm(SpokenForm):
    """Only the version that was read."""

    read_version = forms.IntegerField(widget=forms.HiddenInput)


def local_minute(instant: datetime | None) -> str:
    """Return an instant as a browser's own field of day and time takes it."""
    return timezone.localtime(instant).strftime("%Y-%m-%dT%H:%M") if instant else ""


def act_on(
    name: str,
    subject: Treatment | Intervention | TimesProposal | DecisionCase,
    form: forms.Form,
    refused: Refused | None,
    *,
    is_shut: bool = False,
) -> Act:
    """Put a form on the page, or the same form as it came back."""
    label, button, kind = LABELS["start-shut" if is_shut else name]
    came_back = refused is not None and refused.name == name and refused.subject_id == subject.pk
    shown = refused.form if came_back and refused is not None else form
    shown.auto_id = f"{name}-{subject.pk}-%s"  # one page holds many forms
    return Act(
        name=name,
        label=label,
        button=button,
        kind=kind,
        form=shown,
        action=_sent_to(name, subject),
        is_open=came_back or (name in ("start", "finish") and not is_shut),
        differences=refused.differences if came_back and refused is not None else (),
        warnings=refused.warnings if came_back and refused is not None else (),
    )


def _sent_to(name: str, subject: Treatment | Intervention | TimesProposal | DecisionCase) -> str:
    if isinstance(subject, DecisionCase):
        return reverse(f"progress:case_{name.replace('-', '_')}", args=[subject.pk])
    return reverse(_SENT_TO[type(subject)], args=[subject.pk, name])


def hand_on_treatment(
    treatment: Treatment, *, user: User, people: Sequence[User], refused: Refused | None
) -> list[Act]:
    """Return the form by which the department head gives a treatment to somebody else."""
    others = [person for person in people if person.pk != treatment.conservator_id]
    is_over = treatment.state in (TreatmentState.SIGNED_OFF, TreatmentState.DROPPED)
    if is_over or not others or not may(user, REASSIGN, treatment):
        return []
    form = ReassignForm(people=others, initial={"read_version": treatment.row_version})
    return [act_on("reassign", treatment, form, refused)]


def acts_on_case(
    case: DecisionCase, *, user: User, people: Sequence[User], refused: Refused | None
) -> list[Act]:
    """Return what may be done to a question besides answering it: handed on, or asked again."""
    version = {"read_version": case.row_version}
    if case.state == DecisionCase.State.CLOSED and may(user, REOPEN_CASE, case):
        return [act_on("reopen", case, ReasonForm(initial=version), refused)]
    others = [person for person in people if person.pk != case.assigned_to_id]
    if case.state == DecisionCase.State.OPEN and others and may(user, REASSIGN, case):
        return [act_on("hand-on", case, ReassignForm(people=others, initial=version), refused)]
    return []
