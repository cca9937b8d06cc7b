"""The anchor of an owed view as the rules of truth read it."""

from __future__ import annotations

from imaging_requests.reckoning.truth.terms import Anchor as TrueAnchor
from imaging_requests.requesting.models import Anchor, OwedView
from imaging_requests.treatments.events import event_key


def anchor_of(view: OwedView) -> TrueAnchor:
    """Turn the columns of an owed view into its anchor.

    A view through the object can be owed while a surface of the back is bare: the surface of the
    window then stands in the anchor's text, not in the view's own surface.
    """
    treatment = str(view.treatment_id)
    if view.anchor == Anchor.BT:
        return TrueAnchor.before(treatment, phase=view.anchor_phase)
    if view.anchor == Anchor.AT:
        return TrueAnchor.after(treatment, phase=view.anchor_phase)
    if view.anchor == Anchor.DT:
        return TrueAnchor.during(treatment, step=view.anchor_step or 0)
    if view.anchor == Anchor.WIN:
        opened_by = event_key(view.anchor_event_id) if view.anchor_event_id else None
        return TrueAnchor.in_window(window_surface(view), opened_by=opened_by)
    if view.anchor == Anchor.FIX and view.anchor_at is not None:
        return TrueAnchor.at(view.anchor_at)
    return TrueAnchor.current()


def window_surface(view: OwedView) -> str:
    """The surface whose bare time a view is owed in: the second part of the anchor's text."""
    parts = view.anchor_key.split(":")
    return parts[1] if len(parts) > 1 else view.surface
