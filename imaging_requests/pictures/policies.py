"""Who may restrict pictures, who may open them to people from outside, who reads what."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, EntryObject
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import OUTSIDE, WORKING_ROLES, act


def _why_not_granting(user: User, subject: Any) -> str:
    """Curators open their own entries; lead and head open everything."""
    if not isinstance(subject, CollectionObject) or user.has_role(Role.LEAD, Role.HEAD):
        return ""
    wanted = [pk for pk in (subject.pk, subject.part_of_id) if pk is not None]
    is_own = EntryObject.objects.filter(
        object__in=wanted,
        entry__curator=user,
        removed_at=None,
        added_at__lte=timezone.now(),
    ).exists()
    return "" if is_own else "Curators open the objects of their own entries only."


READ_RESTRICTIONS = act(
    "pictures.read_restrictions", "Reading who sees the pictures", roles=WORKING_ROLES
)
RESTRICT = act(
    "pictures.restrict",
    "Restricting pictures",
    roles=frozenset({Role.LEAD, Role.HEAD}),
)
GRANT = act(
    "pictures.grant",
    "Opening pictures to people from outside",
    roles=frozenset({Role.CURATOR, Role.LEAD, Role.HEAD}),
    rule=_why_not_granting,
)
SEE_GRANTED = act("pictures.see_granted", "Seeing what was granted", roles=OUTSIDE)
