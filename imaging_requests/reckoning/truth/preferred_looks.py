"""Pictures of a preferred state that can still be made: until when, and which step ends it.

They are told, never demanded. A gate asks for what its table and the documentation of its treatment
ask for; a protocol that prefers a state has said that it accepts the present one.
"""

from __future__ import annotations

from dataclasses import dataclass

from .facts import Event
from .moment import Moment
from .preferring import Better, Stand, ends_view, preferred_of
from .status import ViewStatus, statuses
from .terms import Anchor


@dataclass(frozen=True, slots=True)
class PreferredLook:
    """A preferred state that lasts, with the views in force that no accepted picture shows of it.

    ``ending`` is the step that will end it, if one is planned.
    """

    anchor: Anchor
    ending: Event | None
    views: tuple[ViewStatus, ...]


def shown_as_preferred(moment: Moment) -> frozenset[str]:
    """Keys of the views that a picture of their preferred state meets."""
    return frozenset(
        status.view.key
        for status in _with_preference(moment)
        if status.better is not None and status.better.stand is Stand.MET
    )


def _with_preference(moment: Moment) -> tuple[ViewStatus, ...]:
    """The statuses of the views with a preferred state; most objects have none."""
    if not any(preferred_of(moment, view) for view in moment.views):
        return ()
    return tuple(status for status in statuses(moment) if status.better is not None)


def preferred_looks(moment: Moment) -> tuple[PreferredLook, ...]:
    """The preferred states that last and are not shown yet, with the step that ends each."""
    grouped: dict[tuple[Anchor, str], list[tuple[ViewStatus, Better]]] = {}
    for status in _with_preference(moment):
        better = status.better
        if better is None or better.anchor is None or better.stand is not Stand.POSSIBLE:
            continue
        ending = better.events[0].key if better.events else ""
        grouped.setdefault((better.anchor, ending), []).append((status, better))
    return tuple(
        PreferredLook(
            anchor, next(iter(found[0][1].events), None), tuple(status for status, _ in found)
        )
        for (anchor, _), found in grouped.items()
    )


def ended_unseen(moment: Moment, event: Event) -> tuple[ViewStatus, ...]:
    """The views whose preferred state lasts, is not shown, and would end with this step."""
    return tuple(
        status
        for look in preferred_looks(moment)
        for status in look.views
        if ends_view(moment, event, status.view)
    )
