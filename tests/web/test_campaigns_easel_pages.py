"""The shot list at the easel: numbers large, cautions first, one line after the other."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import Session, SessionState
from imaging_requests.campaigns.words import local_day
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Review
from imaging_requests.people.models import User
from imaging_requests.requesting import outlook
from tests import factory
from tests.campaign_scene import at, confirmed, owed, plan, signed_in, text

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


def today(people: dict[str, User], obj: CollectionObject, *techniques: str) -> Session:
    """A confirmed session of today."""
    session = plan(people, obj, *techniques, starts_at=at(8, days=0), ends_at=at(11, days=0))
    return confirmed(people, session)


def test_the_list_of_the_day_in_the_dark_and_on_paper(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    today(people, island, "UV", "VC")
    signed_in(client, people["photographer"])
    page = text(client.get(reverse("campaigns:shot_list")))
    assert 'data-mode="easel"' in page
    assert "2 of 2 lines to shoot" in page
    assert "Next: Visible light (continuous) of the front, AR 0070" in page
    paper = text(client.get(reverse("campaigns:shot_list"), {"paper": "1"}))
    assert 'data-mode="easel"' not in paper
    assert "☐" in paper
    tomorrow = f"{local_day(at(9)):%Y-%m-%d}"  # type: ignore[arg-type]
    empty = text(client.get(reverse("campaigns:shot_list"), {"date": tomorrow}))
    assert "Nothing is to be shot on this day" in empty
    nonsense = text(client.get(reverse("campaigns:shot_list"), {"date": "tomorrow"}))
    assert "2 of 2 lines to shoot" in nonsense


def test_a_photographer_sees_only_their_own_sessions(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    today(people, island)
    signed_in(client, factory.photographer("Lioba"))
    assert "Nothing is to be shot" in text(client.get(reverse("campaigns:shot_list")))
    signed_in(client, people["lead"])
    assert "1 line to shoot" in text(client.get(reverse("campaigns:shot_list")))


def test_a_line_shows_its_numbers_with_cautions_above_the_first_button(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    session = today(people, island)
    line = session.shot_lines.get()
    signed_in(client, people["photographer"])
    page = text(client.get(reverse("campaigns:shot_line", args=[line.pk])))
    main = page.split("<main")[1]
    assert main.index('class="cautions"') < main.index("<button")
    assert "Eye and skin protection on before the lamps" in main
    for words in ("Bay, line 1 of 1", "leaves the easel at <b>11:00</b>", "1 tile × 4 exposures"):
        assert words in main
    for figure in ("420-B", "2400", "−1, 0, +1, +2"):
        assert figure in main, figure
    assert "Start this session" in main


def test_shooting_a_list_line_by_line(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    session = today(people, island, "VC", "UV")
    first, second = session.shot_lines.all()
    signed_in(client, people["photographer"])
    started = client.post(
        reverse("campaigns:session_start", args=[session.pk]),
        {"read_version": session.row_version},
    )
    assert started["Location"] == reverse("campaigns:shot_line", args=[first.pk])
    page = text(client.get(started["Location"]))
    assert f"{reverse('intake:drop_new')}?line={first.pk}" in page
    done = client.post(reverse("campaigns:line_done", args=[first.pk]), {"read_version": 1})
    assert done["Location"] == reverse("campaigns:shot_line", args=[second.pk])
    twice = client.post(reverse("campaigns:line_done", args=[first.pk]), {"read_version": 1})
    assert twice.status_code == 409
    not_done = reverse("campaigns:line_not_done", args=[second.pk])
    no_words = client.post(not_done, {"reason": "other", "words": "", "read_version": 1})
    assert no_words.status_code == 422
    assert "“Another reason” needs its words." in text(no_words)
    none = client.post(not_done, {"words": "flakes at the edge", "read_version": 1})
    assert "Choose a reason." in text(none)
    assert "flakes at the edge" in text(none)
    last = client.post(
        not_done, {"reason": "stopped", "words": "flakes at the edge", "read_version": 1}
    )
    assert last["Location"].startswith(reverse("campaigns:shot_list"))
    second.refresh_from_db()
    assert second.reason == "Stopped by the conservator: flakes at the edge"
    client.post(reverse("campaigns:line_reopen", args=[second.pk]), {"read_version": 2})
    session.refresh_from_db()
    close = reverse("campaigns:session_close", args=[session.pk])
    waiting = client.post(close, {"read_version": session.row_version})
    assert waiting.status_code == 422
    assert "1 line is neither done nor not done." in text(waiting)
    client.post(reverse("campaigns:line_done", args=[second.pk]), {"read_version": 3})
    client.post(close, {"read_version": session.row_version})
    session.refresh_from_db()
    assert session.state == SessionState.CLOSED
    assert "The session is closed." in text(
        client.get(reverse("campaigns:shot_line", args=[second.pk]))
    )


def test_another_photographer_does_not_run_the_session(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    session = today(people, island)
    signed_in(client, factory.photographer("Lioba"))
    response = client.post(
        reverse("campaigns:session_start", args=[session.pk]),
        {"read_version": session.row_version},
    )
    assert response.status_code == 403
    assert "This is the session of Amaro" in text(response)


def test_the_line_says_why_the_last_picture_came_back(
    client: Client, people: dict[str, User], island: CollectionObject
) -> None:
    shot = plan(people, island).shot_lines.get()
    made = factory.deliverable(island, state="sent_back", shot_line=shot)
    Review.objects.create(
        deliverable=made,
        verdict=Review.Verdict.SENT_BACK,
        by=people["lead"],
        note="The white patch glows violet. Put filter 420-B on the lens.",
    )
    address = reverse("campaigns:shot_line", args=[shot.pk])
    client.force_login(people["photographer"])
    assert "The white patch glows violet." in client.get(address).content.decode()
    factory.deliverable(
        island, state="accepted", shot_line=shot, captured_at=timezone.now(), version=2
    )
    assert "The white patch" not in client.get(address).content.decode()


def test_the_title_says_that_the_time_of_a_session_is_over(
    client: Client, people: dict[str, User]
) -> None:
    session = factory.session(
        starts_at=timezone.now() - timedelta(days=1), by=people["photographer"]
    )
    client.force_login(people["lead"])
    page = client.get(reverse("campaigns:session", args=[session.pk])).content.decode()
    assert "<h1>The time of this session is over, and it was never started</h1>" in page
