"""The daily proof that the stored statuses are those that the rules give."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.people.actions import tell
from imaging_requests.people.models import Role
from imaging_requests.people.queries import holders
from imaging_requests.progress.balance import imbalances
from imaging_requests.progress.settle import settle, verify

logger = logging.getLogger(__name__)
NAMED = 5


@dataclass(frozen=True, slots=True)
class Proof:
    """What a comparison from scratch found: views that differ, entries that do not add up."""

    differences: tuple[str, ...]
    imbalances: tuple[str, ...]

    @property
    def is_good(self) -> bool:
        """Whether cache and rules agree."""
        return not self.differences and not self.imbalances

    @property
    def sentence(self) -> str:
        """Say what was found and what to do about it."""
        if self.is_good:
            return "The daily proof found every stored status equal to what the rules give."
        found = [*self.differences, *self.imbalances]
        more = f" and {len(found) - NAMED:,} more" if len(found) > NAMED else ""
        return (
            f"The daily proof found {len(found):,} stored statuses that differ from the rules: "
            f"{'; '.join(found[:NAMED])}{more}. Nothing was changed. Treat it as a fault of the "
            "program: keep the log, then let the keeper run the recomputation (reckon)."
        )


def prove_statuses(*, now: datetime | None = None) -> Proof:
    """Derive everything from scratch, change nothing, and tell keeper and lead the result."""
    now = now or timezone.now()
    settle()
    differing = [
        f"object {each.object_id}, view {each.view_id}: {each.cached} instead of {each.derived}"
        for each in verify()
    ]
    proof = Proof(tuple(differing), tuple(str(each) for each in imbalances(now)))
    if not proof.is_good:
        logger.error("%s", proof.sentence)
    with transaction.atomic():
        tell(holders(Role.LEAD, Role.KEEPER), proof.sentence, now=now)
    return proof
