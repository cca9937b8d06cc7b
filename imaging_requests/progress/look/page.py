"""What the look-and-compare page shows: without scripts a table and two pictures, with them all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.urls import reverse

from imaging_requests.deliverables.models import Polarity, SurfaceNote
from imaging_requests.deliverables.policies import CHANGE_NOTE, COMPARE, WRITE_NOTE
from imaging_requests.imaging.placing import Box
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.progress.look import plain
from imaging_requests.progress.look.pairs import Pair, pair_of
from imaging_requests.progress.look.shown_pictures import (
    Gallery,
    Picture,
    exposure_words,
    picture_address,
)
from imaging_requests.progress.look.sight import FACES, MODES, MOST_PICTURES, Chosen, Sight
from imaging_requests.reckoning.truth.words import TECHNIQUE_WORDS
from imaging_requests.requesting.policies import ASK
from imaging_requests.requesting.words import view_words

POLARITY_WORDS = {
    Polarity.POSITIVE: "dense parts dark",
    Polarity.NEGATIVE: "dense parts bright, as on film",
    Polarity.UNKNOWN: "it is not stated whether dense parts are dark or bright",
}
#: Read one after the other in a form, so each has a name.
LETTERS = "ABCD"
#: Ways of looking in which no two pictures are held against each other.
ALONE = ("one", "grid")
#: What is laid beside a visible picture first, when nobody has chosen.
VISIBLE = ("VF", "VC", "RK", "UV", "IR", "XR")
BESIDE = ("IR", "UV", "XR", "RK", "VC", "VF")


def complete(sight: Sight, gallery: Gallery) -> tuple[Sight, list[str]]:
    """Fill in what an address left open, and say which of its pictures cannot be shown."""
    refusals = []
    chosen = []
    for each in sight.pictures:
        picture = gallery.picture(each.picture_id)
        if picture is None:
            refusals.append(
                f"Picture {each.picture_id} cannot be shown here: it belongs to another object, "
                "was sent back or recalled, or is not open to you."
            )
        elif each.ev is not None and picture.at(each.ev).ev != each.ev:
            refusals.append(f"{picture.row} has no exposure {exposure_words(each.ev)}.")
            chosen.append(Chosen(each.picture_id))
        else:
            chosen.append(each)
    planes = gallery.planes
    face = sight.face if sight.face in planes else ""
    if sight.face and not face and planes:
        refusals.append(f"There is no picture of the {FACES[sight.face].lower()} yet.")
    if not face:
        first = gallery.picture(chosen[0].picture_id) if chosen else None
        face = first.plane if first is not None else (planes[0] if planes else "")
    note_id = sight.note_id
    if note_id is not None and all(note.pk != note_id for note in gallery.notes):
        refusals.append(f"Note {note_id} cannot be shown: it is not on a picture open to you here.")
        note_id = None
    if not chosen:
        chosen = [Chosen(each.row.pk) for each in _first_pictures(gallery, face, sight.mode)]
    return replace(sight, face=face, pictures=tuple(chosen), note_id=note_id), refusals


def _first_pictures(gallery: Gallery, face: str, mode: str) -> list[Picture]:
    """The newest visible picture, and beside it the newest one in another technique."""
    own = sorted(
        gallery.of_plane(face),
        key=lambda each: (VISIBLE.index(each.row.technique), -each.row.captured_at.timestamp()),
    )
    if mode in ("one", "grid") or len(own) < 2:
        return own[:1]
    return [own[0], min(own[1:], key=lambda each: (BESIDE.index(each.row.technique), -each.row.pk))]


def look_context(gallery: Gallery, sight: Sight, *, user: User) -> dict[str, Any]:
    """Gather the page."""
    shown = [(each, gallery.picture(each.picture_id)) for each in sight.pictures]
    together = [picture for _, picture in shown if picture is not None]
    pair = pair_of(together[0], together[1]) if len(together) > 1 else None
    sight, not_open = _in_open_mode(sight, pair)
    others = [pair_of(together[0], each) for each in together[2:]] if sight.mode == "side" else []
    pairs = [pair, *others] if pair is not None else []
    address = reverse("progress:look", args=[gallery.thing.pk])
    part = _part(gallery, sight, together)
    return {
        "thing": gallery.thing,
        "number": gallery.number,
        "object_href": reverse("progress:object", args=[gallery.thing.pk]),
        "face_words": FACES.get(sight.face, "object").lower(),
        "sight": sight,
        "not_open": not_open,
        "here": f"{address}?{sight.as_query()}",
        "address": address,
        "held_back": gallery.held_back,
        "planes": [(face, FACES[face]) for face in gallery.planes],
        "modes": MODES.items(),
        "groups": _groups(gallery, sight.face),
        "picks": _picks(sight),
        "figures": [
            _figure(chosen, picture, sight, part, gallery)
            for chosen, picture in _in_mode(shown, sight, gallery, pair)
        ],
        "measure": plain.measured(sight),
        "moves": plain.moves(sight, part) if part is not None else [],
        "rests_on": list(dict.fromkeys(each.rests_on for each in together)),
        "pair": pair,
        "pairs": [
            {"letter": letter, "pair": each}
            for letter, each in zip(LETTERS[1:], pairs, strict=False)
        ],
        "may_compare": may(user, COMPARE),
        "two": [each.picture_id for each in sight.pictures[:2]],
        "table": _table(gallery, sight),
        "notes": [note_row(note, user) for note in gallery.notes],
        "notes_held_back": gallery.notes_held_back,
        "may_note": may(user, WRITE_NOTE),
        "may_ask": may(user, ASK),
        "data": look_data(gallery, sight, pair, user=user),
    }


def _in_open_mode(sight: Sight, pair: Pair | None) -> tuple[Sight, list[str]]:
    """Keep to the ways of looking that two pictures leave open, and say which one was not."""
    if pair is None or sight.mode in (*ALONE, *pair.modes):
        return sight, []
    mode = "side" if "side" in pair.modes else "one"
    instead = "they stand side by side" if mode == "side" else "one is shown at a time"
    words = f"“{MODES[sight.mode]}” is not open for these two pictures, so {instead}."
    return replace(sight, mode=mode), [words]


def _groups(gallery: Gallery, face: str) -> list[dict[str, Any]]:
    """The pictures for a list of choices: by state, and after them the other side, mirrored."""
    groups: list[dict[str, Any]] = []
    own = gallery.of_plane(face)
    for words in dict.fromkeys(each.state_words for each in own):
        inside = [each for each in own if each.state_words == words]
        groups.append({"label": words, "pictures": inside})
    other = {"F": "B", "B": "F"}.get(face, "")
    mirrored = gallery.of_plane(other) if other and gallery.size_mm is not None else []
    if mirrored:
        label = f"{FACES[other]}, mirrored over the {FACES[face].lower()}"
        groups.append({"label": label, "pictures": mirrored})
    return groups


def _picks(sight: Sight) -> list[dict[str, Any]]:
    ids = [each.picture_id for each in sight.pictures]
    return [
        {"letter": letter, "picture_id": ids[place] if place < len(ids) else None}
        for place, letter in enumerate(LETTERS[:MOST_PICTURES])
    ]


def _part(gallery: Gallery, sight: Sight, together: list[Picture]) -> Box | None:
    if not together:
        return None
    first = together[0]
    return plain.part_of(sight, plain.whole_of(first.middle.tiles, gallery.size_mm, first.plane))


def _in_mode(
    shown: list[tuple[Chosen, Picture | None]],
    sight: Sight,
    gallery: Gallery,
    pair: Pair | None,
) -> list[tuple[Chosen, Picture]]:
    """The pictures that a page without scripts draws: one, those side by side, or all.

    Two that may not be compared are never drawn beside each other; the first one stands alone.
    """
    if sight.mode == "grid":
        return [(Chosen(each.row.pk), each) for each in gallery.of_plane(sight.face)]
    found = [(chosen, picture) for chosen, picture in shown if picture is not None]
    is_alone = sight.mode == "one" or (pair is not None and not pair.modes)
    return found[:1] if is_alone else found


def _figure(
    chosen: Chosen, picture: Picture, sight: Sight, part: Box | None, gallery: Gallery
) -> dict[str, Any]:
    exposure = picture.at(chosen.ev)
    turned = is_mirrored(picture, sight.face) and gallery.size_mm is not None
    return {
        "drawing": plain.drawing(
            exposure.tiles,
            part,
            turned_over_mm=gallery.size_mm[0] if turned and gallery.size_mm else None,
        )
        if part is not None
        else None,
        "picture": picture,
        "href": picture_address(picture.row),
        "exposure": exposure_words(exposure.ev) if len(picture.exposures) > 1 else "",
        "exposures": [
            {
                "words": exposure_words(each.ev),
                "query": _with_exposure(sight, picture, each.ev).as_query(),
                "here": each.ev == exposure.ev,
            }
            for each in picture.exposures
        ]
        if len(picture.exposures) > 1
        else [],
        "is_mirrored": is_mirrored(picture, sight.face),
        "is_inverted": sight.is_inverted and picture.row.technique == "XR",
        "polarity": POLARITY_WORDS.get(Polarity(picture.row.polarity), "")
        if picture.row.polarity
        else "",
    }


def _with_exposure(sight: Sight, picture: Picture, ev: float) -> Sight:
    pk = picture.row.pk
    if all(each.picture_id != pk for each in sight.pictures):
        return replace(sight, mode="one", pictures=(Chosen(pk, ev),))
    changed = tuple(Chosen(pk, ev) if c.picture_id == pk else c for c in sight.pictures)
    return replace(sight, pictures=changed)


def is_mirrored(picture: Picture, face: str) -> bool:
    """Whether a picture is turned over to lie on the face that is looked at."""
    return {picture.plane, face} == {"F", "B"}


def _table(gallery: Gallery, sight: Sight) -> dict[str, Any]:
    """Techniques down, states across; each cell links its pictures."""
    own = gallery.of_plane(sight.face)
    states = list(dict.fromkeys(each.state_words for each in own))
    techniques = dict.fromkeys(
        (each.row.technique, each.row.variant, each.row.surface) for each in own
    )
    rows = [
        {
            "words": view_words(technique, sight.face, variant, surface)
            if technique != "XR"
            else TECHNIQUE_WORDS.get(technique, technique),
            "cells": [
                {
                    "state": state,
                    "links": [
                        _link(each, sight)
                        for each in own
                        if each.state_words == state
                        and (each.row.technique, each.row.variant, each.row.surface)
                        == (technique, variant, surface)
                    ],
                }
                for state in states
            ],
        }
        for technique, variant, surface in techniques
    ]
    return {"states": states, "rows": rows}


def _link(each: Picture, sight: Sight) -> dict[str, Any]:
    alone = replace(sight, mode="one", pictures=(Chosen(each.row.pk),))
    first = sight.pictures[0] if sight.pictures else None
    beside = None
    if first is not None and first.picture_id != each.row.pk:
        beside = replace(sight, mode="side", pictures=(first, Chosen(each.row.pk))).as_query()
    return {
        "picture": each,
        "query": alone.as_query(),
        "beside": beside,
        "is_shown": any(chosen.picture_id == each.row.pk for chosen in sight.pictures),
    }


def note_row(note: SurfaceNote, user: User) -> dict[str, Any]:
    """Return what a page says about a note."""
    xs, ys = zip(*note.points_mm, strict=True)
    return {
        "pk": note.pk,
        "text": note.text,
        "author": note.author.name,
        "written": f"{studio_time(note.written_at):%-d %b %Y}",
        "where": f"{FACES[note.face].lower()}, {min(xs):g} to {max(xs):g} mm from the left, "
        f"{min(ys):g} to {max(ys):g} mm from the top",
        "surface": note.surface,
        "state": note.state_words,  # type: ignore[attr-defined]
        "drawn_on": str(note.drawn_on),
        "may_change": may(user, CHANGE_NOTE, note),
        "href": reverse("progress:look_note", args=[note.pk]),
    }


def look_data(gallery: Gallery, sight: Sight, pair: Pair | None, *, user: User) -> dict[str, Any]:
    """Return what the scripts of the page need, as plain values."""
    return {
        "sizeMm": list(gallery.size_mm) if gallery.size_mm else None,
        "faces": FACES,
        "pictures": [_picture_data(each) for each in gallery.pictures],
        "notes": [
            {
                **{key: note_row(note, user)[key] for key in ("pk", "text", "author", "written")},
                "state": note.state_words,  # type: ignore[attr-defined]
                "face": note.face,
                "points": note.points_mm,
                "shape": note.shape,
            }
            for note in gallery.notes
        ],
        "sight": {
            "face": sight.face,
            "mode": sight.mode,
            "pictures": [{"id": each.picture_id, "ev": each.ev} for each in sight.pictures],
            "centre": sight.centre_mm,
            "across": sight.across_mm,
            "mix": sight.mix_percent,
            "inverted": sight.is_inverted,
            "measure": sight.measure_mm,
            "note": sight.note_id,
            "notes": sight.are_notes_shown,
        },
        "pairAddress": reverse("progress:look_pair", args=[gallery.thing.pk]),
        "pair": None if pair is None else pair_data(pair),
        "mayNote": may(user, WRITE_NOTE),
    }


def pair_data(pair: Pair) -> dict[str, Any]:
    """Return what a script needs to say about two pictures."""
    return {
        "grade": pair.grade,
        "sentence": pair.sentence,
        "modes": list(pair.modes),
        "isOneView": pair.is_one_view,
    }


def _picture_data(each: Picture) -> dict[str, Any]:
    row = each.row
    return {
        "id": row.pk,
        "technique": row.technique,
        "words": each.words,
        "view": str(row),
        "day": each.day,
        "plane": each.plane,
        "state": each.state_words,
        "stands": "" if row.state == "accepted" else row.get_state_display().lower(),
        "restsOn": each.rests_on,
        "errorMm": each.error_mm,
        "stretched": each.is_tone_stretched,
        "polarity": row.polarity,
        "exposures": [
            {
                "ev": exposure.ev,
                "words": exposure_words(exposure.ev),
                "tiles": [
                    {
                        "placement": list(tile.placement),
                        "width": tile.width_px,
                        "height": tile.height_px,
                        "src": tile.src,
                        "info": tile.info,
                    }
                    for tile in exposure.tiles
                ],
            }
            for exposure in each.exposures
        ],
    }
