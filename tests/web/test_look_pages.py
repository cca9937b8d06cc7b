"""Look and compare: what the page shows without scripts, what it refuses, and notes in mm."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.http import HttpResponse, QueryDict
from django.test import Client
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import SurfaceNote
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import Role, User
from imaging_requests.pictures.models import Restriction
from imaging_requests.progress.look.sight import Chosen, Sight, read_sight
from tests import factory
from tests.look_scene import painting, pictured, registered
from tests.progress_scene import take_varnish_off

pytestmark = pytest.mark.django_db
RECTANGLE = {"left_mm": "100", "top_mm": "50", "width_mm": "80", "height_mm": "40"}


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def text(answer: HttpResponse, status: int = 200) -> str:
    assert answer.status_code == status, answer.content.decode()[-2000:]
    return " ".join(answer.content.decode().split())


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script id="look-data" type="application/json">(.*?)</script>', page)
    assert found is not None
    answer: dict[str, Any] = json.loads(found[1])
    return answer


def at(thing: CollectionObject, query: str = "") -> str:
    return f"{reverse('progress:look', args=[thing.pk])}?{query}"


@pytest.fixture
def oda() -> User:
    return factory.curator()


@pytest.fixture
def runa() -> User:
    return factory.conservator()


@pytest.fixture
def thing(oda: User) -> CollectionObject:
    factory.photographer()
    return painting()


# What is shown


def test_pictures_stand_by_technique_and_state_with_the_sentence_of_the_state(
    thing: CollectionObject, oda: User, runa: User
) -> None:
    pictured(thing, "VF")
    pictured(thing, "UV", evs=(-1, 0, 1))
    take_varnish_off(thing, factory.LONG_AGO + factory.hours(48))
    after = pictured(thing, "VF", days=5)
    page = text(signed_in(oda).get(at(thing)))
    assert "s1, after varnish" in page
    assert f"p={after.pk}" in page
    assert "UV of the front" in page
    assert "Exposures" not in page, "one picture, the visible one, is shown first"


def test_two_pictures_lie_side_by_side_at_the_same_spot_without_scripts(
    thing: CollectionObject, oda: User
) -> None:
    one, two = pictured(thing, "VF"), pictured(thing, "IR")
    page = text(
        signed_in(oda).get(at(thing, f"mode=side&p={one.pk}&p={two.pk}&x=300&y=200&across=100"))
    )
    assert page.count('viewBox="250.000 162.500 100.000 75.000"') == 2
    assert "Two techniques: the same spot in both" in page


def test_a_bracket_offers_its_exposures_and_shows_the_one_asked_for(
    thing: CollectionObject, oda: User
) -> None:
    uv = pictured(thing, "UV", evs=(-1, 0, 1))
    page = text(signed_in(oda).get(at(thing, f"p={uv.pk}:1")))
    assert "<b>+1 EV</b>" in page
    assert f"p={uv.pk}%3A-1" in page


def test_a_measured_line_is_drawn_with_its_length(thing: CollectionObject, oda: User) -> None:
    pictured(thing, "VF")
    page = text(signed_in(oda).get(at(thing, "measure=10,20,40,60")))
    assert 'd="M10 20L40 60"' in page
    assert ">50.0 mm</text>" in page


def test_the_grid_leads_to_an_exposure_of_a_picture_that_was_not_chosen(
    thing: CollectionObject, oda: User
) -> None:
    pictured(thing, "VF")
    uv = pictured(thing, "UV", evs=(0, 1))
    page = text(signed_in(oda).get(at(thing, "mode=grid")))
    assert f'href="?face=F&amp;p={uv.pk}%3A1"' in page


def test_the_back_lies_mirrored_over_the_front_and_says_so(
    thing: CollectionObject, oda: User
) -> None:
    front, back = pictured(thing, "VF"), pictured(thing, "VF", "B")
    page = text(signed_in(oda).get(at(thing, f"face=F&mode=fade&p={front.pk}&p={back.pk}")))
    assert page.count("mirrored for overlay") == 1
    assert "translate(600 0) scale(-1 1)" in page
    alone = text(signed_in(oda).get(at(thing, f"face=B&p={back.pk}")))
    assert "mirrored for overlay" not in alone


def test_an_inverted_x_ray_says_so_and_how_it_was_filed(thing: CollectionObject, oda: User) -> None:
    plate = pictured(thing, "XR", "T")
    page = text(signed_in(oda).get(at(thing, f"p={plate.pk}&inverted=1")))
    assert "X-ray inverted" in page
    assert "filed with dense parts bright, as on film" in page
    assert "Parallax" in page


def test_what_was_not_measured_is_said_and_what_was_measured_counts(
    thing: CollectionObject, oda: User
) -> None:
    planned, measured = pictured(thing, "VF"), pictured(thing, "IR")
    matrix = [[0.5, 0.0, -30.0], [0.0, 0.5, -25.0], [0.0, 0.0, 1.0]]
    registered(measured, matrix)
    page = text(signed_in(oda).get(at(thing, f"mode=side&p={planned.pk}&p={measured.pk}")))
    assert "Not measured: placed by the planned density of 2 px/mm" in page
    assert "Measured on the outline of the face in the picture itself, to 0.21 mm." in page
    found = {each["id"]: each for each in data_of(page)["pictures"]}
    assert found[measured.pk]["errorMm"] == 0.21
    assert found[measured.pk]["exposures"][0]["tiles"][0]["placement"][2] == -30.25
    assert found[planned.pk]["exposures"][0]["tiles"][0]["placement"][2] == pytest.approx(-20.0)


def test_a_placement_that_does_not_fit_is_not_used(thing: CollectionObject, oda: User) -> None:
    row = pictured(thing, "IR")
    registered(
        row,
        [[0.1, 0, 0], [0, 0.1, 0], [0, 0, 1]],
        verdict="fail",
        reason="The outline is not the face's.",
    )
    page = text(signed_in(oda).get(at(thing, f"p={row.pk}")))
    assert "Not measured: placed by the planned density" in page
    assert "The outline is not the face&#x27;s." in page


def test_an_object_without_size_says_what_positions_rest_on(oda: User) -> None:
    factory.photographer()
    thing = painting(width_mm=None, height_mm=None)
    pictured(thing, "VF")
    page = text(signed_in(oda).get(at(thing)))
    assert "the size of the object is not recorded" in page


def test_an_object_without_pictures_says_what_will_be_here(
    thing: CollectionObject, oda: User
) -> None:
    page = text(signed_in(oda).get(at(thing)))
    assert "None is handed in or accepted yet" in page


def test_a_recalled_picture_is_not_shown(thing: CollectionObject, oda: User) -> None:
    pictured(thing, "VF")
    recalled = pictured(thing, "UV", state="recalled")
    page = text(signed_in(oda).get(at(thing, f"p={recalled.pk}")))
    assert f"Picture {recalled.pk} cannot be shown here" in page
    assert "UV of the front" not in page


def restrict(thing: CollectionObject, by: User, kind: str, techniques: list[str]) -> None:
    Restriction.objects.create(
        object=thing,
        kind=kind,
        techniques=techniques,
        reason="asked for in writing.",
        since=factory.LONG_AGO,
        set_by=by,
    )


def test_a_restricted_picture_and_its_notes_are_held_back_with_the_reason(
    thing: CollectionObject, oda: User
) -> None:
    signe = factory.lead()
    pictured(thing, "VF")
    plate = pictured(thing, "XR", "T")
    write(signe, plate.pk, "A nail that nobody saw")
    restrict(thing, signe, "consent", ["XR"])
    page = text(signed_in(oda).get(at(thing, f"p={plate.pk}")))
    assert "Not shown: X-ray: Owner&#x27;s consent missing: asked for in writing." in page
    assert [each["technique"] for each in data_of(page)["pictures"]] == ["VF"]
    assert "A nail that nobody saw" not in page
    assert "1 note on pictures that are not open to you" in page
    note = SurfaceNote.objects.get()
    assert signed_in(oda).get(reverse("progress:look_note", args=[note.pk])).status_code == 403
    with pytest.raises(NotAllowed, match="Owner's consent missing"):
        write(oda, plate.pk)
    shown = text(signed_in(signe).get(at(thing, f"p={plate.pk}")))
    assert "A nail that nobody saw" in shown


def test_who_sees_small_pictures_only_gets_no_tiles(thing: CollectionObject) -> None:
    pictured(thing, "VF")
    page = text(signed_in(factory.person("Hale", Role.KEEPER)).get(at(thing)))
    assert "Your role sees small pictures only." in page
    assert data_of(page)["pictures"][0]["exposures"][0]["tiles"][0]["info"] is None


def test_people_from_outside_do_not_come_here(thing: CollectionObject) -> None:
    pictured(thing, "VF")
    assert signed_in(factory.person("Ilse", Role.LENDER)).get(at(thing)).status_code == 403


def test_pictures_of_one_view_carry_their_grade_and_its_sentence(
    thing: CollectionObject, oda: User
) -> None:
    one, two = pictured(thing, "VF"), pictured(thing, "VF", days=9)
    client = signed_in(oda)
    page = text(client.get(at(thing, f"mode=side&p={one.pk}&p={two.pk}")))
    answer = client.get(
        f"{reverse('progress:look_pair', args=[thing.pk])}?p={one.pk}&p={two.pk}"
    ).json()
    assert answer["grade"] in "ABCN"
    assert answer["sentence"].startswith(f"Grade {answer['grade']}")
    assert answer["sentence"].split("&")[0][:40] in page
    if answer["grade"] in "CN":
        assert "fade" not in answer["modes"]


def test_each_of_several_pictures_is_weighed_against_the_first(
    thing: CollectionObject, oda: User
) -> None:
    one, infrared, later = (
        pictured(thing, "VF"),
        pictured(thing, "IR"),
        pictured(thing, "VF", days=9),
    )
    query = "&".join(f"p={each.pk}" for each in (one, infrared, later))
    page = text(signed_in(oda).get(at(thing, f"mode=side&{query}")))
    assert "A and B: Two techniques" in page
    assert "A and C: Grade " in page


def test_two_pictures_that_may_not_be_compared_are_not_drawn_beside_each_other(
    thing: CollectionObject, oda: User
) -> None:
    one = pictured(thing, "XR", "T")
    two = pictured(thing, "XR", "T", days=9, polarity="unknown", state="to_review")
    page = text(signed_in(oda).get(at(thing, f"mode=side&p={one.pk}&p={two.pk}")))
    assert data_of(page)["pair"]["modes"] == []
    assert "Grade N, not compared" in page
    assert page.count("look__drawing") == 1


def test_a_region_begins_a_request(thing: CollectionObject, oda: User) -> None:
    address = (
        f"{reverse('requesting:request_new')}?object={thing.pk}&region_face=B"
        "&region_left=12.5&region_top=30&region_width=80&region_height=40"
    )
    page = text(signed_in(oda).get(address))
    assert 'value="12.5"' in page
    assert '<option value="B" selected>' in page


def test_the_page_asks_the_database_a_fixed_number_of_times(
    thing: CollectionObject, oda: User, django_assert_num_queries: Any
) -> None:
    client = signed_in(oda)
    first = pictured(thing, "VF")
    write(oda, first.pk)
    client.get(at(thing))
    with django_assert_num_queries(20):
        client.get(at(thing))
    for technique in ("VC", "IR", "UV"):
        for days in (1, 20):
            row = pictured(thing, technique, evs=(0, 1), days=days)
            registered(row, [[0.5, 0, -20], [0, 0.5, -20], [0, 0, 1]])
            write(oda, row.pk)
    with django_assert_num_queries(20):
        client.get(at(thing, "mode=grid"))


# Addresses


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("mode=sideways", "“sideways” is no way of looking"),
        ("face=Q", "“Q” is no face"),
        ("p=abc", "“abc” names no picture"),
        ("p=999999", "Picture 999999 cannot be shown here"),
        ("x=1&y=2&across=wide", "“wide” is no number for across"),
        ("x=nan&y=2&across=3", "“nan” is no number for x"),
        ("x=1&y=2&across=-3", "A view is at least 0.1 mm wide"),
        ("across=-5", "A part in view needs x, y and across together"),
        ("mix=1000", "A mix is 0 to 100 per cent; 1000 was brought to the nearer end"),
        ("measure=1,2,3", "A measure has four numbers"),
        ("note=x", "names no note"),
        ("note=9999", "Note 9999 cannot be shown"),
        ("face=B", "There is no picture of the back yet"),
        ("p=1&p=2&p=3&p=4&p=5", "At most 4 pictures are shown"),
    ],
)
def test_what_an_address_gets_wrong_is_said_and_the_rest_opens(
    thing: CollectionObject, oda: User, query: str, said: str
) -> None:
    pictured(thing, "VF")
    page = text(signed_in(oda).get(at(thing, query)))
    assert said in page
    assert data_of(page)["sight"]["pictures"]


@pytest.mark.parametrize("mode", ["fade", "split", "blink"])
def test_a_way_of_looking_that_a_pair_does_not_leave_open_is_said(
    thing: CollectionObject, oda: User, mode: str
) -> None:
    one, two = pictured(thing, "VF"), pictured(thing, "VF", days=9)
    page = text(signed_in(oda).get(at(thing, f"mode={mode}&p={one.pk}&p={two.pk}")))
    assert data_of(page)["pair"]["modes"] == ["side"]
    assert "is not open for these two pictures, so they stand side by side" in page
    assert data_of(page)["sight"]["mode"] == "side"
    open_one = text(signed_in(oda).get(at(thing, f"mode=side&p={one.pk}&p={two.pk}")))
    assert "is not open for these two pictures" not in open_one


def test_an_exposure_that_is_not_there_is_said(thing: CollectionObject, oda: User) -> None:
    uv = pictured(thing, "UV", evs=(0, 1))
    assert "has no exposure −3 EV" in text(signed_in(oda).get(at(thing, f"p={uv.pk}:-3")))


def test_an_address_that_was_written_is_read_back_the_same() -> None:
    sight = Sight(
        face="B",
        mode="split",
        pictures=(Chosen(12, -2.0), Chosen(7)),
        centre_mm=(123.4567, 45.5),
        across_mm=80.25,
        mix_percent=33,
        is_inverted=True,
        measure_mm=(1.0, 2.0, 3.5, 4.25),
        note_id=9,
        are_notes_shown=False,
    )
    assert read_sight(QueryDict(sight.as_query())) == (sight, [])


# Notes


def write(user: User, picture: int, words: str = "A lifted edge", **more: Any) -> SurfaceNote:
    values: dict[str, Any] = {
        "shape": "rectangle",
        "points_mm": [[100, 50], [180, 50], [180, 90], [100, 90]],
    }
    return actions.write_note(actor=user, deliverable_id=picture, text=words, **(values | more))


def test_a_note_is_written_in_mm_and_shown_over_every_technique_and_later_picture(
    thing: CollectionObject, oda: User
) -> None:
    first = pictured(thing, "VF")
    client = signed_in(oda)
    back = f"face=F&p={first.pk}&x=1&y=2&across=30"
    answer = client.post(
        reverse("progress:look_note_new", args=[thing.pk]),
        {"picture": first.pk, "text": " A lifted edge ", "back": back, **RECTANGLE},
    )
    assert answer.status_code == 302
    assert answer["Location"] == at(thing, back)
    note = SurfaceNote.objects.get()
    assert (note.text, note.face, note.surface) == ("A lifted edge", "F", "F.1")
    assert note.as_of == first.captured_at
    take_varnish_off(thing, factory.LONG_AGO + factory.hours(48))
    later = pictured(thing, "IR", days=30)
    page = text(client.get(at(thing, f"p={later.pk}")))
    assert 'points="100.0,50.0 180.0,50.0 180.0,90.0 100.0,90.0 "' in page
    assert "seen in s0" in page


def test_a_note_on_the_back_keeps_to_the_back(thing: CollectionObject, oda: User) -> None:
    pictured(thing, "VF")
    back = pictured(thing, "VF", "B")
    assert write(oda, back.pk).face == "B"
    front = text(signed_in(oda).get(at(thing, "face=F")))
    assert "<polygon" not in front
    assert "A lifted edge" in front, "the list names the notes of both sides"
    assert "<polygon" in text(signed_in(oda).get(at(thing, "face=B")))


def test_a_link_leads_back_to_the_view_and_nowhere_else(thing: CollectionObject, oda: User) -> None:
    first = pictured(thing, "VF")
    answer = signed_in(oda).post(
        reverse("progress:look_note_new", args=[thing.pk]),
        {"picture": first.pk, "text": "x", "back": "https://elsewhere.example/", **RECTANGLE},
    )
    assert answer["Location"] == at(thing, "face=F")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"text": "  "}, "is missing. Fill it in."),
        ({"left_mm": "590"}, "The region leaves the face, which is 600 × 400 mm"),
        ({"width_mm": ""}, "type all four numbers"),
        ({"width_mm": "0"}, "The region covers nothing"),
        ({"corners": "[[1,2],[3"}, "The outline could not be read"),
        ({"corners": "[" * 100_000}, "The outline could not be read"),
        ({"corners": "[[1,2],[3,1" + "0" * 400 + "],[5,6]]"}, "The outline could not be read"),
        ({"corners": "[[1,2],[3,4]]"}, "A region has 3 to 200 corners; this one has 2"),
        ({"corners": "[[1,2],[3,4],[NaN,9]]"}, "A corner of the region is not a number"),
    ],
)
def test_a_note_that_cannot_be_kept_is_refused_and_what_was_typed_stays(
    thing: CollectionObject, oda: User, fields: dict[str, str], said: str
) -> None:
    first = pictured(thing, "VF")
    sent = {"picture": first.pk, "text": "A lifted edge", **RECTANGLE} | fields
    answer = signed_in(oda).post(reverse("progress:look_note_new", args=[thing.pk]), sent)
    page = text(answer, 422)
    assert said in page
    if "text" not in fields:
        assert "A lifted edge" in page
    assert not SurfaceNote.objects.exists()


def test_a_note_needs_front_or_back(thing: CollectionObject, oda: User) -> None:
    edges = pictured(thing, "VF", "E", surface="E.1")
    with pytest.raises(DomainError, match="Notes lie on the front or the back"):
        write(oda, edges.pk)


def test_a_stale_change_of_a_note_is_refused_with_what_differs(
    thing: CollectionObject, oda: User
) -> None:
    note = write(oda, pictured(thing, "VF").pk)
    client, address = signed_in(oda), reverse("progress:look_note", args=[note.pk])
    actions.change_note(
        actor=oda,
        note_id=note.pk,
        read_version=1,
        shape="rectangle",
        points_mm=note.points_mm,
        text="A lifted edge, 3 mm long",
    )
    answer = client.post(address, {"text": "Loose paint", "read_version": 1, **RECTANGLE})
    page = text(answer, 422)
    assert "Oda changed the note while you were working on it" in page
    assert "stands at “A lifted edge, 3 mm long”, you wrote “Loose paint”" in page
    note.refresh_from_db()
    assert note.text == "A lifted edge, 3 mm long"
    assert (
        client.post(address, {"text": "Loose", "read_version": 2, **RECTANGLE}).status_code == 302
    )


def test_only_the_author_and_the_lead_change_a_note(
    thing: CollectionObject, oda: User, runa: User
) -> None:
    note = write(oda, pictured(thing, "VF").pk)
    address = reverse("progress:look_note", args=[note.pk])
    assert "Oda&#x27;s: only the author or the lead changes it" in text(
        signed_in(runa).get(address)
    )
    with pytest.raises(NotAllowed, match="only the author or the lead"):
        actions.withdraw_note(actor=runa, note_id=note.pk, read_version=1)
    actions.withdraw_note(actor=factory.lead(), note_id=note.pk, read_version=1)


def test_a_note_that_was_taken_back_is_shown_no_more(thing: CollectionObject, oda: User) -> None:
    note = write(oda, pictured(thing, "VF").pk)
    client = signed_in(oda)
    client.post(
        reverse("progress:look_note_withdraw", args=[note.pk]), {"read_version": 1, "back": ""}
    )
    page = text(client.get(at(thing)))
    assert "The note is taken back." in page
    assert "Nobody has written a note" in page
    again = client.post(
        reverse("progress:look_note_withdraw", args=[note.pk]), {"read_version": 2}, follow=True
    )
    assert "This note was taken back." in text(again)


def test_the_object_the_entry_and_the_review_lead_to_the_pictures(
    thing: CollectionObject, oda: User
) -> None:
    entry = factory.entry(thing)
    row = pictured(thing, "VF", state="to_review")
    client = signed_in(oda)
    look = reverse("progress:look", args=[thing.pk])
    for address in (
        reverse("progress:object", args=[thing.pk]),
        reverse("progress:entry", args=[entry.pk]),
        reverse("deliverables:review", args=[row.pk]),
        reverse("deliverables:deliverable", args=[row.pk]),
    ):
        assert look in text(client.get(address)), address
