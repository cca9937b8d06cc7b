"""Views in words, one way for pages, notices and refusals."""

from __future__ import annotations

from collections.abc import Iterable

from imaging_requests.collection.models import ObjectNumber
from imaging_requests.reckoning.truth.words import inside, view_words
from imaging_requests.requesting.models import Anchor, OwedView, RequestLine

__all__ = ["Numbers", "as_of_words", "inside_words", "numbers_of", "view_words", "words_of"]


def words_of(view: OwedView | RequestLine) -> str:
    """The words of an owed view or of a line of a request."""
    surface = view.surface if isinstance(view, OwedView) else ""
    return view_words(view.technique, view.face, view.variant, surface)


def inside_words(view: OwedView | RequestLine) -> str:
    """The same, as it stands inside a sentence."""
    return inside(words_of(view))


def as_of_words(view: OwedView) -> str:
    """As of which state a view is owed; needs the treatment at hand."""
    code = view.treatment.code if view.treatment is not None else ""
    phase = f", phase {view.anchor_phase}" if (view.anchor_phase or 1) > 1 else ""
    if view.anchor == Anchor.BT:
        return f"before {code}{phase}"
    if view.anchor == Anchor.AT:
        return f"after {code}{phase}"
    if view.anchor == Anchor.DT:
        return f"after step {view.anchor_step} of {code}"
    if view.anchor == Anchor.WIN:
        return f"while {view.anchor_key.split(':')[1]} can be seen"
    if view.anchor == Anchor.FIX and view.anchor_at is not None:
        return f"as of {view.anchor_at:%-d %b %Y}"
    return "as it is now"


class Numbers(dict[int, str]):
    """Inventory numbers by object; an object without one is called by its key."""

    def __missing__(self, object_id: int) -> str:
        return f"object {object_id}"


def numbers_of(object_ids: Iterable[int]) -> Numbers:
    """The number in force of each object, in one query."""
    rows = ObjectNumber.objects.filter(
        object_id__in=set(object_ids), scheme="inventory", in_force_to=None
    ).values_list("object_id", "number")
    return Numbers(rows)
