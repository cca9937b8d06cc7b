"""The pages of requests and waivers: who sees them, what they say, what a refusal keeps."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, EntryObject
from imaging_requests.people.models import User
from imaging_requests.requesting import actions, outlook
from imaging_requests.requesting.actions import WishedView
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import Request, RequestLine
from tests import factory
from tests.factory import LONG_AGO

pytestmark = pytest.mark.django_db

ROLES = ("curator", "conservator", "photographer", "lead", "head", "keeper")


@pytest.fixture(autouse=True)
def _scene(monkeypatch: pytest.MonkeyPatch) -> None:
    factory.rules()
    monkeypatch.setitem(outlook._lookups, "standing", lambda ids: {})


@pytest.fixture
def people() -> dict[str, User]:
    names = ("Oda", "Runa", "Amaro", "Signe", "Corvin", "Kuno")
    return {role: factory.person(name, role) for role, name in zip(ROLES, names, strict=True)}


@pytest.fixture
def banner() -> CollectionObject:
    return owed("AR 0067", "Processional Banner of the Pilots", entry="22")


def owed(number: str = "", title: str = "", *, entry: str = "") -> CollectionObject:
    obj = factory.museum_object(number, title)
    factory.entry(obj, number=entry)
    sync_owed_views([obj.pk], timezone.now())
    return obj


def wish(obj: CollectionObject, technique: str = "UV", **extra: object) -> WishedView:
    return WishedView(object_id=obj.pk, technique=technique, face=extra.pop("face", "F"), **extra)


def file(actor: User, *wishes: WishedView) -> Request:
    return actions.file_request(
        actor=actor, purpose="text", why="The hem is described.", wanted_by=None, lines=wishes
    )


def signed_in(client: Client, user: User) -> Client:
    client.force_login(user)
    return client


def text(response: object) -> str:
    return " ".join(response.content.decode().split())  # type: ignore[attr-defined]


def test_a_visitor_is_led_to_the_sign_in(client: Client) -> None:
    for name in ("requests", "request_new", "triage", "waivers"):
        address = reverse(f"requesting:{name}")
        assert client.get(address)["Location"].startswith(reverse("people:sign_in"))


ALLOWED = {
    "requests": set(ROLES),
    "request": set(ROLES),
    "waivers": set(ROLES),
    "request_new": set(ROLES) - {"keeper"},
    "waive": set(ROLES) - {"keeper"},
    "triage": {"lead"},
    "waiver_refuse": {"lead", "conservator"},
    "waiver_end": {"lead"},
    "replace": {"lead"},
    "not_applicable": {"lead"},
    "gap_statement": {"head"},
}


@pytest.mark.parametrize("role", ROLES)
def test_who_sees_which_page(
    client: Client, people: dict[str, User], banner: CollectionObject, role: str
) -> None:
    view = banner.owed_views.get(technique="UV", face="F")
    request = file(people["curator"], wish(banner))
    proposal = actions.propose_waiver(
        actor=people["curator"], owed_view_id=view.pk, reason_code="other", text="It is known."
    )
    waiver = actions.grant_waiver(
        actor=people["lead"],
        owed_view_id=banner.owed_views.get(technique="XR").pk,
        reason_code="nothing_to_see",
        text="Lead white.",
    )
    keys = {
        "request": [request.pk],
        "waive": [view.pk],
        "replace": [view.pk],
        "waiver_refuse": [proposal.pk],
        "waiver_end": [waiver.pk],
        "not_applicable": [banner.pk],
        "gap_statement": [banner.entry_objects.get().entry_id],
    }
    signed_in(client, people[role])
    for name, allowed in ALLOWED.items():
        response = client.get(reverse(f"requesting:{name}", args=keys.get(name)))
        assert response.status_code == (200 if role in allowed else 403), name


@pytest.mark.parametrize("role", ROLES)
def test_who_may_post_what(client: Client, people: dict[str, User], role: str) -> None:
    """A refused role gets the reason and nothing is written."""
    signed_in(client, people[role])
    posts = {
        "triage": (reverse("requesting:triage"), {"lead"}, "Agreeing to requests is for"),
        "sign": (
            reverse("requesting:waiver_sign", args=[1]),
            {"lead", "conservator"},
            "Signing a waiver is for",
        ),
        "file": (reverse("requesting:request_new"), set(ROLES) - {"keeper"}, "Asking for"),
    }
    for address, allowed, words in posts.values():
        if role not in allowed:
            response = client.post(address)
            assert response.status_code == 403
            assert words in text(response)
    assert not Request.objects.exists()


WISH = {"purpose": "text", "why": "The hem is described.", "views": ["UV-F", "XR-T"]}


def test_a_request_is_filed_in_three_steps_without_scripts(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    signed_in(client, people["curator"])
    new = reverse("requesting:request_new")
    found = client.get(new, {"choose": "1", "q": "banner"})
    assert f'name="object" value="{banner.pk}"' in text(found)
    assert "Entry 22, Processional Banner" in text(found)
    form = client.get(new, {"choose": "1", "go": "on", "object": banner.pk})
    assert "What do you need of AR 0067?" in text(form)
    review = client.post(new, {**WISH, "object": banner.pk})
    assert review.status_code == 200
    assert "Others ask for these 2 pictures too" in text(review)
    assert "catalogue entry 22" in text(review)
    assert not Request.objects.exists(), "seeing what is there files nothing"
    back = client.post(new, {**WISH, "object": banner.pk, "back": "yes"})
    assert 'value="UV-F" checked' in text(back)
    filed = client.post(new, {**WISH, "object": banner.pk, "file": "yes"})
    made = Request.objects.get()
    assert filed["Location"] == reverse("requesting:request", args=[made.pk])
    page = text(client.get(filed["Location"]))
    assert f"{made.number}: waits for the lead" in page
    assert "UV of the front" in page


def test_an_old_number_finds_the_object(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    banner.numbers.update(in_force_to=date(2026, 1, 16))
    factory.ObjectNumber.objects.create(
        object=banner, number="AR 0567", in_force_from=date(2026, 1, 16)
    )
    signed_in(client, people["curator"])
    response = client.get(reverse("requesting:request_new"), {"q": "AR 0067"})
    assert "AR 0567" in text(response)
    nothing = client.get(reverse("requesting:request_new"), {"q": "zeppelin"})
    assert "Nothing has “zeppelin” in its number or title." in text(nothing)


def test_htmx_gets_only_what_was_found(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    signed_in(client, people["curator"])
    response = client.get(
        reverse("requesting:request_new"),
        {"choose": "1", "q": "pilots"},
        headers={"HX-Request": "true"},
    )
    assert "<html" not in text(response)
    assert "AR 0067" in text(response)
    assert "HX-Request" in response["Vary"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"views": []}, "Tick at least one view."),
        ({"why": ""}, "Say in one sentence what the pictures are needed for."),
        ({"wanted_by": "tomorrow"}, "This is no day. Write it as in 2026-04-24."),
        ({"wanted_by": "2020-01-01"}, "wanted by 1 Jan 2020, which has passed"),
        ({"region_face": "F", "region_left": "1"}, "A region needs this number."),
        ({"region_left": "1"}, "Say on which face the region lies."),
        (
            {
                "region_face": "F",
                "region_left": "1000",
                "region_top": "0",
                "region_width": "100",
                "region_height": "10",
                "region_density": "48",
            },
            "The region ends at 1100 mm from the left, but the face is 1060 mm wide.",
        ),
    ],
)
def test_a_refused_wish_keeps_what_was_typed(
    client: Client, people: dict[str, User], banner: CollectionObject, change: dict, words: str
) -> None:
    signed_in(client, people["curator"])
    data = {**WISH, "object": banner.pk, "use_rights": "Print and lecture", **change}
    for step in ({}, {"file": "yes"}):
        response = client.post(reverse("requesting:request_new"), {**data, **step})
        if response.status_code == 200:
            assert not step, "a past day is refused when it is filed"
            continue
        assert response.status_code == 422
        assert words in text(response)
        assert "Print and lecture" in text(response)
    assert not Request.objects.exists()


def test_a_region_is_only_for_its_face(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    signed_in(client, people["curator"])
    region = {
        "region_face": "F",
        "region_left": "120",
        "region_top": "80",
        "region_width": "60",
        "region_height": "40",
        "region_density": "48",
    }
    client.post(
        reverse("requesting:request_new"), {**WISH, **region, "object": banner.pk, "file": "yes"}
    )
    lines = {line.technique: line.detail_mm for line in RequestLine.objects.all()}
    assert lines == {"UV": [120, 80, 60, 40], "XR": None}
    other = owed("AR 0034")
    two = client.post(
        reverse("requesting:request_new"), {**WISH, **region, "object": [banner.pk, other.pk]}
    )
    assert "A region lies on one object." in text(two)


def test_what_is_here_is_shown_and_asked_again_only_with_a_reason(
    client: Client,
    people: dict[str, User],
    banner: CollectionObject,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    view = banner.owed_views.get(technique="UV", face="F")
    here = outlook.Standing(
        status="filed", is_met=True, met_on=date(2026, 3, 3), picture_href="/somewhere/"
    )
    monkeypatch.setitem(
        outlook._lookups, "standing", lambda ids: {view.pk: here} if view.pk in ids else {}
    )
    signed_in(client, people["curator"])
    data = {"purpose": "text", "why": "Text.", "views": ["UV-F"], "object": banner.pk}
    review = text(client.post(reverse("requesting:request_new"), data))
    assert "The picture is here already" in review
    assert '<a class="act" href="/somewhere/">Open it</a>' in review
    assert "3 Mar 2026" in review
    client.post(
        reverse("requesting:request_new"),
        {
            **data,
            "file": "yes",
            "insists": [f"{banner.pk}:UV-F"],
            "insists_because": "The filter was the old one.",
        },
    )
    line = RequestLine.objects.get()
    assert (line.state, line.insists_because) == ("submitted", "The filter was the old one.")


def test_an_entry_is_wished_as_a_whole_and_followed(
    client: Client, people: dict[str, User]
) -> None:
    pilot, wife, third = owed("AR 0033"), owed("AR 0034"), owed("AR 0035")
    entry = factory.entry(pilot, wife, number="11", title="Pair")
    signed_in(client, people["curator"])
    form = client.get(reverse("requesting:request_new"), {"go": "on", "entry": entry.pk})
    assert "What do you need of these 2 objects?" in text(form)
    values = [f"{pilot.pk}-{entry.pk}", f"{wife.pk}-{entry.pk}"]
    assert all(f'value="{value}"' in text(form) for value in values)
    client.post(
        reverse("requesting:request_new"),
        {"purpose": "text", "why": "Text.", "views": ["UV-F"], "object": values, "file": "yes"},
    )
    EntryObject.objects.create(entry=entry, object=third, added_at=LONG_AGO)
    made = Request.objects.get()
    page = text(client.get(reverse("requesting:request", args=[made.pk])))
    assert "Entry 11 has changed</span> since this was filed. Come: AR 0035." in page
    client.post(
        reverse("requesting:follow", args=[made.pk]),
        {"entry": entry.pk, "read_version": made.row_version},
    )
    assert made.lines.count() == 3


def test_taking_back_says_what_stays(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    made = file(people["curator"], wish(banner), wish(banner, "IR", face="B"))
    for line in made.lines.all():
        actions.agree_line(actor=people["lead"], line_id=line.pk, read_version=1)
    signed_in(client, people["curator"])
    address = reverse("requesting:withdraw", args=[made.pk])
    none = client.post(address, follow=True)
    assert "No line was ticked, so nothing was withdrawn." in text(none)
    ids = [str(line.pk) for line in made.lines.all()]
    done = client.post(address, {"lines": ids, **{f"read-{pk}": "2" for pk in ids}}, follow=True)
    assert "Withdrawn. 1 of 2 shots stays for others." in text(done)
    signed_in(client, factory.curator("Matthis"))
    refused = client.post(address, {"lines": ids[:1], f"read-{ids[0]}": "3"})
    assert refused.status_code == 403


def test_triage_agrees_and_declines_object_by_object(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    matthis = factory.curator("Matthis")
    file(people["curator"], wish(banner))
    file(matthis, wish(banner), wish(banner, "IR", face="B"))
    signed_in(client, people["lead"])
    page = text(client.get(reverse("requesting:triage")))
    assert "3 wishes wait for your word, on 1 object" in page
    assert "3 wishes, 2 views" in page
    lines = list(RequestLine.objects.order_by("pk"))
    versions = {f"read-{line.pk}": line.row_version for line in lines}
    base = {"object": banner.pk, **versions}
    nothing = client.post(reverse("requesting:triage"), {**base, "answer": "agree"})
    assert nothing.status_code == 422
    assert "Tick the lines that are meant." in text(nothing)
    first_two = [lines[0].pk, lines[1].pk]
    late = {**base, "answer": "agree", "lines": first_two, "promised_on": "2020-01-01"}
    refused = client.post(reverse("requesting:triage"), late)
    assert refused.status_code == 422
    assert "1 Jan 2020 has passed, so it cannot be promised." in text(refused)
    assert 'value="2020-01-01"' in text(refused)
    promised = timezone.localdate() + timedelta(days=9)
    client.post(reverse("requesting:triage"), {**late, "promised_on": promised.isoformat()})
    assert RequestLine.objects.filter(state="agreed", promised_on=promised).count() == 2
    why = {**base, "answer": "decline", "lines": [lines[2].pk]}
    assert "needs to know why" in text(client.post(reverse("requesting:triage"), why))
    client.post(reverse("requesting:triage"), {**why, "reason": "The cloth is too weak."})
    assert "Every wish has been answered" in text(client.get(reverse("requesting:triage")))
    stale = client.post(
        reverse("requesting:triage"), {**base, "answer": "agree", "lines": first_two}
    )
    assert "Tick the lines that are meant." in text(stale) or stale.status_code == 422


@pytest.mark.parametrize(
    ("page", "limit"),
    [("requests", 14), ("triage", 22), ("waivers", 18)],
)
def test_lists_ask_a_fixed_number_of_queries(
    client: Client, people: dict[str, User], page: str, limit: int
) -> None:
    signed_in(client, people["lead"])

    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            response = client.get(reverse(f"requesting:{page}"))
        assert response.status_code == 200
        return len(found)

    def fill(number: int) -> None:
        for _ in range(number):
            obj = owed()
            file(people["curator"], wish(obj), wish(obj, "IR", face="B"))
            view = obj.owed_views.get(technique="XR")
            actions.propose_waiver(
                actor=people["curator"], owed_view_id=view.pk, reason_code="other", text="Known."
            )
            actions.grant_waiver(
                actor=people["lead"],
                owed_view_id=obj.owed_views.get(technique="VC").pk,
                reason_code="other",
                text="Known.",
            )

    fill(2)
    few = queries()
    fill(5)
    assert queries() == few
    assert few <= limit


def test_filters_narrow_the_list(
    client: Client, people: dict[str, User], banner: CollectionObject
) -> None:
    other = owed("AR 0038", "Harbour Fire")
    own = file(people["curator"], wish(banner))
    theirs = file(factory.curator("Matthis"), wish(other))
    signed_in(client, people["curator"])

    def listed(query: dict) -> set[str]:
        page = text(client.get(reverse("requesting:requests"), query))
        return {n for n in (own.number, theirs.number) if f">{n}</a>" in page}

    assert listed({}) == {own.number, theirs.number}
    assert listed({"whose": "mine"}) == {own.number}
    assert listed({"words": "harbour"}) == {theirs.number}
    assert listed({"words": "matthis"}) == {theirs.number}
    assert listed({"state": "agreed"}) == set()
    assert listed({"purpose": "loan"}) == set()


def test_unknown_things_are_not_found(client: Client, people: dict[str, User]) -> None:
    signed_in(client, people["lead"])
    for name in ("request", "waive", "replace", "waiver_end", "waiver_refuse", "not_applicable"):
        assert client.get(reverse(f"requesting:{name}", args=[999])).status_code == 404, name


@pytest.mark.parametrize("number", ["9" * 20, "²", "-1", "\x00", "one"])
def test_a_number_that_is_none_chooses_nothing(
    client: Client, people: dict[str, User], number: str
) -> None:
    signed_in(client, people["curator"])
    address = reverse("requesting:request_new")
    for data in ({"object": number}, {"entry": number, "choose": "1"}, {"entry": number}):
        assert client.get(address, data).status_code == 200
    assert client.post(address, {"object": number, "purpose": "text"}).status_code in {200, 422}
