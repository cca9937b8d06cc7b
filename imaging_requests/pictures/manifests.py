"""Describe an object's pictures to viewers: a manifest after the IIIF Presentation API 3.0.

One canvas for each face, as large as the face; on it one painting annotation whose body is a choice
of all pictures of that face: techniques, directions and states, each with its words. X-rays are
taken through the object and lie on the front. Details lie on canvases of their own. Ranges name the
faces that were pictured in each state. The back is shown as one stands before it, never mirrored.
Pictures that are closed to the person do not occur.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from imaging_requests.collection.models import CollectionObject
from imaging_requests.collection.queries import facts_now
from imaging_requests.deliverables.models import Deliverable, DeliverableState, Polarity
from imaging_requests.deliverables.shown import day, state_places
from imaging_requests.imaging.iiif.pyramid import PyramidError, read_pyramid
from imaging_requests.people.models import User
from imaging_requests.pictures.access import decisions
from imaging_requests.pictures.numbers import access_numbers
from imaging_requests.pictures.rules import Seen
from imaging_requests.pictures.sources import identifier_of, paths_of
from imaging_requests.reckoning.truth.words import DIRECTION_WORDS, FACE_WORDS, TECHNIQUE_WORDS
from imaging_requests.requesting.duties import direction_of
from imaging_requests.requesting.words import numbers_of

CONTEXT = "http://iiif.io/api/presentation/3/context.json"
LANGUAGE = "en"
UNITS_PER_MM = 10
FRONT, THROUGH = "F", "T"
FACES_IN_ORDER = "FBE"
TECHNIQUES_IN_ORDER = ("VF", "VC", "RK", "UV", "IR", "XR")
THUMB_PX = 256

#: Returns the address of the image service of an identifier.
ServiceAddress = Callable[[str], str]


@dataclass(frozen=True)
class Layer:
    """One picture as it lies on a canvas."""

    row: Deliverable
    words: str
    state: int
    width_px: int
    height_px: int
    is_full: bool


def layers_of(thing: CollectionObject, user: User, now: datetime) -> list[Layer]:
    """Return the accepted pictures of an object that are open to the person and can be shown."""
    rows = list(
        Deliverable.objects.filter(object=thing, state=DeliverableState.ACCEPTED).select_related(
            "cover"
        )
    )
    found = decisions(user, rows, now=now)
    rows = [row for row in rows if found[row.pk].seen is not Seen.NOTHING]
    paths = paths_of(rows)
    places = state_places(thing.pk, rows)
    layers = []
    for row in rows:
        path = paths.get(row.pk)
        if path is None:
            continue
        try:
            pyramid = read_pyramid(path)
        except (OSError, PyramidError):
            continue
        state = places[row.pk].words
        layers.append(
            Layer(
                row=row,
                words=_layer_words(row, state),
                state=int(state.partition(",")[0].removeprefix("s")),
                width_px=pyramid.width_px,
                height_px=pyramid.height_px,
                is_full=found[row.pk].seen is Seen.FULL,
            )
        )
    return sorted(layers, key=_order)


def _order(layer: Layer) -> tuple[int, float, str]:
    row = layer.row
    place = (
        TECHNIQUES_IN_ORDER.index(row.technique)
        if row.technique in TECHNIQUES_IN_ORDER
        else len(TECHNIQUES_IN_ORDER)
    )
    return place, -row.captured_at.timestamp(), row.variant


def _layer_words(row: Deliverable, state: str) -> str:
    words = TECHNIQUE_WORDS.get(row.technique, row.technique)
    direction = direction_of(row.technique, row.variant)
    if direction is not None:
        words = f"{words} {DIRECTION_WORDS[direction]}"
    if row.polarity == Polarity.POSITIVE:
        words = f"{words}, dense parts dark"
    return f"{words}, {state}, {day(row.captured_at)}"


def _detail(row: Deliverable) -> str:
    """Return what tells a detail from the whole face, or an empty string."""
    if row.detail_mm is None:
        return ""
    direction = direction_of(row.technique, row.variant) or ""
    return row.variant.removeprefix(direction).strip() or "detail"


def canvases(layers: Iterable[Layer]) -> dict[tuple[str, str], list[Layer]]:
    """Sort pictures onto canvases by (face, detail), faces in the order one looks at them."""
    sorted_out: dict[tuple[str, str], list[Layer]] = defaultdict(list)
    for layer in layers:
        face = FRONT if layer.row.face == THROUGH else layer.row.face
        sorted_out[face, _detail(layer.row)].append(layer)
    return dict(
        sorted(sorted_out.items(), key=lambda item: (item[0][1], FACES_IN_ORDER.find(item[0][0])))
    )


def _text(words: str) -> dict[str, list[str]]:
    return {LANGUAGE: [words]}


def manifest(
    thing: CollectionObject,
    layers: Sequence[Layer],
    *,
    address: str,
    service_address: ServiceAddress,
    now: datetime,
) -> dict[str, Any]:
    """Return the manifest of an object; `address` is its own."""
    number = numbers_of([thing.pk])[thing.pk]
    facts = facts_now(thing.pk, now)
    size_mm = (facts.width_mm, facts.height_mm) if facts is not None else (None, None)
    sorted_out = canvases(layers)
    names = {key: f"{address}/canvas/{_name(key)}" for key in sorted_out}
    found: dict[str, Any] = {
        "@context": CONTEXT,
        "id": address,
        "type": "Manifest",
        "label": _text(f"{number} {thing.title}"),
        "metadata": _metadata(number, size_mm, sorted_out),
        "items": [
            _canvas(names[key], key, held, size_mm, service_address)
            for key, held in sorted_out.items()
        ],
    }
    ranges = _ranges(address, names, sorted_out)
    if ranges:
        found["structures"] = ranges
    return found


def _name(key: tuple[str, str]) -> str:
    face, detail = key
    return f"{face}-{'-'.join(detail.split())}" if detail else face


def _metadata(
    number: str,
    size_mm: tuple[float | None, float | None],
    sorted_out: Mapping[tuple[str, str], Sequence[Layer]],
) -> list[dict[str, Any]]:
    rows = [("Inventory number", number)]
    if size_mm[0] and size_mm[1]:
        rows.append(("Size", f"{size_mm[1]:g} × {size_mm[0]:g} mm, height × width"))
        rows.append(("Scale of the faces", f"{UNITS_PER_MM} canvas units are 1 mm"))
    rows.append(("Pictures", str(sum(len(held) for held in sorted_out.values()))))
    return [{"label": _text(label), "value": _text(value)} for label, value in rows]


def _canvas(
    name: str,
    key: tuple[str, str],
    held: Sequence[Layer],
    size_mm: tuple[float | None, float | None],
    service_address: ServiceAddress,
) -> dict[str, Any]:
    face, detail = key
    width, height = _canvas_size(face, detail, held, size_mm)
    words = FACE_WORDS.get(face, face).removeprefix("the ").capitalize()
    bodies = [_image(layer, service_address) for layer in held]
    body = bodies[0] if len(bodies) == 1 else {"type": "Choice", "items": bodies}
    return {
        "id": name,
        "type": "Canvas",
        "label": _text(f"{words}, {detail}" if detail else words),
        "width": width,
        "height": height,
        "thumbnail": [_thumbnail(held[0], service_address)],
        "items": [
            {
                "id": f"{name}/painting",
                "type": "AnnotationPage",
                "items": [
                    {
                        "id": f"{name}/painting/pictures",
                        "type": "Annotation",
                        "motivation": "painting",
                        "body": body,
                        "target": name,
                    }
                ],
            }
        ],
    }


def _canvas_size(
    face: str,
    detail: str,
    held: Sequence[Layer],
    size_mm: tuple[float | None, float | None],
) -> tuple[int, int]:
    """Return width and height in canvas units: of the face in mm where it is known."""
    width_mm, height_mm = size_mm
    if not detail and face in "FB" and width_mm and height_mm:
        return max(1, round(width_mm * UNITS_PER_MM)), max(1, round(height_mm * UNITS_PER_MM))
    largest = max(held, key=lambda layer: layer.width_px * layer.height_px)
    return largest.width_px, largest.height_px


def _image(layer: Layer, service_address: ServiceAddress) -> dict[str, Any]:
    address = service_address(identifier_of(layer.row))
    width_px, height_px = layer.width_px, layer.height_px
    size = "max"
    if not layer.is_full:
        width_px, height_px = _fitted(layer, access_numbers().small_px)
        size = f"{width_px},{height_px}"
    return {
        "id": f"{address}/full/{size}/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "label": _text(layer.words),
        "width": width_px,
        "height": height_px,
        "service": [{"id": address, "type": "ImageService3", "profile": "level2"}],
    }


def _thumbnail(layer: Layer, service_address: ServiceAddress) -> dict[str, Any]:
    address = service_address(identifier_of(layer.row))
    width_px, height_px = _fitted(layer, THUMB_PX)
    return {
        "id": f"{address}/full/{width_px},{height_px}/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": width_px,
        "height": height_px,
    }


def _fitted(layer: Layer, longest_px: int) -> tuple[int, int]:
    scale = min(1.0, longest_px / max(layer.width_px, layer.height_px))
    return max(1, round(layer.width_px * scale)), max(1, round(layer.height_px * scale))


def _ranges(
    address: str,
    names: Mapping[tuple[str, str], str],
    sorted_out: Mapping[tuple[str, str], Sequence[Layer]],
) -> list[dict[str, Any]]:
    """Return one range for each state that was pictured, in order, with its canvases."""
    by_state: dict[int, dict[str, None]] = defaultdict(dict)
    for key, held in sorted_out.items():
        for layer in held:
            by_state[layer.state][names[key]] = None
    return [
        {
            "id": f"{address}/range/s{state}",
            "type": "Range",
            "label": _text(f"State {state}"),
            "items": [{"id": name, "type": "Canvas"} for name in found],
        }
        for state, found in sorted(by_state.items())
    ]
