"""The sorting table without scripts: reasons, ranges, undoing a whole step, clocks, slates."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.imaging.slate.payload import read_slate_text
from imaging_requests.intake import actions
from imaging_requests.intake.models import CameraClock, Frame, FrameState, SortingStep
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import open_drop

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def page(amaro: User) -> Client:
    client = Client()
    client.force_login(amaro)
    return client


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


@pytest.fixture
def row_of_tiles(session: Session) -> ShotLine:
    return factory.shot_line(
        session, factory.museum_object(), "VF", tiles_across=3, expected_files=3
    )


def waiting(line: ShotLine, number: int, why: str = "several") -> list[Frame]:
    return [
        factory.frame(
            state=FrameState.WAITING,
            waiting_because=f"Reason {place}.",
            waiting_reason=why,
            captured_at=line.session.starts_at + timedelta(minutes=place),
            proposal=[
                {
                    "line": line.pk,
                    "tile_x": place,
                    "tile_y": 0,
                    "ev": 0.0,
                    "focus_slice": 0,
                    "why": "its picture looks like it (0.80 of 1)",
                }
            ],
        )
        for place in range(number)
    ]


def form(frames: list[Frame], **more: Any) -> dict[str, Any]:
    return {f"version-{frame.pk}": frame.row_version for frame in frames} | more


def test_guesses_are_shown_with_their_reasons(page: Client, row_of_tiles: ShotLine) -> None:
    waiting(row_of_tiles, 1)
    shown = page.get(reverse("intake:sorting_table")).content.decode()
    assert "its picture looks like it (0.80 of 1)" in shown
    assert "Several places fit" in shown


def test_without_a_session_the_page_says_what_to_choose(page: Client) -> None:
    factory.frame(state=FrameState.WAITING, waiting_because="Nothing known.")
    shown = page.get(reverse("intake:sorting_table")).content.decode()
    assert "choose a session above" in shown
    assert ">…<" not in shown


def test_frames_are_chosen_by_the_kind_of_reason(page: Client, row_of_tiles: ShotLine) -> None:
    waiting(row_of_tiles, 1)
    (twin,) = waiting(row_of_tiles, 1, why="twin")
    shown = page.get(reverse("intake:sorting_table"), {"why": "twin"}).content.decode()
    assert f"tick-{twin.pk}" in shown
    assert shown.count('class="sorting__frame"') == 1


def test_a_stretch_of_frames_fills_a_line_and_is_undone_as_a_whole(
    page: Client, row_of_tiles: ShotLine
) -> None:
    frames = waiting(row_of_tiles, 3)
    sent = form(frames, act="fill", line=str(row_of_tiles.pk), first="1", last="2")
    page.post(reverse("intake:sorting_table"), sent)
    states = [frame.state for frame in Frame.objects.order_by("pk")]
    assert states == [FrameState.PLACED, FrameState.PLACED, FrameState.WAITING]
    step = SortingStep.objects.get()
    assert len(step.frames) == 2
    page.post(reverse("intake:step_undo", args=[step.pk]))
    first = Frame.objects.order_by("pk")[0]
    assert first.state == FrameState.WAITING
    assert first.waiting_because.startswith("Taken back by Amaro")
    assert first.waiting_because.endswith("Reason 0.")
    assert first.proposal, "what was likely before is likely again"
    again = page.post(reverse("intake:step_undo", args=[step.pk]), follow=True)
    assert "undone already" in again.content.decode()


def test_undoing_leaves_alone_what_was_moved_since_and_says_so(
    page: Client, amaro: User, row_of_tiles: ShotLine
) -> None:
    frames = waiting(row_of_tiles, 1)
    sent = form(frames, act="fill", line=str(row_of_tiles.pk), first="1")
    page.post(reverse("intake:sorting_table"), sent)
    frame = Frame.objects.get()
    actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)
    answer = page.post(
        reverse("intake:step_undo", args=[SortingStep.objects.get().pk]), follow=True
    )
    assert "changed" in answer.content.decode().lower()
    assert Frame.objects.get().row_version == frame.row_version + 1


def test_two_people_at_once_are_told(page: Client, row_of_tiles: ShotLine) -> None:
    frames = waiting(row_of_tiles, 1)
    sent = form(frames, act="fill", line=str(row_of_tiles.pk), first="1")
    page.post(reverse("intake:sorting_table"), sent)
    second = page.post(reverse("intake:sorting_table"), sent, follow=True).content.decode()
    assert "changed" in second.lower() or "placed already" in second
    assert Frame.objects.filter(state=FrameState.PLACED).count() == 1


def test_the_table_reads_a_fixed_number_of_queries(
    page: Client, row_of_tiles: ShotLine, django_assert_max_num_queries: Any
) -> None:
    counts = []
    for _ in range(2):
        waiting(row_of_tiles, 3)
        with django_assert_max_num_queries(40) as seen:
            page.get(reverse("intake:sorting_table"))
        counts.append(len(seen))
    assert counts[0] == counts[1]


@pytest.mark.parametrize("agrees", [True, False])
def test_a_proposed_clock_is_decided_once(
    page: Client, amaro: User, session: Session, agrees: bool
) -> None:
    clock = CameraClock.objects.create(
        drop=open_drop(amaro, session=session),
        body_serial="FO-1",
        offset_s=3600,
        source=CameraClock.Source.ESTIMATE,
        state=CameraClock.State.PROPOSED,
        because="With it 9 of 9 frames fit.",
    )
    shown = page.get(reverse("intake:sorting_table")).content.decode()
    assert "seems 1:00:00 slow. With it 9 of 9 frames fit." in shown
    address = reverse("intake:clock_decide", args=[clock.pk])
    page.post(address, {"agrees": "yes" if agrees else "no"})
    clock.refresh_from_db()
    assert clock.state == ("in_force" if agrees else "declined")
    assert clock.decided_by == amaro
    again = page.post(address, {"agrees": "yes"}, follow=True).content.decode()
    assert "decided already" in again


def test_the_slate_of_a_line_says_what_its_code_says(page: Client, row_of_tiles: ShotLine) -> None:
    shown = page.get(reverse("campaigns:slate", args=[row_of_tiles.pk])).content.decode()
    text = shown.split("Code of this slate: ")[1].split('"')[0]
    slate = read_slate_text(text)
    assert slate is not None
    assert (slate.session_id, slate.line_id) == (row_of_tiles.session_id, row_of_tiles.pk)
    assert slate.shown_at is not None
    part = page.get(reverse("campaigns:slate", args=[row_of_tiles.pk]), {"part": "1"})
    assert part.content.decode().strip().startswith('<article class="slate"')
    paper = page.get(reverse("campaigns:slate", args=[row_of_tiles.pk]), {"paper": "1"})
    assert ":T:" in paper.content.decode()
