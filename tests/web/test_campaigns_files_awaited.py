"""A line that is done before its card is copied: its views wait, and everybody is told."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns import actions, queries
from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.actions import assemble_line
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.people.models import User
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.settle import settle
from imaging_requests.requesting.models import OwedView
from tests import factory
from tests.campaign_scene import at, confirmed, owed, plan, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _scene() -> None:
    factory.rules()
    factory.station("bay")


@pytest.fixture
def people() -> dict[str, User]:
    names = {"photographer": "Amaro", "lead": "Signe"}
    return {role: factory.person(name, role) for role, name in names.items()}


@pytest.fixture
def island() -> CollectionObject:
    return owed("AR 0070", "The Quarantine Island")


@pytest.fixture
def line(people: dict[str, User], island: CollectionObject) -> ShotLine:
    """A line that the photographer has just called done; none of its four files is here."""
    today = plan(people, island, "UV", starts_at=at(0, days=0), ends_at=at(0, days=1))
    found: ShotLine = confirmed(people, today, running=True).shot_lines.get()
    actions.mark_line_done(actor=people["photographer"], line_id=found.pk, read_version=1)
    found.refresh_from_db()
    return found


def closed(people: dict[str, User], line: ShotLine) -> Session:
    version = Session.objects.get(pk=line.session_id).row_version
    return actions.close_session(
        actor=people["lead"], session_id=line.session_id, read_version=version
    )


def standing(view: OwedView) -> ViewStatus:
    settle([view.object_id])
    found: ViewStatus = ViewStatus.objects.get(owed_view=view)
    return found


def is_offered(line: ShotLine, view: OwedView) -> bool:
    return queries.views_to_plan(line.session).filter(pk=view.pk).exists()


def bring(line: ShotLine) -> None:
    factory.frames_for(line)
    assemble_line(shot_line_id=line.pk)


def test_the_view_waits_for_the_files_and_is_not_offered_again(
    people: dict[str, User], line: ShotLine
) -> None:
    view = line.owed_views.get()
    for _ in ("while the session runs", "after it is closed"):
        found = standing(view)
        today = f"{timezone.localdate():%-d %b %Y}"
        assert found.status == "planned"
        assert found.why == f"UV of the front was shot on {today}; 4 files are awaited."
        assert (found.waits_for, found.waits_for_role) == ("its files", "the photographer")
        assert not is_offered(line, view)
        if line.session.state == "running":
            closed(people, line)
            line.session.refresh_from_db()
    other = factory.session(starts_at=at(9, days=3), campaign=line.session.campaign)
    with pytest.raises(DomainError, match=r"4 files are awaited|is shot already"):
        actions.add_owed_views(
            actor=people["lead"], session_id=other.pk, read_version=1, owed_view_ids=[view.pk]
        )


def test_once_files_come_the_picture_speaks(people: dict[str, User], line: ShotLine) -> None:
    closed(people, line)
    bring(line)
    view = line.owed_views.get()
    assert standing(view).status == "captured"
    assert not is_offered(line, view)
    with pytest.raises(IllegalStep, match="files of this line have come"):
        actions.mark_line_not_done(
            actor=people["lead"], line_id=line.pk, read_version=2, reason="never came"
        )


def test_the_lead_gives_up_files_that_never_came(
    client: Client, people: dict[str, User], line: ShotLine
) -> None:
    closed(people, line)
    with pytest.raises(NotAllowed):
        actions.mark_line_not_done(
            actor=people["photographer"], line_id=line.pk, read_version=2, reason="never came"
        )
    signed_in(client, people["photographer"])
    page = reverse("campaigns:shot_line", args=[line.pk])
    assert "Its files will not come" not in text(client.get(page))
    signed_in(client, people["lead"])
    assert "Its files will not come" in text(client.get(page))
    client.post(
        reverse("campaigns:line_not_done", args=[line.pk]),
        {"reason": "no_files", "words": "", "read_version": line.row_version},
    )
    line.refresh_from_db()
    assert (line.state, line.reason) == ("not_done", "It was shot, but its files never came")
    view = line.owed_views.get()
    assert standing(view).status == "open"
    assert is_offered(line, view)


def test_whoever_can_bring_the_files_reads_how_many_are_awaited(
    client: Client, people: dict[str, User], line: ShotLine
) -> None:
    pages = (
        reverse("campaigns:shot_line", args=[line.pk]),
        reverse("campaigns:shot_list"),
        reverse("campaigns:session", args=[line.session_id]),
        "/",
    )
    for role in ("photographer", "lead"):
        signed_in(client, people[role])
        for page in pages:
            assert "4 files awaited" in text(client.get(page)), (role, page)
    factory.frame(line, ev=0)
    assemble_line(shot_line_id=line.pk)
    for page in pages:
        assert "3 files awaited" in text(client.get(page)), page
    for ev in (-1, 1, 2):
        factory.frame(line, ev=ev)
    assemble_line(shot_line_id=line.pk)
    for page in pages:
        assert "awaited" not in text(client.get(page)), page


def test_many_awaited_lines_cost_as_many_queries_as_one(
    client: Client, people: dict[str, User], line: ShotLine
) -> None:
    def asked() -> list[int]:
        numbers = []
        for page in (reverse("campaigns:shot_list"), "/"):
            with CaptureQueriesContext(
                connection,
            ) as context:
                client.get(page)
            numbers.append(len(context))
        return numbers

    signed_in(client, people["lead"])
    client.get("/")
    before = asked()
    for technique in ("VC", "VF", "RK"):
        factory.shot_line(
            line.session, line.object, technique, state="done", decided_at=timezone.now()
        )
    assert asked() == before
