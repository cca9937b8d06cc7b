"""Pictures that show a face of an object for certain; an outer room says which these are."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from imaging_requests.imaging.likeness.pattern import Grey, read_pattern
from imaging_requests.imaging.likeness.structure import Structure
from imaging_requests.intake.models import FrameLook


@dataclass(frozen=True, slots=True)
class Shown:
    """Frames that show a face as a whole, by object and face; and the objects' numbers."""

    frames: Mapping[tuple[int, str], int] = field(default_factory=dict)
    names: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Known:
    """The structure of faces, also of those kept as tiles; and the objects' numbers."""

    structures: Mapping[tuple[int, str], Structure] = field(default_factory=dict)
    names: Mapping[int, str] = field(default_factory=dict)


#: Answers for some objects, and others that may be mistaken for them.
Provider = Callable[[Collection[int]], Shown]
FaceProvider = Callable[[Collection[int]], Known]
_providers: list[Provider] = []
_face_providers: list[FaceProvider] = []


def add_references(provider: Provider) -> None:
    """Let an outer room say which frames show faces for certain; called once at start."""
    if provider not in _providers:
        _providers.append(provider)


def add_known_faces(provider: FaceProvider) -> None:
    """Let an outer room say what faces are known to look like; called once at start."""
    if provider not in _face_providers:
        _face_providers.append(provider)


def known_faces_of(object_ids: Collection[int]) -> Known:
    """Return what tells strangers among pictures of these objects."""
    structures: dict[tuple[int, str], Structure] = {}
    names: dict[int, str] = {}
    for provider in _face_providers if object_ids else ():
        known = provider(object_ids)
        structures.update(known.structures)
        names.update(known.names)
    return Known(structures, names)


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
