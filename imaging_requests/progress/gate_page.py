"""The gate of a treatment's next step as pages show it: what is missing and when it is planned."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import F
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import SessionState, ShotLine, ShotLineState
from imaging_requests.progress.answers import clock
from imaging_requests.progress.gates import MissingView, gate_of, next_step, say
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.settle import settle
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.reckoning.truth.words import Speech, inside
from imaging_requests.requesting.models import OwedView, WaiverAnswer, WaiverProposal
from imaging_requests.treatments.models import (
    Intervention,
    InterventionState,
    Treatment,
    TreatmentState,
)


def _plans_for(owed: Iterable[int]) -> dict[int, dict[str, str]]:
    """Say for owed views when they are to be shot: the first session that is not closed."""
    plans: dict[int, dict[str, str]] = {}
    now = timezone.now()
    lines = (
        ShotLine.objects.filter(
            owed_views__in=list(owed),
            state=ShotLineState.PLANNED,
            session__state__in=(SessionState.DRAFT, SessionState.CONFIRMED, SessionState.RUNNING),
        )
        .annotate(owed_id=F("owed_views"))
        .select_related("session__station")
        .order_by("session__starts_at")
    )
    for line in lines:
        was = "to be shot on" if line.session.ends_at >= now else "not shot as planned on"
        plans.setdefault(
            line.owed_id,
            {
                "words": f"{was} {clock(line.session.starts_at)}, {line.session.station}",
                "href": reverse("campaigns:session", args=[line.session_id]),
            },
        )
    return plans


def _proposed(view_ids: Iterable[int]) -> set[int]:
    """Return which of some views have a proposed waiver that waits for signatures."""
    return set(
        WaiverProposal.objects.filter(
            owed_view__in=list(view_ids), state=WaiverAnswer.ASKED
        ).values_list("owed_view_id", flat=True)
    )


def _waiving(each: MissingView, proposed: set[int]) -> dict[str, str]:
    """Say how a missing view can be given up: proposed, or signed by whom it still waits for."""
    if each.waive_id is None:
        return {"waive_href": "", "waive_words": ""}
    if each.waive_id in proposed:
        book = reverse("requesting:waivers")
        return {"waive_href": book, "waive_words": "A waiver waits for its signatures"}
    words = "Add the second signature" if each.status == Status.WAIVED else "Waive"
    return {
        "waive_href": reverse("requesting:waive", args=[each.waive_id]),
        "waive_words": words,
    }


def gate_context(moment: Moment, step: Intervention, speech: Speech) -> dict[str, Any] | None:
    """Say how the gate of a step stands; None if the rules do not know the step yet."""
    found = gate_of(moment, step)
    if found is None:
        return None
    words = say(found, speech)
    specs = {
        view.pk: view
        for view in OwedView.objects.filter(
            pk__in=[each.view_id for each in words.missing if each.view_id is not None]
        )
    }
    plans = _plans_for(specs)
    proposed = _proposed(each.waive_id for each in words.missing if each.waive_id is not None)
    missing = []
    for each in words.missing:
        owed = specs.get(each.view_id or 0)
        minutes = owed.spec.get("minutes") if owed is not None else None
        missing.append(
            {
                "words": each.words,
                "status": each.status,
                "is_last_look": each.is_last_look,
                "loss": each.loss,
                "why": each.sentence,
                "work": f"{minutes:g} min at the station" if minutes else "",
                **_waiving(each, proposed),
                "href": f"{reverse('progress:object', args=[owed.object_id])}#view-{owed.pk}"
                if owed
                else "",
                "plan": plans.get(each.view_id or 0),
            }
        )
    return {
        "is_open": words.is_open,
        "sentence": words.sentence,
        "step_words": words.step_words,
        "missing": missing,
        "met": words.met,
        "unasked": words.unasked,
        "preferred": words.preferred,
    }


def gates_of_treatments(treatments: Sequence[Treatment]) -> dict[int, dict[str, Any]]:
    """Say for each treatment how its next step stands; a fixed number of queries."""
    ids = sorted({treatment.object_id for treatment in treatments})
    settle(ids)
    now = timezone.now()
    speech = speech_for(ids)
    cases = gather_cases(ids)
    found = {}
    for treatment in treatments:
        steps = sorted(treatment.interventions.all(), key=lambda step: step.step)
        following = next_step(steps)
        words, is_shut = "no step is planned", False
        if treatment.state in (TreatmentState.SIGNED_OFF, TreatmentState.DROPPED):
            words = "nothing is planned any more"
        elif following is not None:
            moment = look(cases[treatment.object_id], speech.tables, t=now, u=now)
            gate = gate_of(moment, following)
            if gate is not None:
                said = say(gate, speech)
                missing = ", ".join(inside(each.words) for each in said.missing)
                words = "yes" if said.is_open else f"no, missing: {missing}"
                is_shut = not said.is_open
        found[treatment.pk] = {
            "gate": words,
            "is_shut": is_shut,
            "steps": sum(step.state != InterventionState.DROPPED for step in steps),
            "steps_done": sum(step.state == InterventionState.FINISHED for step in steps),
        }
    return found
