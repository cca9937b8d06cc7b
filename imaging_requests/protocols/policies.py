"""Who may write, sign and publish the studio's rules, and move entries between versions."""

from __future__ import annotations

from typing import Any

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import READ, act
from imaging_requests.protocols.models import RuleVersion
from imaging_requests.protocols.rules import CO_SIGNERS


def _right_co_signer(user: User, subject: Any) -> str:
    """Say why this person's second signature does not count under this kind of rules."""
    version: RuleVersion = subject
    wanted = CO_SIGNERS[version.kind]
    if not user.has_role(wanted):
        return f"The second signature under the {version.words} is the {wanted.label.lower()}'s."
    return ""


READ_RULES = READ
DRAFT_RULES = act("protocols.draft", "Drafting the studio's rules", roles=frozenset({Role.LEAD}))
REHEARSE = act(
    "protocols.rehearse", "Rehearsing a draft of the studio's rules", roles=frozenset({Role.LEAD})
)
READ_REHEARSAL = act(
    "protocols.read_rehearsal",
    "Confirming that one has read a rehearsal",
    roles=frozenset({Role.LEAD, *CO_SIGNERS.values()}),
)
SIGN_RULES = act("protocols.sign", "Signing the studio's rules", roles=frozenset({Role.LEAD}))
CO_SIGN_RULES = act(
    "protocols.co_sign",
    "Giving the second signature under the studio's rules",
    roles=frozenset(CO_SIGNERS.values()),
    rule=_right_co_signer,
)
RETIRE_RULES = act(
    "protocols.retire", "Retiring a version of the rules", roles=frozenset({Role.LEAD})
)
MOVE_PIN = act(
    "protocols.move_pin",
    "Moving an entry to another protocol version",
    roles=frozenset({Role.LEAD, Role.HEAD}),
)
