"""Which objects a newly published trigger table concerns."""

from __future__ import annotations

from imaging_requests.collection.stale import mark_stale
from imaging_requests.treatments.models import Intervention, InterventionState


def mark_planned() -> None:
    """Have objects derived anew of which a step has not begun: the new table counts for it."""
    planned = Intervention.objects.filter(state=InterventionState.PLANNED).order_by()
    mark_stale(planned.values_list("object_id", flat=True).distinct(), "trigger table published")
