"""Who may hand in, review, recall, allow lone work, and seal packages."""

from __future__ import annotations

from typing import Any

from imaging_requests.deliverables.models_notes import SurfaceNote
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import EVERYONE_INSIDE, READ, WORKING_ROLES, act

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
TAKE_FULL_DEPTH = act(
    "deliverables.take_full_depth",
    "Taking a joined picture with all its levels",
    roles=frozenset({Role.PHOTOGRAPHER, Role.LEAD}),
)
LAY_PLATES = act(
    "deliverables.lay_plates",
    "Laying the tiles of a picture",
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
COMPARE = act("deliverables.compare", "Mapping what changed", roles=WORKING_ROLES)
VOUCH_RETEST = act(
    "deliverables.vouch_retest",
    "Keeping a test and retest pair",
    roles=frozenset({Role.PHOTOGRAPHER, Role.LEAD}),
)
RECALL = act("deliverables.recall", "Recalling a picture", roles=frozenset({Role.LEAD}))
ALLOW_LONE_WORK = act(
    "deliverables.allow_lone_work",
    "Allowing somebody who works alone to review own pictures",
    roles=frozenset({Role.LEAD, Role.HEAD}),
)
CORRECT_WORDS = act(
    "deliverables.correct_words",
    "Correcting the words about a picture",
    roles=frozenset({Role.LEAD, Role.PHOTOGRAPHER}),
)
CLOSE_CORRECTION = act(
    "deliverables.close_correction", "Closing a correction", roles=frozenset({Role.LEAD})
)


def _own_or_outside(user: User, notice: Any) -> str:
    """Everybody confirms for themselves; the lead for recipients without an account."""
    if notice.user_id == user.pk or (notice.user_id is None and user.has_role(Role.LEAD)):
        return ""
    return "This was told to somebody else, who confirms it."


CONFIRM_CORRECTION = act(
    "deliverables.confirm_correction",
    "Confirming a correction",
    roles=EVERYONE_INSIDE,
    rule=_own_or_outside,
)
HAND_OVER = act("deliverables.hand_over", "Handing over a package", roles=frozenset({Role.LEAD}))


def _recipient_or_lead(user: User, delivery: Any) -> str:
    """The recipient confirms the receipt; the lead writes down one that came by other ways."""
    if delivery.user_id == user.pk or user.has_role(Role.LEAD):
        return ""
    return "The recipient confirms it, or the imaging lead writes it down."


CONFIRM_RECEIPT = act(
    "deliverables.confirm_receipt",
    "Confirming that a package came",
    roles=EVERYONE_INSIDE,
    rule=_recipient_or_lead,
)
SEAL = act("deliverables.seal", "Sealing a package", roles=frozenset({Role.LEAD}))


def _not_your_note(user: User, subject: Any) -> str:
    is_others = isinstance(subject, SurfaceNote) and subject.author_id != user.pk
    if is_others and not user.has_role(Role.LEAD):
        return f"This note is {subject.author.name}'s: only the author or the lead changes it."
    return ""


WRITE_NOTE = act("deliverables.write_note", "Writing notes on a surface", roles=WORKING_ROLES)
CHANGE_NOTE = act(
    "deliverables.change_note",
    "Changing notes on a surface",
    roles=WORKING_ROLES,
    rule=_not_your_note,
)
