"""The picture service in HTTP: who gets which pixels, headers, links, the trail of looks."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions as deliverable_actions
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.people.actions import set_open, set_roles
from imaging_requests.people.models import AuditEvent, User
from imaging_requests.pictures import actions, answers, links, looks, memory
from imaging_requests.pictures.models import Grant, Restriction
from imaging_requests.pictures.sources import identifier_of
from tests import factory
from tests.picture_scene import derive_pictures, pictured, signed_in

pytestmark = pytest.mark.django_db

WHOLE = ("full", "max", "0", "default.jpg")
TILE = ("0,0,512,512", "512,512", "0", "default.jpg")
SMALL = ("full", "!256,256", "0", "default.jpg")
CUT_OUT = ("100,100,300,300", "200,", "0", "default.jpg")


@pytest.fixture(autouse=True)
def nobody_is_looking() -> None:
    looks.forget()
    memory.forget()


@pytest.fixture
def thing(stores: Path) -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0097", "The Lighthouse Wedding")


@pytest.fixture
def picture(thing: CollectionObject) -> Deliverable:
    return pictured(thing, "UV", "F")


@pytest.fixture
def signe() -> User:
    return factory.lead()


def base(row: Deliverable) -> str:
    return reverse("pictures:base", args=[identifier_of(row)])


def fetch(user: User, row: Deliverable, parts: tuple[str, ...] = TILE) -> HttpResponse:
    answer = signed_in(user).get("/".join([base(row), *parts]))
    return answer  # type: ignore[return-value]


def status(client: Client, address: str) -> int:
    """The status of an answer, read to its end."""
    answer: Any = client.get(address)
    if answer.streaming:
        assert b"".join(answer.streaming_content)
    return int(answer.status_code)


def granted(
    person: User, thing: CollectionObject, *, days: float = 30, sight: str = "full"
) -> Grant:
    now = timezone.now()
    return Grant.objects.create(
        person=person,
        object=thing,
        sight=sight,
        purpose="Text of the entry",
        since=now - timedelta(days=60),
        until=now + timedelta(days=days),
        given_by=User.objects.filter(name="Signe").first() or factory.lead(),
    )


def restricted(thing: CollectionObject, signe: User, **extra: Any) -> Restriction:
    values = {"kind": "personal_data", "reason": "A label with a private address"} | extra
    return actions.set_restriction(actor=signe, object_id=thing.pk, **values)


# Answers


def test_a_tile_comes_with_its_headers(picture: Deliverable) -> None:
    answer = fetch(factory.curator(), picture)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert Image.open(io.BytesIO(answer.content)).size == (512, 512)
    assert answer["Access-Control-Allow-Origin"] == "*"
    assert answer["Cache-Control"] == "private, max-age=600"
    assert "Cookie" in answer["Vary"]
    address = f"http://testserver{base(picture)}"
    assert answer["Link"] == (
        f'<{address}/0,0,512,512/max/0/default.jpg>;rel="canonical",'
        '<http://iiif.io/api/image/3/level2.json>;rel="profile"'
    )


def test_an_unchanged_picture_is_not_sent_again(picture: Deliverable) -> None:
    client = signed_in(factory.curator())
    address = "/".join([base(picture), *TILE])
    first = client.get(address)
    again = client.get(address, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again["ETag"] == first["ETag"]
    other = client.get("/".join([base(picture), *CUT_OUT]))
    assert other["ETag"] != first["ETag"]


def test_the_description_names_its_own_address(picture: Deliverable) -> None:
    client = signed_in(factory.curator())
    moved = client.get(base(picture))
    assert (moved.status_code, moved["Location"]) == (
        303,
        f"http://testserver{base(picture)}/info.json",
    )
    answer = client.get(f"{base(picture)}/info.json")
    found = answer.json()
    assert found["id"] == f"http://testserver{base(picture)}"
    assert (found["width"], found["height"]) == (1400, 1100)
    assert answer["Access-Control-Allow-Origin"] == "*"
    wants = client.get(f"{base(picture)}/info.json", headers={"Accept": "application/ld+json"})
    assert wants["Content-Type"].startswith("application/ld+json")


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        (("9000,0,10,10", "max", "0", "default.jpg"), "outside the picture"),
        (("full", "99999,", "0", "default.jpg"), "larger than the region"),
        (("full", "max", "0", "default.exe"), "jpg or png"),
        (("full", "max", "0", ".."), "jpg or png"),
    ],
)
def test_a_wrong_request_is_answered_with_a_sentence(
    picture: Deliverable, parts: tuple[str, ...], words: str
) -> None:
    answer = fetch(factory.curator(), picture, parts)
    assert answer.status_code == 400
    assert words in answer.content.decode()


@pytest.mark.parametrize(
    "identifier",
    ["0" * 64, "nothing", "..", "00000000-0000-0000-0000-000000000000.1", "%2e%2e%2fetc%2fpasswd"],
)
def test_an_unknown_picture_is_not_there(picture: Deliverable, identifier: str) -> None:
    client = signed_in(factory.curator())
    assert client.get(f"/pictures/iiif/{identifier}/info.json").status_code == 404


def test_a_picture_whose_file_is_gone_says_so(picture: Deliverable, settings: Any) -> None:
    frame = picture.cover
    assert frame is not None
    for path in Path(settings.DERIVED_DIR).rglob("pyramid.tif"):
        path.unlink()
    answer = fetch(factory.curator(), picture)
    assert answer.status_code == 503
    assert "the master is safe" in answer.content.decode()
    assert answer["Retry-After"]


def test_tiles_that_are_not_joined_have_no_picture_of_their_own(thing: CollectionObject) -> None:
    mosaic = pictured(thing, "XR", "T", kind="mosaic")
    answer = fetch(factory.curator(), mosaic)
    assert answer.status_code == 503
    assert "not joined yet" in answer.content.decode()


def test_answering_a_tile_costs_a_fixed_number_of_queries(
    picture: Deliverable, django_assert_max_num_queries: Any
) -> None:
    client = signed_in(factory.curator())
    address = "/".join([base(picture), *TILE])
    for _ in range(2):
        client.get(address)
    with django_assert_max_num_queries(3):
        client.get(address)


# Who sees what


def outside(name: str, role: str) -> User:
    return factory.person(name, role)


def everything(row: Deliverable) -> list[str]:
    """Every address that could show something of a picture."""
    assert row.cover is not None
    frame = reverse("pictures:base", args=[identifier_of(row.cover)])
    return [
        base(row),
        f"{base(row)}/info.json",
        *("/".join([base(row), *parts]) for parts in (WHOLE, TILE, SMALL, CUT_OUT)),
        f"{frame}/info.json",
        "/".join([frame, *TILE]),
        reverse("intake:picture", args=[row.cover_id, "256"]),
        reverse("intake:picture", args=[row.cover_id, "1024"]),
        reverse("deliverables:sheet", args=[row.pk]),
        reverse("deliverables:deliverable", args=[row.pk]),
        reverse("pictures:granted_object", args=[row.object.uuid]),
    ]


def _strangers(thing: CollectionObject) -> dict[str, User]:
    other = factory.museum_object("AR 0011", "Salt Pans")
    people = {
        "a person without a role": factory.person("Nobody"),
        "an outside co-author with a grant until yesterday": outside("Ines", "co_author"),
        "a lender of another object": outside("Bram", "lender"),
        "a co-author whose account is closed": outside("Gone", "co_author"),
        "a co-author whose grant was ended": outside("Ended", "co_author"),
    }
    granted(people["an outside co-author with a grant until yesterday"], thing, days=-1)
    granted(people["a lender of another object"], other)
    closed = people["a co-author whose account is closed"]
    granted(closed, thing)
    set_open(
        actor=factory.person("Hale", "keeper"), user_id=closed.pk, is_open=False, read_open=True
    )
    grant = granted(people["a co-author whose grant was ended"], thing)
    actions.end_grant(
        actor=User.objects.get(name="Signe"),
        grant_id=grant.pk,
        reason="The text is finished now",
        read_version=grant.row_version,
    )
    return people


def test_strangers_get_no_pixel_no_word_and_no_hit(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    for address in everything(picture):
        answer = Client().get(address)
        assert answer.status_code == 302, address
        assert answer["Location"].startswith("/people/sign-in/"), address
    for who, user in _strangers(thing).items():
        client = signed_in(user)
        for address in everything(picture):
            answer = client.get(address)
            assert answer.status_code in (302, 403, 404), (who, address)
            assert not answer["Content-Type"].startswith("image/jp"), (who, address)
            assert thing.title not in answer.content.decode(), (who, address)
        listed = client.get(reverse("pictures:granted"), {"q": "Lighthouse"})
        assert thing.title not in listed.content.decode(), who
        whole = client.get(reverse("pictures:granted"))
        assert thing.title not in whole.content.decode(), who
        assert identifier_of(picture) not in whole.content.decode(), who


def test_for_people_from_outside_closed_and_unknown_are_the_same_answer(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    ines = outside("Ines", "co_author")
    granted(ines, factory.museum_object("AR 0011", "Salt Pans"))
    client = signed_in(ines)
    unknown = "/pictures/iiif/00000000-0000-0000-0000-000000000000.1"
    for rest in ("", "/info.json", "/full/max/0/default.jpg"):
        closed, never = client.get(base(picture) + rest), client.get(unknown + rest)
        assert closed.status_code == never.status_code == 404
        assert closed.content == never.content


@pytest.mark.parametrize("role", ["co_author", "lender"])
def test_a_grant_opens_what_it_says(
    picture: Deliverable, thing: CollectionObject, signe: User, role: str
) -> None:
    ines = outside("Ines", role)
    grant = granted(ines, thing, sight="small")
    assert fetch(ines, picture, SMALL).status_code == 200
    for parts in (WHOLE, TILE, CUT_OUT):
        assert fetch(ines, picture, parts).status_code == 404
    grant.sight = "full"
    grant.save()
    memory.forget()
    for parts in (WHOLE, TILE, CUT_OUT, SMALL):
        assert fetch(ines, picture, parts).status_code == 200
    page = signed_in(ines).get(reverse("pictures:granted"), {"q": "lighthouse"}).content.decode()
    assert thing.title in page
    assert identifier_of(picture) in page


def test_sign_in_leads_people_from_outside_to_their_pictures(signe: User) -> None:
    client = signed_in(outside("Ines", "co_author"))
    assert client.get(reverse("progress:first_page"))["Location"] == reverse("pictures:granted")
    assert "No grant to you is in force" in client.get(reverse("pictures:granted")).content.decode()
    assert client.get(reverse("people:own_account")).status_code == 200
    assert client.get(reverse("progress:catalogues")).status_code == 403


def test_a_grant_of_the_whole_opens_its_parts(stores: Path, signe: User) -> None:
    factory.rules()
    whole = factory.museum_object("AR 0033", "Altarpiece", kind="ensemble")
    wing = factory.museum_object("AR 0033.L", "Left wing", part_of=whole)
    row = pictured(wing)
    ines = outside("Ines", "co_author")
    granted(ines, whole)
    assert fetch(ines, row).status_code == 200
    restricted(whole, signe, kind="attribution", reason="The hands are being told apart")
    assert fetch(ines, row).status_code == 404


def test_a_restriction_closes_at_once_everything_that_shows_the_picture(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    oda = factory.curator()
    client = signed_in(oda)
    addresses = [each for each in everything(picture) if "granted" not in each]
    pixels = [
        each for each in addresses if "/deliverables/" not in each or each.endswith("sheet.jpg")
    ]
    for address in pixels:
        assert status(client, address) in (200, 303), address
    row = restricted(thing, signe)
    for address in pixels:
        answer = client.get(address)
        assert answer.status_code == 403, address
        assert "private address" in " ".join(answer.content.decode().split()) or answer[
            "Content-Type"
        ].startswith("image/svg"), address
        assert not answer["Content-Type"].startswith("image/jp"), address
    assert fetch(factory.conservator(), picture).status_code == 200
    actions.lift_restriction(
        actor=signe, restriction_id=row.pk, reason="The label was removed", read_version=1
    )
    for address in pixels:
        assert status(client, address) in (200, 303), address


def test_a_restriction_of_the_back_leaves_the_front_open(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    """A label with personal data on the back restricts the back only."""
    back = pictured(thing, "VF", "B")
    restricted(thing, signe, surface="B")
    oda = factory.curator()
    assert fetch(oda, picture).status_code == 200
    assert fetch(oda, back).status_code == 403


def test_consent_for_one_technique_closes_that_technique(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    x_ray = pictured(thing, "XR", "T")
    restricted(
        thing, signe, kind="consent", techniques=["XR"], reason="The parish has not answered"
    )
    oda = factory.curator()
    assert fetch(oda, picture).status_code == 200
    assert fetch(oda, x_ray).status_code == 403


def test_an_embargo_ends_by_itself(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    ines = outside("Ines", "co_author")
    granted(ines, thing)
    now = timezone.now()
    restricted(
        thing, signe, kind="embargo", reason="Until the book is out",
        now=now - timedelta(days=9), until=now + timedelta(hours=1),
    )  # fmt: skip
    assert fetch(ines, picture).status_code == 404
    assert fetch(factory.curator(), picture).status_code == 200
    listed = signed_in(ines).get(reverse("pictures:granted"), {"q": "Lighthouse"})
    assert thing.title not in listed.content.decode()
    other = factory.museum_object("AR 0055")
    row = pictured(other)
    granted(ines, other)
    restricted(
        other, signe, kind="embargo", reason="Until the book was out",
        now=now - timedelta(days=9), until=now - timedelta(seconds=1),
    )  # fmt: skip
    assert fetch(ines, row).status_code == 200


def test_a_leavers_grants_end_with_the_account(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    hale = factory.person("Hale", "keeper")
    ines, bram = outside("Ines", "co_author"), outside("Bram", "lender")
    granted(ines, thing)
    granted(bram, thing)
    set_open(actor=hale, user_id=ines.pk, is_open=False, read_open=True)
    set_roles(actor=hale, user_id=bram.pk, roles=[], read_roles=["lender"])
    assert not Grant.objects.filter(ended_at=None).exists()
    assert AuditEvent.objects.filter(code="pictures.grant_ended").count() == 2
    set_open(actor=hale, user_id=ines.pk, is_open=True, read_open=False)
    assert fetch(User.objects.get(pk=ines.pk), picture).status_code == 404


# Links


def link_for(user: User, row: Deliverable) -> str:
    return reverse("pictures:link", args=[links.make_link(user, identifier_of(row))])


def test_a_link_shows_a_cut_out_without_a_sign_in(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    ines = outside("Ines", "co_author")
    granted(ines, thing)
    address = link_for(ines, picture)
    assert Client().get(f"{address}/info.json").json()["id"] == f"http://testserver{address}"
    for parts in (TILE, CUT_OUT, SMALL):
        assert Client().get("/".join([address, *parts])).status_code == 200
    event = AuditEvent.objects.get(code=looks.LOOKED)
    assert (event.actor, event.object_id) == (ines, thing.pk)


def test_a_link_is_over_after_ten_minutes(
    picture: Deliverable, thing: CollectionObject, signe: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    ines = outside("Ines", "co_author")
    granted(ines, thing)
    address = link_for(ines, picture)
    clock = timezone.now().timestamp()
    monkeypatch.setattr("django.core.signing.time.time", lambda: clock + 595)
    assert Client().get(f"{address}/info.json").status_code == 200
    monkeypatch.setattr("django.core.signing.time.time", lambda: clock + 605)
    answer = Client().get(f"{address}/info.json")
    assert answer.status_code == 404
    assert "ten minutes" in answer.content.decode()


def test_a_link_dies_with_its_grant_and_cannot_be_made_up(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    ines = outside("Ines", "co_author")
    grant = granted(ines, thing)
    address = link_for(ines, picture)
    actions.end_grant(actor=signe, grant_id=grant.pk, reason="The text is finished", read_version=1)
    assert Client().get("/".join([address, *TILE])).status_code == 404
    forged = address[:-3] + ("AAA" if not address.endswith("AAA") else "BBB")
    assert Client().get("/".join([forged, *TILE])).status_code == 404


def test_the_page_makes_a_link_for_an_open_picture_only(
    picture: Deliverable, thing: CollectionObject, signe: User
) -> None:
    ines = outside("Ines", "co_author")
    granted(ines, thing)
    client = signed_in(ines)
    page = reverse("pictures:granted_object", args=[thing.uuid])
    shown = client.post(page, {"picture": identifier_of(picture)}).content.decode()
    assert "/pictures/link/" in shown
    other = pictured(factory.museum_object("AR 0011", "Salt Pans"))
    assert client.post(page, {"picture": identifier_of(other)}).status_code == 404


def test_every_picture_of_the_page_opens_however_small_its_master_is(
    thing: CollectionObject, signe: User, stores: Path
) -> None:
    """A miniature has fewer pixels than the large view asks for."""
    frame = factory.frame()
    derive_pictures(frame, wide=300, high=200)
    factory.deliverable(thing, "UV", frames=[frame])
    ines = outside("Ines", "co_author")
    granted(ines, thing)
    client = signed_in(ines)
    for page in ("granted", "granted_object"):
        args = [thing.uuid] if page == "granted_object" else []
        shown = client.get(reverse(f"pictures:{page}", args=args)).content.decode()
        found = set(re.findall(r'(?:href|src)="(/pictures/iiif/[^"]+[.]jpg)', shown))
        assert len(found) >= 2, page
        assert {address: client.get(address).status_code for address in found} == dict.fromkeys(
            found, 200
        )


# The trail


def test_tiles_are_one_look_and_a_large_cut_out_is_a_download(picture: Deliverable) -> None:
    oda = factory.curator()
    for _ in range(3):
        fetch(oda, picture, TILE)
    fetch(oda, picture, SMALL)
    fetch(oda, picture, WHOLE)
    codes = list(AuditEvent.objects.filter(actor=oda).values_list("code", flat=True))
    assert codes == [looks.LOOKED, looks.DOWNLOADED]
    event = AuditEvent.objects.get(code=looks.DOWNLOADED)
    assert event.after["what"] == "full/max/0/default.jpg"


def test_a_transfer_ends_when_the_picture_is_closed_meanwhile(
    picture: Deliverable, thing: CollectionObject, signe: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answers, "PART_BYTES", 4_096)
    oda = factory.curator()
    answer: Any = fetch(oda, picture, WHOLE)
    assert answer.streaming
    parts = iter(answer.streaming_content)
    received = next(parts)
    restricted(thing, signe)
    rest = b"".join(parts)
    assert len(received) + len(rest) < int(answer["Content-Length"])
    assert rest == b""
    assert AuditEvent.objects.filter(code=looks.STOPPED, actor=oda).count() == 1


def test_a_recall_closes_the_full_picture_to_all_but_the_studio_with_the_reason(
    picture: Deliverable, signe: User
) -> None:
    oda, amaro = factory.curator(), picture.photographer
    manifest = reverse("pictures:manifest", args=[picture.object.uuid])
    assert fetch(oda, picture, WHOLE).status_code == 200
    assert identifier_of(picture) in signed_in(oda).get(manifest).content.decode()
    deliverable_actions.recall(
        actor=signe, deliverable_id=picture.pk, read_version=picture.row_version,
        reasons=["exposure"], note="The barrier filter was missing.",
    )  # fmt: skip
    for address in (identifier_of(picture), picture.cover.sha256):
        base_address = reverse("pictures:base", args=[address])
        for parts in (WHOLE, TILE, CUT_OUT):
            asked = f"{base_address}/{'/'.join(parts)}"
            closed = signed_in(oda).get(asked)
            assert closed.status_code == 403, (address, parts)
            said = closed.content.decode()
            assert said.startswith("This picture was recalled on ")
            assert "The barrier filter was missing. The studio alone sees it in full." in said
            assert signed_in(amaro).get(asked).status_code == 200
        assert signed_in(oda).get(f"{base_address}/{'/'.join(SMALL)}").status_code == 200
    assert identifier_of(picture) not in signed_in(oda).get(manifest).content.decode()


def test_a_frame_that_serves_a_later_version_too_stays_open(
    picture: Deliverable, signe: User
) -> None:
    oda = factory.curator()
    deliverable_actions.recall(
        actor=signe, deliverable_id=picture.pk, read_version=picture.row_version,
        reasons=["exposure"], note="Joined from the wrong tiles.",
    )  # fmt: skip
    factory.deliverable(
        picture.object, picture.technique, picture.face, frames=[picture.cover],
        chain=picture.chain, version=2,
    )  # fmt: skip
    address = reverse("pictures:base", args=[picture.cover.sha256])
    assert signed_in(oda).get(f"{address}/{'/'.join(WHOLE)}").status_code == 200


def test_what_only_reads_refuses_every_other_method_as_such(
    picture: Deliverable, signe: User
) -> None:
    """405 and not 403, also for a client that brings no token, as programs do."""
    client = Client(enforce_csrf_checks=True)
    client.force_login(signe)
    for address in (
        base(picture),
        f"{base(picture)}/info.json",
        f"{base(picture)}/full/max/0/default.jpg",
        reverse("pictures:manifest", args=[picture.object.uuid]),
    ):
        answer = client.post(address)
        assert (answer.status_code, answer["Allow"]) == (405, "GET, HEAD"), address
