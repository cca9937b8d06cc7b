"""Manifests of objects against a strict schema, and what a schema cannot say.

No official schema comes with a package of the language's index, so `presentation-3.schema.json` was
written from the published text of the IIIF Presentation API 3.0. Where the strict types of the npm
package @iiif/presentation-3 lie in a folder (`npm install @iiif/presentation-3 typescript` there),
`IIIF_TYPES_DIR` names it and the compiler judges the same manifests too.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
from datetime import timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import User
from imaging_requests.pictures import actions
from imaging_requests.pictures.models import Grant
from tests import factory
from tests.factory import LONG_AGO, hours
from tests.picture_scene import pictured, signed_in

pytestmark = pytest.mark.django_db

SCHEMA = json.loads(Path(__file__).with_name("presentation-3.schema.json").read_text("utf-8"))
TYPES_DIR = os.environ.get("IIIF_TYPES_DIR", "")


@pytest.fixture
def thing(stores: Path) -> CollectionObject:
    """An object of 790 × 1,060 mm with two states, both faces, an X-ray and a detail."""
    factory.rules()
    made = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.treatment(made, (1, 2), finished_at=LONG_AGO + hours(48))
    for technique, face, extra in (
        ("VF", "F", {}),
        ("UV", "F", {}),
        ("UV", "F", {"captured_at": LONG_AGO + hours(99)}),
        ("XR", "T", {}),
        ("VF", "B", {"captured_at": LONG_AGO + hours(99)}),
        ("VF", "F", {"detail_mm": [10, 10, 90, 90], "variant": "detail 2"}),
    ):
        pictured(made, technique, face, **extra)
    return made


def manifest_of(thing: CollectionObject, user: User) -> dict[str, Any]:
    answer = signed_in(user).get(reverse("pictures:manifest", args=[thing.uuid]))
    assert answer.status_code == 200
    assert answer["Access-Control-Allow-Origin"] == "*"
    assert answer["Content-Type"].startswith("application/ld+json")
    found: dict[str, Any] = answer.json()
    return found


def annotations(found: dict[str, Any]) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    return [
        (canvas, note)
        for canvas in found["items"]
        for page in canvas["items"]
        for note in page["items"]
    ]


def bodies(note: dict[str, Any]) -> list[dict[str, Any]]:
    body: dict[str, Any] = note["body"]
    return body["items"] if body["type"] == "Choice" else [body]


def words(found: dict[str, Any]) -> str:
    return str(found["label"]["en"][0])


def test_the_manifest_holds_before_the_schema(thing: CollectionObject) -> None:
    jsonschema.Draft202012Validator(SCHEMA).validate(manifest_of(thing, factory.lead()))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda found: found.update(label="AR 0070"),
        lambda found: found.update(items={}),
        lambda found: found["items"][0].pop("height"),
        lambda found: found["items"][0].update(width=10.5),
        lambda found: found["items"][0]["items"][0]["items"][0].update(motivation="tagging"),
        lambda found: found["items"][0]["items"][0]["items"][0]["body"].update(type="choice"),
        lambda found: found["structures"][0].update(items=[]),
    ],
)
def test_the_schema_refuses_what_lenient_readers_accept(
    thing: CollectionObject, spoil: Any
) -> None:
    found = manifest_of(thing, factory.lead())
    spoil(found)
    assert not jsonschema.Draft202012Validator(SCHEMA).is_valid(found)


def test_each_painting_targets_its_own_canvas(thing: CollectionObject) -> None:
    found = manifest_of(thing, factory.lead())
    pairs = annotations(found)
    assert len(pairs) == 3
    for canvas, note in pairs:
        assert note["target"] == canvas["id"]
    ids = [canvas["id"] for canvas in found["items"]]
    assert len(set(ids)) == len(ids)
    named = {each["id"] for held in found["structures"] for each in held["items"]}
    assert named <= set(ids)


def test_a_face_is_one_canvas_of_its_size_with_its_techniques_to_choose(
    thing: CollectionObject,
) -> None:
    front, back, detail = manifest_of(thing, factory.lead())["items"]
    assert (words(front), front["width"], front["height"]) == ("Front", 10_600, 7_900)
    assert (words(back), back["width"], back["height"]) == ("Back", 10_600, 7_900)
    assert words(detail) == "Front, detail 2"
    chosen = bodies(front["items"][0]["items"][0])
    assert [words(body).split(",")[0] for body in chosen] == [
        "Visible light (flash)",
        "UV",
        "UV",
        "X-ray",
    ]
    assert "s2" in words(chosen[1])
    assert "s0" in words(chosen[2])
    for body in chosen:
        assert body["id"].startswith(body["service"][0]["id"])


def test_the_back_is_never_mirrored(thing: CollectionObject) -> None:
    assert "/!" not in json.dumps(manifest_of(thing, factory.lead()))


def test_ranges_follow_the_states(thing: CollectionObject) -> None:
    found = manifest_of(thing, factory.lead())
    front, back, detail = (canvas["id"] for canvas in found["items"])
    assert [(words(each), [c["id"] for c in each["items"]]) for each in found["structures"]] == [
        ("State 0", [front, detail]),
        ("State 2", [front, back]),
    ]


def test_what_is_closed_to_the_person_does_not_occur(thing: CollectionObject) -> None:
    signe, oda = factory.lead(), factory.curator()
    actions.set_restriction(
        actor=signe, object_id=thing.pk, kind="consent", techniques=["XR"],
        reason="The owner has not answered",
    )  # fmt: skip
    actions.set_restriction(
        actor=signe, object_id=thing.pk, kind="personal_data", surface="B",
        reason="A label with a private address",
    )  # fmt: skip
    for_oda = json.dumps(manifest_of(thing, oda))
    assert "X-ray" not in for_oda
    assert "Back" not in for_oda
    assert "X-ray" in json.dumps(manifest_of(thing, signe))


def test_people_from_outside_get_links_and_strangers_nothing(thing: CollectionObject) -> None:
    signe, ines = factory.lead(), factory.person("Ines", "co_author")
    address = reverse("pictures:manifest", args=[thing.uuid])
    assert signed_in(ines).get(address).status_code == 404
    now = timezone.now()
    grant = Grant.objects.create(
        person=ines, object=thing, sight="small", purpose="Text", given_by=signe,
        since=now - timedelta(days=2), until=now + timedelta(days=1),
    )  # fmt: skip
    found = manifest_of(thing, ines)
    jsonschema.Draft202012Validator(SCHEMA).validate(found)
    for _, note in annotations(found):
        for body in bodies(note):
            assert "/pictures/link/" in body["service"][0]["id"]
            assert max(body["width"], body["height"]) <= 1024
    grant.until = now - timedelta(hours=1)
    grant.save()
    assert signed_in(ines).get(address).status_code == 404


@pytest.mark.skipif(not TYPES_DIR, reason="IIIF_TYPES_DIR names no folder with the npm types")
def test_the_manifest_has_the_published_types(thing: CollectionObject) -> None:
    """In a choice the types know images by address and kind only, so each is checked by itself."""
    folder = Path(TYPES_DIR)
    checked = folder / "manifest-check.ts"
    found = manifest_of(thing, factory.lead())
    images: list[str] = []
    for _, note in annotations(found):
        held = note["body"]["items"] if note["body"]["type"] == "Choice" else [note["body"]]
        for image in held:
            named = f"image{len(images)}"
            images.append(f"const {named}: Labelled = {json.dumps(image)};")
            image.clear()
            image["stands"] = named
    body = re.sub(r'\{"stands": "(image\d+)"\}', r"\1", json.dumps(found))
    assert len(images) == 6
    checked.write_text(
        "import type { IIIFExternalWebResource, InternationalString, Manifest } "
        "from '@iiif/presentation-3';\n"
        "type Labelled = IIIFExternalWebResource & { label: InternationalString };\n"
        + "\n".join(images)
        + f"\nexport const manifest: Manifest = {body};\n"
    )
    ran = subprocess.run(
        ["node", "node_modules/typescript/bin/tsc", "--noEmit", "--strict", checked.name],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout
