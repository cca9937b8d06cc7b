"""Writes about treatments, their steps, incidents, emergencies and decisions."""

from imaging_requests.treatments.actions.decisions import (
    decide_case,
    reassign_case,
    reopen_case,
)
from imaging_requests.treatments.actions.incidents import complete_emergency, record_incident
from imaging_requests.treatments.actions.plans import (
    STEP_FIELDS,
    add_intervention,
    drop_intervention,
    drop_treatment,
    edit_intervention,
    pause_treatment,
    plan_treatment,
    reassign_treatment,
    resume_treatment,
    sign_off_treatment,
)
from imaging_requests.treatments.actions.proposals import (
    countersign_times,
    decline_times,
    propose_times,
)
from imaging_requests.treatments.actions.steps import (
    finish_intervention,
    start_intervention,
    take_back_start,
)

__all__ = [
    "STEP_FIELDS",
    "add_intervention",
    "complete_emergency",
    "countersign_times",
    "decide_case",
    "decline_times",
    "drop_intervention",
    "drop_treatment",
    "edit_intervention",
    "finish_intervention",
    "pause_treatment",
    "plan_treatment",
    "propose_times",
    "reassign_case",
    "reassign_treatment",
    "record_incident",
    "reopen_case",
    "resume_treatment",
    "sign_off_treatment",
    "start_intervention",
    "take_back_start",
]
