"""Filling many places at once: order of names, times for all, what is refused, two people, undo."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake import actions
from imaging_requests.intake.actions import placing
from imaging_requests.intake.forms import ClockForm
from imaging_requests.intake.models import Arrival, Frame, FrameState, SortingStep
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import open_drop
from tests.picture_scene import signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]
TABLE = "intake:sorting_table"
NO_TIME = "The file does not say when it was taken, so its place cannot be found."


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def page(amaro: User) -> Client:
    return signed_in(amaro)


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


@pytest.fixture
def line(session: Session) -> ShotLine:
    return factory.shot_line(
        session, factory.museum_object(), "VF", tiles_across=4, expected_files=4
    )


@pytest.fixture
def untimed(amaro: User, session: Session) -> list[Frame]:
    """Four frames without a time, which arrived in another order than that of their names."""
    drop = open_drop(amaro, session=session)
    frames = []
    for number in (4, 10, 3, 9):
        frame = factory.frame(
            state=FrameState.WAITING,
            first_name=f"IMG_{number}.tif",
            waiting_because=NO_TIME,
            waiting_reason="time",
            captured_at=None,
        )
        Arrival.objects.create(
            drop=drop, name=frame.first_name, size_bytes=1, frame=frame, state="checked"
        )
        frames.append(frame)
    return frames


def shown_names(body: str) -> list[str]:
    return re.findall(r'number--file">(IMG_\d+\.tif)</span> ·', body)


def sent(frames: list[Frame], **more: Any) -> dict[str, Any]:
    in_order = sorted(frames, key=lambda frame: int(frame.first_name[4:-4]))
    return {f"version-{frame.pk}": frame.row_version for frame in in_order} | more


def ticks(frames: list[Frame]) -> dict[str, str]:
    return {f"tick-{frame.pk}": "on" for frame in frames}


def first_time(line: ShotLine) -> str:
    return f"{studio_time(line.session.starts_at):%Y-%m-%d %H:%M}"


def test_frames_without_a_time_stand_in_the_order_of_their_names(
    page: Client, untimed: list[Frame]
) -> None:
    body = page.get(reverse(TABLE)).content.decode()
    assert shown_names(body) == ["IMG_3.tif", "IMG_4.tif", "IMG_9.tif", "IMG_10.tif"]


def test_frames_with_a_time_come_before_them_in_the_order_of_time(
    page: Client, untimed: list[Frame], session: Session
) -> None:
    for minutes, frame in ((2, untimed[0]), (1, untimed[1])):
        taken = session.starts_at + timedelta(minutes=minutes)
        Frame.objects.filter(pk=frame.pk).update(captured_at=taken)
    body = page.get(reverse(TABLE)).content.decode()
    assert shown_names(body) == ["IMG_10.tif", "IMG_4.tif", "IMG_3.tif", "IMG_9.tif"]


def test_a_first_time_and_an_interval_fill_a_line_in_the_order_of_names(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    given = {"line": str(line.pk), "first_taken": first_time(line), "interval_s": "20"}
    answer = page.post(reverse(TABLE), sent(untimed, act="fill") | ticks(untimed) | given)
    assert answer.status_code == 302
    placed = Frame.objects.order_by("tile_x")
    assert [frame.first_name for frame in placed] == [
        "IMG_3.tif", "IMG_4.tif", "IMG_9.tif", "IMG_10.tif"
    ]  # fmt: skip
    starts = line.session.starts_at.replace(second=0, microsecond=0)
    offsets = [(frame.captured_at - starts).total_seconds() for frame in placed]
    assert offsets == [0, 20, 40, 60]


def test_a_refused_filling_keeps_ticks_and_line_and_asks_for_the_time(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    answer = page.post(
        reverse(TABLE), sent(untimed, act="fill", line=str(line.pk)) | ticks(untimed[:2])
    )
    body = answer.content.decode()
    assert answer.status_code == 422
    assert "IMG_4.tif does not say when it was taken" in body
    for frame in untimed:
        (box,) = re.findall(f'<input[^>]*name="tick-{frame.pk}"[^>]*>', body)
        assert ("checked" in box) is (frame in untimed[:2])
    assert f'<option value="{line.pk}" selected>' in body
    assert 'name="first_taken"' in body
    assert not Frame.objects.filter(state=FrameState.PLACED).exists()


def test_a_range_that_is_refused_comes_back_as_ticks(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    given = sent(untimed, act="fill", line=str(line.pk), first="2", last="3")
    body = page.post(reverse(TABLE), given).content.decode()
    assert len(re.findall(r'<input[^>]*name="tick-\d+"[^>]*checked', body)) == 2


def test_more_ticks_than_places_are_said(
    page: Client, untimed: list[Frame], session: Session
) -> None:
    short = factory.shot_line(session, factory.museum_object(), "VF", tiles_across=3)
    given = {"line": str(short.pk), "first_taken": first_time(short)}
    answer = page.post(reverse(TABLE), sent(untimed, act="fill") | ticks(untimed) | given)
    body = answer.content.decode()
    assert "1 frame had no place left:" in body
    assert "3 frames are placed." in body
    assert shown_names(body) == ["IMG_10.tif"]


def test_the_second_of_two_people_is_told_who_placed_what_and_when(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    given = {"line": str(line.pk), "first_taken": first_time(line)}
    both = sent(untimed, act="fill") | ticks(untimed) | given
    page.post(reverse(TABLE), both)
    lioba = signed_in(factory.person("Lioba", "photographer"))
    answer = lioba.post(reverse(TABLE), both)
    body = answer.content.decode()
    assert answer.status_code == 422
    now = f"{studio_time(timezone.now()):%-d %b %Y}"
    for frame in untimed:
        assert f"{frame.first_name} was placed already by Amaro" in body
    assert f" on {now}, " in body
    assert "IMG_3.tif was placed already" in body
    assert "it is tile 1 of 4 of" in body
    assert "not on offer" not in body
    assert shown_names(body) == [], "none of them is shown as waiting"
    assert SortingStep.objects.count() == 1


def test_nothing_is_filled_when_one_of_the_order_has_left_and_the_others_stay_ticked(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    page.post(reverse(TABLE), sent(untimed, act="aside") | ticks(untimed[:1]))
    given = {"line": str(line.pk), "first_taken": first_time(line)}
    body = page.post(
        reverse(TABLE), sent(untimed, act="fill") | ticks(untimed) | given
    ).content.decode()
    assert "IMG_4.tif was set aside already by Amaro" in body
    assert "Nothing was filled" in body
    assert len(re.findall(r'<input[^>]*name="tick-\d+"[^>]*checked', body)) == 3
    assert not Frame.objects.filter(state=FrameState.PLACED).exists()


def test_undoing_takes_back_the_time_that_was_given_by_hand_and_the_kind_of_reason(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    given = {"line": str(line.pk), "first_taken": first_time(line)}
    for _ in range(2):
        frames = list(Frame.objects.all())
        page.post(reverse(TABLE), sent(frames, act="fill") | ticks(frames) | given)
        assert Frame.objects.filter(captured_at=None).count() == 0
        step = SortingStep.objects.filter(undone_at=None).get()
        page.post(reverse("intake:step_undo", args=[step.pk]))
        for frame in Frame.objects.all():
            assert (frame.state, frame.captured_at) == (FrameState.WAITING, None)
            assert frame.waiting_reason == "time"
            assert frame.waiting_because.count("Taken back by") == 1
            assert frame.waiting_because.endswith(NO_TIME)
    body = page.get(reverse(TABLE)).content.decode()
    assert f'name="taken-{untimed[0].pk}"' in body
    assert "time not known" in body


def test_a_time_by_hand_goes_also_when_the_frame_was_set_aside_in_between(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    given = {"line": str(line.pk), "first_taken": first_time(line)}
    page.post(reverse(TABLE), sent(untimed, act="fill") | ticks(untimed[:1]) | given)
    frame = Frame.objects.get(pk=untimed[0].pk)
    body = {"moved": f"{frame.pk}:{frame.row_version}"}
    page.post(reverse("intake:take_back"), body)
    frame.refresh_from_db()
    assert (frame.state, frame.captured_at) == (FrameState.WAITING, None)
    page.post(reverse(TABLE), sent([frame], act="aside") | ticks([frame]))
    frame.refresh_from_db()
    page.post(reverse("intake:take_back"), {"moved": f"{frame.pk}:{frame.row_version}"})
    frame.refresh_from_db()
    assert (frame.state, frame.captured_at) == (FrameState.WAITING, None)


def test_a_time_of_the_file_stays_when_its_place_is_taken_back(
    page: Client, untimed: list[Frame], line: ShotLine
) -> None:
    taken = line.session.starts_at + timedelta(minutes=3)
    Frame.objects.filter(pk=untimed[0].pk).update(captured_at=taken)
    given = sent(untimed, act="fill", line=str(line.pk)) | ticks(untimed[:1])
    page.post(reverse(TABLE), given)
    page.post(reverse("intake:step_undo", args=[SortingStep.objects.get().pk]))
    frame = Frame.objects.get(pk=untimed[0].pk)
    assert (frame.state, frame.captured_at) == (FrameState.WAITING, taken)


@pytest.mark.parametrize("off", [timedelta(days=-4010), timedelta(hours=-1), timedelta(days=30)])
def test_frames_of_a_wrong_clock_get_their_true_time_by_hand_and_keep_their_distance(
    page: Client, untimed: list[Frame], line: ShotLine, off: timedelta
) -> None:
    starts = line.session.starts_at.replace(second=0, microsecond=0)
    by_name = sorted(untimed, key=lambda frame: int(frame.first_name[4:-4]))
    for minutes, frame in zip((0, 2, 5), by_name, strict=False):
        Frame.objects.filter(pk=frame.pk).update(
            captured_at=starts + off + timedelta(minutes=minutes), waiting_reason="clock"
        )
    body = page.get(reverse(TABLE)).content.decode()
    assert all(f'name="taken-{frame.pk}"' in body for frame in untimed)
    given = {"line": str(line.pk), "first_taken": first_time(line), "interval_s": "20"}
    answer = page.post(reverse(TABLE), sent(untimed, act="fill") | ticks(untimed) | given)
    assert answer.status_code == 302, answer.content.decode()[:4000]
    taken = [frame.captured_at for frame in Frame.objects.order_by("captured_at")]
    assert [(at - starts).total_seconds() for at in taken if at] == [0, 120, 300, 320]
    page.post(reverse("intake:step_undo", args=[SortingStep.objects.get().pk]))
    assert Frame.objects.get(pk=by_name[0].pk).captured_at == starts + off


def test_a_frame_may_be_put_in_the_place_of_one_that_lies_there(
    page: Client, untimed: list[Frame], session: Session
) -> None:
    one = factory.shot_line(session, factory.museum_object("AR 0070"), "VF", expected_files=1)
    lying = factory.frame(one, first_name="first.tif", captured_at=session.starts_at)
    assert lying.state == FrameState.PLACED
    value = f"instead/{one.pk}:0:0:0:0"
    assert f'value="{value}"' in page.get(reverse(TABLE)).content.decode()
    frame = untimed[0]
    given = {f"place-{frame.pk}": value, f"taken-{frame.pk}": first_time(one), "act": "place"}
    taken = page.post(reverse(TABLE), sent([frame]) | ticks([frame]) | given)
    assert taken.status_code == 302, taken.content.decode()[:4000]
    frame.refresh_from_db()
    lying.refresh_from_db()
    assert (frame.state, frame.shot_line) == (FrameState.PLACED, one)
    assert lying.state == FrameState.SET_ASIDE


def test_a_step_whose_frames_are_held_can_be_undone_once_they_are_free(
    page: Client, untimed: list[Frame], line: ShotLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = {"line": str(line.pk), "first_taken": first_time(line)}
    page.post(reverse(TABLE), sent(untimed, act="fill") | ticks(untimed) | given)
    step = SortingStep.objects.get()
    undo = reverse("intake:step_undo", args=[step.pk])
    held = untimed[0].pk
    with monkeypatch.context() as patch:
        rules = [lambda frame: "It is part of a picture to review." if frame.pk == held else ""]
        patch.setattr(placing, "_hold_rules", rules)
        answer = page.post(undo, follow=True).content.decode()
        assert "It is part of a picture to review." in answer
        assert "3 frames are back on the sorting table." in answer
    step.refresh_from_db()
    assert step.undone_at is None
    assert [each["frame"] for each in step.frames] == [held]
    assert undo in page.get(reverse(TABLE)).content.decode()
    page.post(undo)
    step.refresh_from_db()
    assert step.undone_at is not None
    assert not Frame.objects.filter(state=FrameState.PLACED).exists()


def test_a_clock_that_was_never_set_is_corrected_by_years(amaro: User, session: Session) -> None:
    drop = open_drop(amaro, session=session)
    sent_clock = {"read_version": drop.row_version, "amount": "104341:00:00", "direction": "slow"}
    form = ClockForm(sent_clock)
    assert form.is_valid(), form.errors
    actions.correct_clock(
        actor=amaro,
        drop_id=drop.pk,
        read_version=drop.row_version,
        clock_offset_s=form.offset_s(),
    )
    drop.refresh_from_db()
    assert drop.clock_offset_s == 104_341 * 3600
