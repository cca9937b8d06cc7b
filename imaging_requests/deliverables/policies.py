"""Who may hand in, review, recall, allow lone work, and seal packages."""

from __future__ import annotations

from imaging_requests.people.models import Role
from imaging_requests.people.policies import READ, act

READ_DELIVERABLES = READ
READ_REVIEWS = act(
    "deliverables.read_reviews",
    "Reading the reviews",
    roles=frozenset({Role.LEAD, Role.PHOTOGRAPHER, Role.CONSERVATOR, Role.CURATOR, Role.HEAD}),
)
HAND_IN = act(
    "deliverables.hand_in",
    "Handing in a picture",
    roles=frozenset({Role.PHOTOGRAPHER, Role.LEAD}),
)
REVIEW = act(
    "deliverables.review",
    "Reviewing a picture",
    roles=frozenset({Role.PHOTOGRAPHER, Role.LEAD}),
)
OVERRIDE_CHECK = act(
    "deliverables.override_check",
    "Accepting a picture against a failed check",
    roles=frozenset({Role.LEAD}),
)
RECALL = act("deliverables.recall", "Recalling a picture", roles=frozenset({Role.LEAD}))
ALLOW_LONE_WORK = act(
    "deliverables.allow_lone_work",
    "Allowing somebody who works alone to review own pictures",
    roles=frozenset({Role.LEAD, Role.HEAD}),
)
SEAL = act("deliverables.seal", "Sealing a package", roles=frozenset({Role.LEAD}))
