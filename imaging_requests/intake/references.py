"""Pictures that show a face of an object for certain; an outer room says which these are."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from imaging_requests.imaging.likeness.pattern import Grey, read_pattern
from imaging_requests.intake.models import FrameLook


@dataclass(frozen=True, slots=True)
class Shown:
    """Frames that show a face as a whole, by object and face; and the objects' numbers."""

    frames: Mapping[tuple[int, str], int] = field(default_factory=dict)
    names: Mapping[int, str] = field(default_factory=dict)


#: Answers for some objects, and others that may be mistaken for them.
Provider = Callable[[Collection[int]], Shown]
_providers: list[Provider] = []


def add_references(provider: Provider) -> None:
    """Let an outer room say which frames show faces for certain; called once at start."""
    if provider not in _providers:
        _providers.append(provider)


def references_of(
    object_ids: Collection[int],
) -> tuple[dict[tuple[int, str], Grey], dict[int, str]]:
    """Return the patterns of reference pictures, and the names of their objects."""
    frames: dict[tuple[int, str], int] = {}
    names: dict[int, str] = {}
    for provider in _providers if object_ids else ():
        shown = provider(object_ids)
        frames.update(shown.frames)
        names.update(shown.names)
    looks = FrameLook.objects.filter(frame__in=set(frames.values())).exclude(pattern="")
    patterns = dict(looks.values_list("frame", "pattern"))
    found = {face: read_pattern(patterns[pk]) for face, pk in frames.items() if pk in patterns}
    return found, names
