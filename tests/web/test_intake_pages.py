"""The pages of drops and of the sorting table say what is, and do what was ticked."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake import actions, policies
from imaging_requests.intake.models import Arrival, Drop, Frame, FrameState, Job
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import bracket, bring, frame_of, open_drop, settle, tiff

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def client(amaro: User) -> Client:
    return signed_in(amaro)


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def session(amaro: User) -> Session:
    return factory.session(by=amaro)


@pytest.fixture
def raking(session: Session) -> ShotLine:
    return factory.shot_line(session, factory.museum_object("AR 0070"), "RK", "F", "L")


def page(client: Client, name: str, *args: Any, **query: Any) -> str:
    answer = client.get(reverse(f"intake:{name}", args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_drop_is_opened_for_a_line_and_its_files_come_with_the_form(
    client: Client, session: Session, raking: ShotLine
) -> None:
    asked = client.get(reverse("intake:drop_new"), {"line": raking.pk})
    assert f'<option value="line:{raking.pk}" selected>' in asked.content.decode()
    made = client.post(reverse("intake:drop_new"), {"shot_for": f"line:{raking.pk}", "note": ""})
    drop = Drop.objects.get()
    assert made["Location"] == reverse("intake:drop", args=[drop.pk])
    files = [
        SimpleUploadedFile(name, data, "image/tiff") for name, data in bracket(session, (-1, 0, 1))
    ]
    sent = client.post(made["Location"], {"offered": files})
    assert sent.status_code == 302
    settle()
    shown = page(client, "drop", drop.pk)
    assert "3 of 3 files are received" in shown
    assert "You may format the card: all 3 files of this drop are proven" in shown
    assert "AR 0070 front, raking light from the left" in shown
    assert "complete" in shown


def test_a_form_without_a_file_says_so(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    answer = client.post(reverse("intake:drop", args=[drop.pk]), {})
    assert answer.status_code == 422
    assert "No file was chosen. Choose one or more" in answer.content.decode()


def test_a_quotation_mark_that_a_form_escaped_is_one_again(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    address = reverse("intake:drop", args=[drop.pk])
    data = tiff(1, at=factory.NOW)
    sent = SimpleUploadedFile("panel %22left%22 50%.tif", data, "image/tiff")
    assert client.post(address, {"offered": [sent]}).status_code == 302
    shown = page(client, "drop", drop.pk)
    assert "panel &quot;left&quot; 50%.tif" in shown
    assert "%22" not in shown


def test_a_file_sent_to_a_closed_drop_is_refused_in_words(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    client.post(reverse("intake:drop_close", args=[drop.pk]), {"read_version": drop.row_version})
    answer = client.post(
        reverse("intake:drop", args=[drop.pk]),
        {"offered": [SimpleUploadedFile("A.tif", b"x")]},
        follow=True,
    )
    assert "is closed, so A.tif was not taken in" in answer.content.decode()
    client.post(
        reverse("intake:drop_close", args=[drop.pk]),
        {"read_version": drop.row_version + 1, "open": "yes"},
    )
    drop.refresh_from_db()
    assert drop.state == Drop.State.OPEN


def test_the_page_says_what_is_going_on(
    client: Client, amaro: User, session: Session, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    empty = page(client, "drop", drop.pk)
    assert "is empty: bring its files" in empty
    assert "every 2s" not in empty
    files = bracket(session, (-1, 0, 1))
    actions.begin_arrival(actor=amaro, drop_id=drop.pk, name="slow.tif", size_bytes=100_000)
    bring(drop, *files[0])
    bring(drop, "words.tif", b"no picture here, only words")
    arriving = page(client, "drop", drop.pk)
    assert "All bytes are here; they are being proven and copied." in arriving
    assert "Arriving: 0" in arriving
    assert "every 2s" in arriving
    assert "Do not format the card yet: 3 files still on the way" in arriving
    settle()
    read = page(client, "drop", drop.pk)
    assert "words.tif is a text file although its name ends in .tif" in read
    assert "Copy it again" not in read.split("words.tif")[0]
    assert "2 files refused" not in read
    assert "1 refused" in read


def test_an_upload_that_stopped_is_said_to_have_stopped(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    arrival = actions.begin_arrival(
        actor=amaro, drop_id=drop.pk, name="slow.tif", size_bytes=100_000
    )
    long_ago = timezone.now() - timedelta(minutes=5)
    Arrival.objects.filter(pk=arrival.pk).update(touched_at=long_ago)
    shown = page(client, "drop", drop.pk)
    assert "Stopped after 0" in shown
    assert "Choose the same file again and it goes on" in shown
    assert "every 20s" in shown
    client.post(reverse("intake:arrival_give_up", args=[arrival.token]))
    assert "Given up by Amaro" in page(client, "drop", drop.pk)


def test_work_that_nobody_takes_is_said_to_stand_still(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    bring(drop, "A.tif", tiff(1, at=factory.NOW))
    assert "stands still" not in page(client, "drop", drop.pk)
    Job.objects.update(due_at=timezone.now() - timedelta(minutes=5))
    for shown in (page(client, "drop", drop.pk), page(client, "drops")):
        assert "The background work stands still: 1 job due since" in shown
        assert "Ask the system keeper to start the workers" in shown


def test_given_up_work_is_shown_with_its_reason_and_a_way_on(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    bring(drop, "A.tif", tiff(1, at=factory.NOW))
    Job.objects.update(state="failed", last_error="The second copy takes no files now.")
    shown = page(client, "drop", drop.pk)
    assert "The second copy takes no files now." in shown
    job = Job.objects.get()
    again = client.post(
        reverse("intake:job_again", args=[job.pk]),
        {"next": reverse("intake:drop", args=[drop.pk])},
    )
    assert again["Location"] == reverse("intake:drop", args=[drop.pk])
    job.refresh_from_db()
    assert job.state == "due"


def test_a_foreign_address_is_not_gone_back_to(client: Client, amaro: User) -> None:
    job = Job.objects.create(
        kind="sort", key="sort:1", subject_id=1, queue="ingest", state="failed"
    )
    answer = client.post(
        reverse("intake:job_again", args=[job.pk]), {"next": "https://elsewhere.example/"}
    )
    assert answer["Location"] == reverse("intake:drops")


def test_whatever_can_have_the_focus_keeps_it_when_the_part_is_replaced(
    client: Client, amaro: User
) -> None:
    """A replaced control gets the focus again by its id, so each has one of its own."""
    drop = open_drop(amaro)
    bring(drop, "A.tif", tiff(1, at=factory.NOW))
    bring(drop, "B.tif", b"no picture at all")
    settle()
    part = page(client, "drop_state", drop.pk)
    controls = re.findall(r"<(?:a|button|input(?! type=.hidden)|[a-z]+ [^>]*tabindex)[^>]*>", part)
    ids = [re.search(r'\bid="([^"]+)"', control) for control in controls]
    assert len(controls) >= 5
    assert all(ids), [each for each, found in zip(controls, ids, strict=True) if not found]
    assert len({found[1] for found in ids if found}) == len(ids)


def test_the_part_that_changes_is_answered_alone(client: Client, amaro: User) -> None:
    drop = open_drop(amaro)
    bring(drop, "A.tif", tiff(1, at=factory.NOW))
    part = page(client, "drop_state", drop.pk)
    assert "<html" not in part
    assert 'id="drop-head" hx-swap-oob="true"' in part
    assert 'id="drop-state"' in part
    settle()
    assert ", every " not in page(client, "drop_state", drop.pk), "it asks no more"


def test_a_drop_of_no_known_session_is_told_how_far_the_clock_was_off(
    client: Client, amaro: User, session: Session
) -> None:
    """The answer beside such a frame leads here, so the form must be here."""
    line = factory.shot_line(session, factory.museum_object(), "VF")
    drop = open_drop(amaro)
    taken = session.starts_at + timedelta(minutes=20)
    arrival = bring(drop, "A.tif", tiff(1, at=taken - timedelta(days=2)))
    settle()
    shown = page(client, "drop", drop.pk)
    assert "say by how much on the page of its drop" in shown
    address = reverse("intake:drop_clock", args=[drop.pk])
    assert f'action="{address}"' in shown
    drop.refresh_from_db()
    data = {"read_version": drop.row_version, "amount": "48:00:00", "direction": "slow"}
    assert client.post(address, data).status_code == 302
    settle()
    frame = frame_of(arrival)
    assert frame.captured_at == taken
    assert (frame.state, frame.shot_line) == (FrameState.PLACED, line)


def test_the_clock_of_a_drop_is_corrected_and_a_wrong_time_is_kept_as_typed(
    client: Client, amaro: User, session: Session
) -> None:
    drop = open_drop(amaro, session=session)
    address = reverse("intake:drop_clock", args=[drop.pk])
    wrong = client.post(
        address, {"read_version": drop.row_version, "amount": "an hour", "direction": "slow"}
    )
    assert wrong.status_code == 422
    assert "Write it as hours, minutes and seconds with colons" in wrong.content.decode()
    assert 'value="an hour"' in wrong.content.decode()
    for amount, direction, seconds in (("1:00:00", "slow", 3600), ("0:12", "fast", -12)):
        drop.refresh_from_db()
        done = client.post(
            address,
            {"read_version": drop.row_version, "amount": amount, "direction": direction},
        )
        assert done.status_code == 302
        drop.refresh_from_db()
        assert drop.clock_offset_s == seconds
    stale = client.post(address, {"read_version": 1, "amount": "0:01", "direction": "slow"})
    assert stale.status_code == 422
    assert "Amaro changed Drop" in stale.content.decode()


# The sorting table


@pytest.fixture
def table(amaro: User, session: Session, raking: ShotLine) -> list[Frame]:
    """Two steps of a bracket that could lie in two ways."""
    drop = open_drop(amaro, line=raking)
    for name, data in bracket(session, (-1, 0)):
        bring(drop, name, data)
    settle()
    return list(Frame.objects.order_by("captured_at"))


def ticks(frames: list[Frame], **more: str) -> dict[str, str]:
    data: dict[str, str] = dict(more)
    for frame in frames:
        data[f"tick-{frame.pk}"] = "on"
        data[f"version-{frame.pk}"] = str(frame.row_version)
    return data


def test_the_table_shows_why_each_frame_waits_and_what_is_likely(
    client: Client, table: list[Frame], raking: ShotLine
) -> None:
    shown = page(client, "sorting_table")
    assert "2 frames wait for you: nothing was guessed" in shown
    assert "It may be exposure −1 or exposure 0 of AR 0070 front" in shown
    assert f'<option value="{raking.pk}:0:0:0:-1" selected>' in shown
    assert '<optgroup label="Likely">' in shown
    assert reverse("intake:picture", args=[table[0].pk, "256"]) in shown


def test_ticked_frames_are_placed_as_chosen_and_can_be_undone(
    client: Client, table: list[Frame], raking: ShotLine
) -> None:
    address = reverse("intake:sorting_table")
    choices = {
        f"place-{frame.pk}": f"{raking.pk}:0:0:0:{ev}"
        for frame, ev in zip(table, ("0", "1"), strict=True)
    }
    done = client.post(address, ticks(table, act="place", **choices), follow=True)
    shown = done.content.decode()
    assert "2 frames are placed." in shown
    assert "Undo the last step" in shown
    for frame, ev in zip(table, (0.0, 1.0), strict=True):
        frame.refresh_from_db()
        assert (frame.state, frame.ev) == (FrameState.PLACED, ev)
    moved = ",".join(f"{frame.pk}:{frame.row_version}" for frame in table)
    undone = client.post(
        reverse("intake:take_back"), {"moved": moved, "next": address}, follow=True
    )
    assert "2 frames are back on the sorting table." in undone.content.decode()
    for frame in table:
        frame.refresh_from_db()
        assert frame.state == FrameState.WAITING


def test_only_ticked_frames_are_moved(client: Client, table: list[Frame], raking: ShotLine) -> None:
    data = ticks(table[:1], act="aside") | {f"version-{table[1].pk}": "1"}
    shown = client.post(reverse("intake:sorting_table"), data, follow=True).content.decode()
    assert "1 frame is set aside." in shown
    assert Frame.objects.get(pk=table[0].pk).state == FrameState.SET_ASIDE
    assert Frame.objects.get(pk=table[1].pk).state != FrameState.SET_ASIDE
    nothing = client.post(
        reverse("intake:sorting_table"), {"act": "place"}, follow=True
    ).content.decode()
    assert "No frame was ticked, or no place was chosen." in nothing


def test_ticked_frames_fill_a_line_in_the_order_shown(
    client: Client, amaro: User, session: Session
) -> None:
    line = factory.shot_line(
        session, factory.museum_object("AR 0019"), "XR", "T", tiles_across=3, expected_files=3
    )
    drop = open_drop(amaro, line=line)
    for number in range(3):
        data = tiff(number, at=session.starts_at + timedelta(minutes=5))
        bring(drop, f"plate-{number}.tif", data)
    settle()
    frames = list(Frame.objects.order_by("pk"))
    assert {frame.state for frame in frames} == {FrameState.WAITING}, "all of one second"
    client.post(reverse("intake:sorting_table"), ticks(frames, act="fill", line=str(line.pk)))
    assert [Frame.objects.get(pk=frame.pk).tile_x for frame in frames] == [0, 1, 2]


def test_a_colleague_who_was_quicker_is_named_and_nothing_is_overwritten(
    client: Client, table: list[Frame], raking: ShotLine
) -> None:
    signe = factory.lead()
    sent = ticks(table, act="place") | {
        f"place-{frame.pk}": f"{raking.pk}:0:0:0:{ev}"
        for frame, ev in zip(table, ("-1", "0"), strict=True)
    }
    actions.set_aside(actor=signe, frame_id=table[0].pk, read_version=table[0].row_version)
    shown = client.post(reverse("intake:sorting_table"), sent, follow=True).content.decode()
    assert "F0100.tif was set aside already by Signe on " in shown
    assert "1 frame is placed." in shown
    assert Frame.objects.get(pk=table[0].pk).state == FrameState.SET_ASIDE


def test_a_frame_without_a_time_is_given_one_on_the_table(
    client: Client, amaro: User, session: Session
) -> None:
    line = factory.shot_line(session, factory.museum_object("AR 0011"), "VF")
    drop = open_drop(amaro, line=line)
    arrival = bring(drop, "A.tif", tiff(1, at=session.starts_at))
    settle()
    frame = frame_of(arrival)
    actions.take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)
    Frame.objects.filter(pk=frame.pk).update(captured_at=None)
    frame.refresh_from_db()
    name = f"place-{frame.pk}"
    data = ticks([frame], act="place") | {name: f"{line.pk}:0:0:0:0"}
    address = reverse("intake:sorting_table")
    assert (
        "does not say when it was taken" in client.post(address, data, follow=True).content.decode()
    )
    wrong = client.post(address, data | {f"taken-{frame.pk}": "this morning"})
    assert wrong.status_code == 422
    assert "Write the time as 2026-04-16 09:12" in wrong.content.decode()
    assert 'value="this morning"' in wrong.content.decode()
    local = timezone.localtime(session.starts_at + timedelta(minutes=3), factory_zone(session))
    client.post(address, data | {f"taken-{frame.pk}": f"{local:%Y-%m-%d %H:%M}"})
    frame.refresh_from_db()
    assert frame.captured_at == session.starts_at + timedelta(minutes=3)


def factory_zone(session: Session) -> Any:
    from zoneinfo import ZoneInfo

    return ZoneInfo(session.zone)


def test_an_empty_table_says_so(client: Client) -> None:
    shown = page(client, "sorting_table")
    assert "The sorting table is empty" in shown
    assert "Every frame that came has its place." in shown


@pytest.mark.parametrize("size", [2, 20])
def test_pages_cost_a_fixed_number_of_queries(
    client: Client,
    amaro: User,
    session: Session,
    size: int,
    django_assert_max_num_queries: Any,
) -> None:
    line = factory.shot_line(
        session, factory.museum_object(), "VF", tiles_across=size + 1, expected_files=size + 1
    )
    for _ in range(size // 2):
        open_drop(amaro, line=line)
    drop = open_drop(amaro, line=line)
    for number in range(size):
        bring(drop, f"{number}.tif", tiff(number, at=session.starts_at + timedelta(minutes=number)))
    settle()
    assert Frame.objects.filter(state=FrameState.WAITING).count() == size
    for most, name, args in (
        (29, "drop", [drop.pk]),
        (10, "drops", []),
        (18, "sorting_table", []),
        (29, "drop_state", [drop.pk]),
    ):
        with django_assert_max_num_queries(most):
            page(client, name, *args)


# Small pictures


@pytest.fixture
def frame(amaro: User) -> Frame:
    arrival = bring(open_drop(amaro), "A.tif", tiff(1, at=factory.NOW))
    settle()
    return frame_of(arrival)


@pytest.mark.parametrize("kind", ["256", "1024"])
def test_a_small_picture_is_streamed_and_may_be_kept(
    client: Client, frame: Frame, kind: str
) -> None:
    address = reverse("intake:picture", args=[frame.pk, kind])
    recipe = frame.derivatives.get(kind=kind).recipe
    for query, caching in (
        ({}, "private, no-cache"),
        ({"of": "older"}, "private, no-cache"),
        ({"of": recipe}, "private, max-age=86400, immutable"),
    ):
        answer = client.get(address, query)
        assert answer["Content-Type"] == "image/jpeg"
        assert b"".join(answer.streaming_content).startswith(b"\xff\xd8\xff")  # type: ignore[attr-defined]
        assert answer["Cache-Control"] == caching
    again = client.get(address, headers={"If-None-Match": answer["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_the_master_and_the_pyramid_have_no_address(client: Client, frame: Frame) -> None:
    for kind in ("master", "pyramid", "original", "tif", "512"):
        assert client.get(reverse("intake:picture", args=[frame.pk, kind])).status_code == 404


def test_a_picture_that_is_not_made_yet_is_a_drawing_that_says_so(
    client: Client, amaro: User
) -> None:
    from imaging_requests.intake import jobs

    arrival = bring(open_drop(amaro), "<A>&.tif", tiff(1, at=factory.NOW))
    jobs.run_due(["ingest"])
    address = reverse("intake:picture", args=[frame_of(arrival).pk, "256"])
    answer = client.get(address)
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer["Cache-Control"] == "no-store"
    drawing = answer.content.decode()
    assert "The picture is being made" in drawing
    assert "&lt;A&gt;&amp;.tif" in drawing


def test_a_derived_picture_that_was_deleted_is_drawn_until_made_again(
    client: Client, frame: Frame, settings: Any
) -> None:
    made = frame.derivatives.get(kind="256")
    (Path(settings.DERIVED_DIR) / made.path).unlink()
    answer = client.get(reverse("intake:picture", args=[frame.pk, "256"]))
    assert answer["Content-Type"] == "image/svg+xml"


def test_the_studio_alone_sees_a_frame_that_belongs_to_no_picture_until_a_rule_hides_it(
    frame: Frame, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = reverse("intake:picture", args=[frame.pk, "256"])
    assert signed_in(factory.curator()).get(address).status_code == 403
    lioba = signed_in(factory.photographer("Lioba"))
    seen = lioba.get(address)
    assert seen.status_code == 200
    assert seen.getvalue()
    assert Client().get(address).status_code == 302
    monkeypatch.setattr(
        policies,
        "_picture_rules",
        [lambda user, each, longest_px: f"{each} is under embargo until 1 July."],
    )
    hidden = lioba.get(address)
    assert hidden.status_code == 403
    assert "A.tif is under embargo until 1 July." in hidden.content.decode()


def test_a_drop_lists_first_what_may_have_to_be_shot_again(
    client: Client, amaro: User, raking: ShotLine
) -> None:
    """Refused files, then failed checks, then what only waits for its place, then the rest."""
    drop = open_drop(amaro, line=raking)
    frames = {
        "placed.tif": factory.frame(raking),
        "waits.tif": factory.frame(
            None, state=FrameState.WAITING, waiting_because="No line is near."
        ),
        "failed.tif": factory.frame(raking, ev=1),
    }
    factory.check(frames["failed.tif"])
    for name, frame in frames.items():
        Arrival.objects.create(drop=drop, name=name, size_bytes=1, state="checked", frame=frame)
    Arrival.objects.create(
        drop=drop, name="text.tif", size_bytes=1, state="refused", answer="This is a text."
    )
    shown = page(client, "drop", drop.pk)
    names = re.findall(r'number--file">([^<]+)', shown)
    assert names == ["text.tif", "failed.tif", "waits.tif", "placed.tif"]


@pytest.mark.parametrize("verdict", ["cannot_tell", "warn", "fail", "pass"])
def test_a_drop_says_what_could_not_be_told_of_the_object(
    verdict: str, client: Client, amaro: User, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    frame = factory.frame(raking)
    factory.check(frame, verdict, rule="G12", sentence="Nobody compared this with AR 0118.")
    Arrival.objects.create(drop=drop, name="A.tif", size_bytes=1, state="checked", frame=frame)
    said = page(client, "drop", drop.pk).count("Nobody compared this with AR 0118.")
    assert said == (0 if verdict == "pass" else 1)


def test_the_head_of_a_drop_says_that_files_show_another_object(
    client: Client, amaro: User, raking: ShotLine
) -> None:
    drop = open_drop(amaro, line=raking)
    arrival = bring(drop, "A.tif", tiff(1, at=raking.session.starts_at))
    settle()
    address = reverse("intake:drop", args=[drop.pk])
    assert "Another object:" not in client.get(address).content.decode()
    factory.check(
        frame_of(arrival), "fail", rule="G12", sentence="This shows AR 0055, not AR 0070."
    )
    body = client.get(address).content.decode()
    assert "Another object:" in body
    assert "1 file looks like another object than the one asked for." in body
