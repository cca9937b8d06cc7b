"""Acts of the pages that read everything, and of the acts that span several rooms."""

from __future__ import annotations

from imaging_requests.people.models import Role
from imaging_requests.people.policies import EVERYONE_INSIDE, act

SEE_BOARD = act("progress.see_board", "Seeing the catalogue board", roles=EVERYONE_INSIDE)
SEE_OBJECT = act("progress.see_object", "Seeing an object", roles=EVERYONE_INSIDE)
SEE_TREATMENTS = act("progress.see_treatments", "Seeing treatments", roles=EVERYONE_INSIDE)
TREAT = act(
    "progress.treat",
    "Recording treatment steps",
    roles=frozenset({Role.CONSERVATOR}),
)
PLAN_TREATMENT = act(
    "progress.plan_treatment",
    "Planning a treatment",
    roles=frozenset({Role.CONSERVATOR}),
)
DECIDE = act(
    "progress.decide",
    "Answering whether a picture is still true",
    roles=frozenset({Role.CONSERVATOR}),
)
