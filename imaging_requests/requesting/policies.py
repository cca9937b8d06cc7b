"""Who may ask, agree, withdraw, waive and sign."""

from __future__ import annotations

from typing import Any

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import WORKING_ROLES, act
from imaging_requests.requesting.models import RequestLine, WaiverProposal

LEAD = frozenset({Role.LEAD})
SIGNERS = frozenset({Role.LEAD, Role.CONSERVATOR})


def _own_line(user: User, subject: Any) -> str:
    """A line is withdrawn by the one who asked, or by the lead for the department."""
    if not isinstance(subject, RequestLine):
        return ""
    if user.pk == subject.request.requester_id or user.has_role(Role.LEAD):
        return ""
    return f"Only {subject.request.requester} or the imaging lead withdraws this line."


def _last_look_or_lead(user: User, subject: Any) -> str:
    """The lead grants or refuses an ordinary waiver; of a last look a conservator may as well."""
    proposal: WaiverProposal = subject
    if proposal.is_last_look or user.has_role(Role.LEAD):
        return ""
    return "An ordinary waiver is granted or refused by the imaging lead."


ASK = act("requesting.ask", "Asking for pictures", roles=WORKING_ROLES)
TRIAGE = act("requesting.triage", "Agreeing to requests", roles=LEAD)
WITHDRAW = act("requesting.withdraw", "Withdrawing a wish", roles=WORKING_ROLES, rule=_own_line)
PROPOSE_WAIVER = act("requesting.propose_waiver", "Proposing a waiver", roles=WORKING_ROLES)
SIGN_WAIVER = act("requesting.sign_waiver", "Signing a waiver", roles=SIGNERS)
REFUSE_WAIVER = act(
    "requesting.refuse_waiver", "Refusing a waiver", roles=SIGNERS, rule=_last_look_or_lead
)
END_WAIVER = act("requesting.end_waiver", "Ending a waiver", roles=LEAD)
DECIDE_APPLICABLE = act(
    "requesting.decide_applicable", "Deciding that a view does not apply", roles=LEAD
)
REPLACE_VIEW = act("requesting.replace_view", "Replacing one view by another", roles=LEAD)
SIGN_GAP = act("requesting.sign_gap", "Signing a gap statement", roles=frozenset({Role.HEAD}))
