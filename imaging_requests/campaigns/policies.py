"""Who may plan, confirm, run and sign for sessions."""

from __future__ import annotations

from typing import Any

from imaging_requests.campaigns.models import Session
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import EVERYONE_INSIDE, act

LEAD = frozenset({Role.LEAD})
SHOOTERS = frozenset({Role.PHOTOGRAPHER, Role.LEAD})


def _own_session(user: User, subject: Any) -> str:
    """A session is run by its photographer, or by the lead in their place."""
    if not isinstance(subject, Session):
        return ""
    if user.pk == subject.photographer_id or user.has_role(Role.LEAD):
        return ""
    return f"This is the session of {subject.photographer}; only they or the imaging lead run it."


SEE_CAMPAIGNS = act("campaigns.see", "Seeing campaigns", roles=EVERYONE_INSIDE)
PLAN = act("campaigns.plan", "Planning sessions", roles=LEAD)
RUN = act("campaigns.run", "Running a session", roles=SHOOTERS, rule=_own_session)
SEE_SHOT_LIST = act("campaigns.see_shot_list", "Seeing the shot list", roles=SHOOTERS)
SIGN_LIMIT = act(
    "campaigns.sign_limit",
    "Signing for a limit that a session passes",
    roles=frozenset({Role.LEAD, Role.CONSERVATOR}),
)
RECORD_LIGHT = act(
    "campaigns.record_light",
    "Writing into the light book",
    roles=frozenset({Role.LEAD, Role.CONSERVATOR}),
)
