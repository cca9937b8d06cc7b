"""The page of a drop says one thing: what waits, who stopped, what is closed, what is shared."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.intake import jobs
from imaging_requests.intake.models import Copy, Drop, Frame, FrameState, Job, JobState
from imaging_requests.intake.queries import lines_of, progress_by_line
from imaging_requests.intake.stopped import stopped_words
from imaging_requests.people.models import User
from tests import factory
from tests.intake_scene import bring, open_drop, settle, tiff
from tests.picture_scene import signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stores")]

LEASE = timedelta(seconds=settings.JOB_LEASE_SECONDS)
WHY = "Its clock and its number in the file fit no line of the session that it came for."


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def raking(amaro: User) -> ShotLine:
    return factory.shot_line(factory.session(by=amaro), factory.museum_object(), "RK", "F", "L")


def brought(amaro: User, line: ShotLine | None, number: int = 4, **more: Any) -> Drop:
    """A drop whose frames wait on the sorting table without a likely place."""
    drop = open_drop(amaro, line=line, **more)
    for each in range(number):
        bring(drop, f"{each}.tif", tiff(each, at=factory.NOW + timedelta(days=40, minutes=each)))
    settle()
    Frame.objects.update(state=FrameState.WAITING, waiting_because=WHY, proposal=[], shot_line=None)
    return drop


def page(person: User, drop: Drop) -> str:
    client = Client()
    client.force_login(person)
    return client.get(reverse("intake:drop", args=[drop.pk])).content.decode()


def test_frames_without_a_likely_place_count_for_the_line_they_were_brought_for(
    amaro: User, raking: ShotLine
) -> None:
    drop = brought(amaro, raking)
    line = progress_by_line(lines_of(drop))[0]
    assert (line.to_sort, line.placed) == (4, 0)
    assert line.sentence == (
        "nothing is placed yet (as far as the files tell; 4 frames on the sorting table)"
    )
    shown = page(amaro, drop)
    assert "4 frames on the sorting table" in shown
    assert "nothing has come yet" not in shown
    assert '<td data-column="To sort" class="figure"><span>4</span></td>' in shown


def test_frames_of_a_whole_session_that_fit_no_line_are_said_below_the_lines(
    amaro: User, raking: ShotLine
) -> None:
    drop = brought(amaro, None, session=raking.session)
    assert "4 frames of this drop on the sorting table fit no line yet." in page(amaro, drop)


def claimed(drop: Drop, amaro: User, *, ends_in: timedelta) -> Job:
    bring(drop, "A.tif", tiff(1, at=factory.NOW))
    job = Job.objects.get(kind="receive")
    Job.objects.filter(pk=job.pk).update(
        state=JobState.CLAIMED, claim=uuid.uuid4(), claimed_until=timezone.now() + ends_in
    )
    job.refresh_from_db()
    return job


def test_a_worker_that_fell_silent_is_named_with_the_time_its_work_is_taken_up_again(
    amaro: User,
) -> None:
    drop = open_drop(amaro)
    job = claimed(drop, amaro, ends_in=LEASE / 4)
    until = timezone.localtime(job.claimed_until)
    shown = page(amaro, drop)
    assert "A worker stopped" in shown
    assert f"taken up again by itself at {until:%H:%M:%S}, when its lease ends" in shown
    assert stopped_words(open_drop(amaro).pk) == "", "another drop is not concerned"


def test_a_lease_that_ran_out_says_in_a_moment_and_a_living_worker_says_nothing(
    amaro: User,
) -> None:
    drop = open_drop(amaro)
    claimed(drop, amaro, ends_in=LEASE * 0.9)
    assert stopped_words(drop.pk) == ""
    assert "in a moment" in stopped_words(drop.pk, now=timezone.now() + 2 * LEASE)


def test_pictures_that_are_closed_to_the_reader_are_words_and_no_picture(
    amaro: User, raking: ShotLine
) -> None:
    drop = brought(amaro, raking)
    small = reverse("intake:picture", args=[Frame.objects.first().pk, "256"])  # type: ignore[union-attr]
    assert small in page(amaro, drop)
    shown = page(factory.person("Hale", "keeper"), drop)
    assert small not in shown
    assert shown.count('<span class="files__none">closed to you</span>') == 4
    assert "4 pictures of this page are closed to you." in shown


def test_a_long_answer_of_most_files_is_said_once(amaro: User, raking: ShotLine) -> None:
    shown = page(amaro, brought(amaro, raking))
    assert shown.count(WHY) == 1
    assert "4 files of this page have the same answer" in shown
    assert shown.count("As said above.") == 4
    assert page(amaro, brought(amaro, raking, 1)).count("As said above.") == 0


def test_the_keeper_reads_first_how_many_copies_are_overdue(amaro: User, raking: ShotLine) -> None:
    brought(amaro, raking, 2)
    hale = Client()
    hale.force_login(factory.person("Hale", "keeper"))
    assert "No stored copy is overdue" in hale.get(reverse("progress:first_page")).content.decode()
    late = Copy.objects.order_by("pk").values("pk")[:3]
    Copy.objects.filter(pk__in=list(late.values_list("pk", flat=True))).update(
        verified_at=timezone.now() - timedelta(days=400)
    )
    first = hale.get(reverse("progress:first_page")).content.decode()
    assert "3 stored copies are overdue to be read again" in first
    assert reverse("intake:store") in first
    store = hale.get(reverse("intake:store")).content.decode()
    assert "<strong>3 of 4 are overdue.</strong>" in store
    assert "The sweep reads at most" in store
    assert "in 15 minutes" in store
    assert "at the latest" not in store


def test_a_lost_file_is_called_lost_and_stands_first(amaro: User, raking: ShotLine) -> None:
    drop = brought(amaro, raking)
    names = list(drop.arrivals.order_by("pk").values_list("name", flat=True))
    last, one_bad = drop.arrivals.get(name=names[3]), drop.arrivals.get(name=names[2])
    assert page(amaro, drop).index(names[0]) < page(amaro, drop).index(names[3])
    Copy.objects.filter(frame=last.frame_id).update(is_good=False)
    Copy.objects.filter(frame=one_bad.frame_id, place="second copy").update(is_good=False)
    shown = page(amaro, drop)
    assert "2 files not proven in two places" in shown
    order = [shown.index(f">{name}</span>") for name in (names[3], names[2], names[0])]
    assert order == sorted(order)
    row = shown[order[0] : order[1]]
    assert "no stored copy matches any more" in row
    assert "Received and proven in two places" not in row
    assert "Proven in one place only" in shown[order[1] : order[2]]


def test_the_keeper_reads_first_that_a_master_is_lost(amaro: User, raking: ShotLine) -> None:
    drop = brought(amaro, raking, 2)
    hale = Client()
    hale.force_login(factory.person("Hale", "keeper"))
    address = reverse("progress:first_page")
    assert "no copy matches" not in hale.get(address).content.decode()
    first = drop.arrivals.order_by("pk").first()
    assert first is not None
    Copy.objects.filter(frame=first.frame_id, place="second copy").update(is_good=False)
    assert "1 master has one good copy only" in hale.get(address).content.decode()
    Copy.objects.filter(frame=first.frame_id).update(is_good=False)
    shown = hale.get(address).content.decode()
    assert re.search(r"<h1[^>]*>[^<]*1 master is lost: no copy matches", shown), shown[:3000]
    assert reverse("intake:drop", args=[drop.pk]) in shown


def test_a_missing_second_place_is_said_beside_the_file_above_it_and_to_the_keeper(
    amaro: User, stores: Path
) -> None:
    drop = open_drop(amaro)
    bring(drop, "A.tif", tiff(1, at=factory.NOW))
    settle()
    hale = signed_in(factory.person("Hale", "keeper"))
    home, rule = reverse("progress:first_page"), "every copy that was read matches"
    assert "second copy cannot be reached" not in hale.get(home).content.decode()
    assert rule in hale.get(reverse("intake:store")).content.decode()
    (stores / "second").rename(stores / "disk")
    (stores / "second").mkdir()
    bring(drop, "B.tif", tiff(2, at=factory.NOW))
    before = page(amaro, drop)
    assert "A place is missing:" in before
    assert "The disk of the second copy is not mounted" in before
    jobs.run_due()
    shown = page(amaro, drop)
    assert "All bytes are here and wait to be proven. The disk of the second copy is" in shown
    assert "they are being proven and copied" not in shown
    first = hale.get(home).content.decode()
    assert "The second copy cannot be reached" in first
    assert "1 file waits in quarantine" in first
    kept = hale.get(reverse("intake:store")).content.decode()
    assert rule not in kept
    assert "Store: second copy cannot be reached" in kept
    assert "Second copy:" not in kept, "no free space of the disk that is not there"
    assert "Store:" in kept


def test_the_correction_of_a_clock_is_said_in_hours_and_minutes(amaro: User) -> None:
    session = factory.session(by=amaro, clock_offset_s=3600)
    drop = open_drop(amaro, session=session)
    assert "1 hour added, as for the session" in page(amaro, drop)
    Drop.objects.filter(pk=drop.pk).update(clock_offset_s=-5_400)
    assert "1 hour 30 minutes taken off, as said for this drop" in page(amaro, drop)
