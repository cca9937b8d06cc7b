"""Find the inventory numbers in force, many objects in one query."""

from __future__ import annotations

from collections.abc import Iterable

from imaging_requests.collection.models import ObjectNumber


class Numbers(dict[int, str]):
    """Inventory numbers by object; an object without one is called by its key."""

    def __missing__(self, object_id: int) -> str:
        return f"object {object_id}"


def current_numbers(object_ids: Iterable[int]) -> Numbers:
    """Return the number in force of each object."""
    rows = ObjectNumber.objects.filter(
        object_id__in=set(object_ids), scheme="inventory", in_force_to=None
    ).values_list("object_id", "number")
    return Numbers(rows)
