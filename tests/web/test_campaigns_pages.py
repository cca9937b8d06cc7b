"""The pages of campaigns, sessions and the shot list: roles, refusals, two windows, the easel."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns import actions
from imaging_requests.campaigns.models import Campaign, Session, SessionState, ShotLine
from imaging_requests.campaigns.words import local, local_day
from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import User
from imaging_requests.requesting import outlook
from imaging_requests.requesting.derivation import sync_owed_views
from tests import factory
from tests.campaign_scene import at, confirmed, owed, plan, signed_in, text
from tests.factory import hours

pytestmark = pytest.mark.django_db

ROLES = ("curator", "conservator", "photographer", "lead", "head", "keeper")


@pytest.fixture(autouse=True)
def _scene(monkeypatch: pytest.MonkeyPatch) -> None:
    factory.rules()
    monkeypatch.setitem(outlook._lookups, "standing", lambda ids: {})
    factory.station("bay")
    factory.setup_card(technique="UV", note="BAY")


@pytest.fixture
def people() -> dict[str, User]:
    names = ("Oda", "Runa", "Amaro", "Signe", "Corvin", "Kuno")
    return {role: factory.person(name, role) for role, name in zip(ROLES, names, strict=True)}


@pytest.fixture
def island() -> CollectionObject:
    return owed("AR 0070", "The Quarantine Island")


@pytest.fixture
def session(people: dict[str, User], island: CollectionObject) -> Session:
    return plan(people, island)


EVERYBODY = set(ROLES)
SHOOTERS = {"photographer", "lead"}
ALLOWED = {
    "campaigns": EVERYBODY,
    "campaign": EVERYBODY,
    "session": EVERYBODY,
    "setup_card": EVERYBODY,
    "light_book": EVERYBODY,
    "shot_list": SHOOTERS,
    "shot_line": SHOOTERS,
    "campaign_new": {"lead"},
    "session_new": {"lead"},
    "session_edit": {"lead"},
    "session_pick": {"lead"},
    "session_cancel": {"lead"},
}


@pytest.mark.parametrize("role", ROLES)
def test_who_sees_which_page(
    client: Client, people: dict[str, User], session: Session, role: str
) -> None:
    line = session.shot_lines.get()
    keys = {
        "campaign": [session.campaign_id],
        "session_new": [session.campaign_id],
        "shot_line": [line.pk],
        "setup_card": [line.setup_card_id],
        "light_book": [line.object_id],
    }
    signed_in(client, people[role])
    for name, allowed in ALLOWED.items():
        arguments = keys.get(name) or ([session.pk] if name.startswith("session") else None)
        response = client.get(reverse(f"campaigns:{name}", args=arguments))
        assert response.status_code == (200 if role in allowed else 403), name


POSTS = {
    "session_confirm": {"lead"},
    "session_start": SHOOTERS,
    "session_close": SHOOTERS,
    "limit_sign": {"lead", "conservator"},
    "line_drop": {"lead"},
    "line_keep": {"lead"},
    "line_done": SHOOTERS,
    "line_not_done": SHOOTERS,
    "line_reopen": SHOOTERS,
}


@pytest.mark.parametrize("role", ROLES)
def test_who_may_post_what(
    client: Client, people: dict[str, User], session: Session, role: str
) -> None:
    signed_in(client, people[role])
    before = Session.objects.values().get(), list(ShotLine.objects.values())
    refused = 0
    for name, allowed in POSTS.items():
        if role not in allowed:
            assert client.post(reverse(f"campaigns:{name}", args=[1])).status_code == 403, name
            assert client.get(reverse(f"campaigns:{name}", args=[1])).status_code in (403, 405)
            refused += 1
    assert refused == sum(role not in allowed for allowed in POSTS.values())
    assert (Session.objects.values().get(), list(ShotLine.objects.values())) == before


def test_opening_a_campaign(client: Client, people: dict[str, User]) -> None:
    signed_in(client, people["lead"])
    address = reverse("campaigns:campaign_new")
    data = {"name": "Summer re-shoots", "starts_on": "2026-06-08", "ends_on": "2026-06-01"}
    refused = client.post(address, {**data, "goal": "What treatments undid."})
    assert refused.status_code == 422
    assert "The campaign ends before it starts." in text(refused)
    assert "What treatments undid." in text(refused)
    client.post(address, {**data, "ends_on": f"{timezone.localdate() + timedelta(days=9)}"})
    made = Campaign.objects.get()
    assert "Summer re-shoots: no session is planned yet" in text(
        client.get(reverse("campaigns:campaign", args=[made.pk]))
    )


def test_a_campaign_that_has_ended_does_not_ask_for_sessions_first(
    client: Client, people: dict[str, User]
) -> None:
    signed_in(client, people["lead"])
    today = timezone.localdate()
    made = Campaign.objects.create(
        name="Spring", starts_on=today - timedelta(days=20), ends_on=today
    )
    address = reverse("campaigns:campaign", args=[made.pk])
    assert 'class="button button--do" href="/campaigns/1/sessions/new/"' in text(
        client.get(address)
    ).replace(f"/campaigns/{made.pk}/", "/campaigns/1/")
    Campaign.objects.filter(pk=made.pk).update(ends_on=today - timedelta(days=1))
    page = text(client.get(address))
    assert "Spring has ended: no session was held" in page
    assert f'class="button button--do" href="{reverse("campaigns:campaign_new")}"' in page
    assert "Plan a session after its end" in page


def session_data(people: dict[str, User], **changes: object) -> dict[str, object]:
    return {
        "station": factory.station("bay").pk,
        "photographer": people["photographer"].pk,
        "day": f"{local_day(at(13)):%Y-%m-%d}",  # type: ignore[arg-type]
        "starts": "13:00",
        "ends": "16:00",
        "handlers": "2",
        "note": "",
        **changes,
    }


def test_planning_a_session_from_slot_to_confirmation(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    signed_in(client, people["lead"])
    new = reverse("campaigns:session_new", args=[factory.campaign().pk])
    wrong = client.post(new, session_data(people, starts="one", note="bring the gauge"))
    assert wrong.status_code == 422
    assert "This is no time of day. Write it as in 13:00." in text(wrong)
    assert "bring the gauge" in text(wrong)
    made = client.post(new, session_data(people))
    session = Session.objects.get()
    assert local(session.starts_at).hour == 13
    assert made["Location"] == reverse("campaigns:session_pick", args=[session.pk])
    pick = text(client.get(made["Location"]))
    assert "AR 0070" in pick
    assert "Infrared" not in pick.split("Open views by object")[1], "the bay makes none"
    ids = list(island.owed_views.filter(technique__in=("UV", "RK")).values_list("pk", flat=True))
    counted = client.post(
        made["Location"], {"views": ids, "count": "yes", "read_version": session.row_version}
    )
    assert "<b>170 min</b> with placing, turning and reserve for 5 ticked views" in text(counted)
    assert "10 min of 3 h are left." in text(counted)
    assert not session.shot_lines.exists(), "counting plans nothing"
    client.post(made["Location"], {"views": ids, "read_version": session.row_version})
    assert session.shot_lines.count() == 5
    page = reverse("campaigns:session", args=[session.pk])
    assert "This session can be confirmed" in text(client.get(page))
    session.refresh_from_db()
    client.post(
        reverse("campaigns:session_confirm", args=[session.pk]),
        {"read_version": session.row_version},
    )
    assert "This session is confirmed" in text(client.get(page))


def test_a_session_past_midnight_ends_the_next_day(client: Client, people: dict[str, User]) -> None:
    signed_in(client, people["lead"])
    new = reverse("campaigns:session_new", args=[factory.campaign().pk])
    client.post(new, session_data(people, starts="22:00", ends="03:30"))
    session = Session.objects.get()
    assert session.ends_at - session.starts_at == timedelta(hours=5.5)


def test_an_overlap_is_told_above_the_form(
    client: Client, people: dict[str, User], session: Session
) -> None:
    signed_in(client, people["lead"])
    new = reverse("campaigns:session_new", args=[session.campaign_id])
    response = client.post(new, session_data(people, starts="15:00", ends="17:00"))
    assert response.status_code == 422
    assert "Bay is booked 13:00 to 16:00" in text(response)
    assert 'value="15:00"' in text(response)


def test_two_windows_on_one_session(
    client: Client, people: dict[str, User], session: Session
) -> None:
    """The second window shows what differs, keeps what was typed, and can then be saved."""
    signed_in(client, people["lead"])
    address = reverse("campaigns:session_edit", args=[session.pk])
    assert f'name="read_version" value="{session.row_version}"' in text(client.get(address))
    read = session.row_version
    first = client.post(address, session_data(people, starts="14:00", read_version=read))
    assert first.status_code == 302
    second = client.post(address, session_data(people, note="bring the gauge", read_version=read))
    assert second.status_code == 409
    page = text(second)
    assert "Signe changed session at the Bay" in page
    assert "Stands now" in page
    assert "bring the gauge" in page
    again = client.post(
        address, session_data(people, note="bring the gauge", read_version=read + 1)
    )
    assert again.status_code == 302
    session.refresh_from_db()
    assert (local(session.starts_at).hour, session.note) == (13, "bring the gauge")


def test_what_stands_against_a_session_is_said_and_signed(
    client: Client, people: dict[str, User]
) -> None:
    obj = factory.museum_object("AR 0067", light_class="high")
    factory.entry(obj)
    sync_owed_views([obj.pk], timezone.now())
    session = plan(people, obj, "VC")
    signed_in(client, people["conservator"])
    client.post(
        reverse("campaigns:light_book", args=[obj.pk]),
        {
            "received_on": f"{local_day(at(9)):%Y-%m-%d}",  # type: ignore[arg-type]
            "lxh": "1120",
            "note": "Shown in the autumn room",
        },
    )
    book = text(client.get(reverse("campaigns:light_book", args=[obj.pk])))
    assert "AR 0067 has received 1,120 of 1,500 lx·h" in book
    page = reverse("campaigns:session", args=[session.pk])
    seen = text(client.get(page))
    assert "1 thing stands against this session" in seen
    assert "Waits for the conservator." in seen
    sign = reverse("campaigns:limit_sign", args=[session.pk])
    data = {"read_version": session.row_version, "check": "light", "object": obj.pk}
    assert client.post(sign, {**data, "words": ""}).status_code == 422
    client.post(sign, {**data, "words": "The last picture of this year."})
    seen = text(client.get(page))
    assert "Signed by Runa" in seen
    assert "This session can be confirmed" in seen


def test_a_session_is_confirmed_only_when_nothing_stands_against_it(
    client: Client, people: dict[str, User], session: Session, island: CollectionObject
) -> None:
    factory.unavailable(island, timezone.now(), note="Velsund")
    signed_in(client, people["lead"])
    confirm = reverse("campaigns:session_confirm", args=[session.pk])
    refused = client.post(confirm, {"read_version": session.row_version})
    assert refused.status_code == 422
    assert "AR 0070 cannot be had: on loan (Velsund)." in text(refused)
    page = text(client.get(reverse("campaigns:session", args=[session.pk])))
    assert "<b>Confirm</b> is not open" in page


def test_cancelling_needs_a_reason_and_opens_the_views(
    client: Client, people: dict[str, User], session: Session
) -> None:
    signed_in(client, people["lead"])
    address = reverse("campaigns:session_cancel", args=[session.pk])
    empty = client.post(address, {"words": "", "read_version": session.row_version})
    assert empty.status_code == 422
    client.post(address, {"words": "Amaro is ill.", "read_version": session.row_version})
    session.refresh_from_db()
    assert session.state == SessionState.CANCELLED
    page = text(client.get(reverse("campaigns:campaign", args=[session.campaign_id])))
    assert "cancelled" in page
    assert re.search("no session (was held|is planned yet)", page)


def test_an_unwanted_line_is_asked_about_on_every_page_of_the_plan(
    client: Client, people: dict[str, User], session: Session
) -> None:
    line = session.shot_lines.get()
    line.owed_views.update(ended_at=timezone.now(), end_reason="Withdrawn.")
    signed_in(client, people["lead"])
    for name, key in (
        ("campaigns", None),
        ("campaign", [session.campaign_id]),
        ("session", [session.pk]),
    ):
        page = text(client.get(reverse(f"campaigns:{name}", args=key)))
        assert "Nobody asks for UV of the front of AR 0070 any more" in page, name
    keep = reverse("campaigns:line_keep", args=[line.pk])
    assert client.post(keep, {"read_version": 1, "words": ""}).status_code == 422
    client.post(keep, {"read_version": 1, "words": "The set-up stands."})
    assert "Kept: The set-up stands." in text(
        client.get(reverse("campaigns:session", args=[session.pk]))
    )
    session.refresh_from_db()
    client.post(
        reverse("campaigns:line_drop", args=[line.pk]), {"read_version": session.row_version}
    )
    assert not session.shot_lines.exists()


def test_the_session_of_somebody_who_left_is_asked_about(
    client: Client, people: dict[str, User], session: Session
) -> None:
    User.objects.filter(pk=people["photographer"].pk).update(is_active=False)
    signed_in(client, people["lead"])
    page = text(client.get(reverse("campaigns:campaigns")))
    assert "Amaro&#x27;s account is closed" in page


def test_unknown_things_are_not_found(client: Client, people: dict[str, User]) -> None:
    signed_in(client, people["lead"])
    names = (
        "campaign",
        "session",
        "session_new",
        "session_edit",
        "session_pick",
        "session_cancel",
        "shot_line",
        "setup_card",
        "light_book",
    )
    for name in names:
        assert client.get(reverse(f"campaigns:{name}", args=[999])).status_code == 404, name


@pytest.mark.parametrize(
    ("page", "limit"),
    [
        ("campaigns", 12),
        ("campaign", 14),
        ("session", 34),
        ("session_pick", 32),
        ("shot_list", 12),
    ],
)
def test_pages_ask_a_fixed_number_of_queries(
    client: Client, people: dict[str, User], page: str, limit: int
) -> None:
    """Twice the rows, the same number of questions to the database."""
    big = plan(people, owed(), "UV", "VC", starts_at=at(8, days=0), ends_at=at(9, days=0))
    confirmed(people, big)
    signed_in(client, people["lead"])
    keys = {"campaign": [big.campaign_id], "session": [big.pk], "session_pick": [big.pk]}

    def queries() -> int:
        """The first look settles what is stale; the second only reads."""
        address = reverse(f"campaigns:{page}", args=keys.get(page))
        assert client.get(address).status_code == 200
        with CaptureQueriesContext(connection) as found:
            client.get(address)
        return len(found)

    def fill(number: int, first: int) -> None:
        for place in range(first, first + number):
            obj = owed()
            big.refresh_from_db()
            actions.add_owed_views(
                actor=people["lead"],
                session_id=big.pk,
                read_version=big.row_version,
                owed_view_ids=[obj.owed_views.get(technique="UV", face="F").pk],
            )
            starts_at = at(10, days=0) + hours(place)  # type: ignore[operator]
            other = plan(people, owed(), starts_at=starts_at, ends_at=starts_at + hours(1))
            confirmed(people, other)
            factory.campaign(f"Campaign {place}")

    fill(2, 0)
    few = queries()
    fill(4, 2)
    assert queries() == few
    assert few <= limit
