"""The review queue, one picture, packages: what pages show, refuse and keep."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import Deliverable, DeliverableState, LoneWorker, Package
from imaging_requests.intake.models import Derivative, Frame
from imaging_requests.people.models import User
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def text(answer: HttpResponse, status: int = 200) -> str:
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


def at(name: str, *args: Any) -> str:
    return reverse(f"deliverables:{name}", args=args)


@pytest.fixture
def amaro() -> User:
    return factory.photographer()


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def obj() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0070", "The Quarantine Island")


def pictured(frames: list[Frame], *, tone_stretched: bool = False) -> None:
    for frame in frames:
        for kind, width in (("256", 256), ("1024", 1024)):
            Derivative.objects.create(
                frame=frame,
                kind=kind,
                recipe="r",
                path="p",
                width_px=width,
                height_px=width * 3 // 4,
                tone_stretched=tone_stretched,
            )


def waiting(
    obj: CollectionObject, by: User, technique: str = "UV", *, since: float = 0, **more: Any
) -> tuple[Deliverable, ShotLine]:
    line = factory.shot_line(
        factory.session(by=by),
        obj,
        technique,
        meets=[factory.owed_view(obj, technique)],
        **more,
    )
    frames = factory.frames_for(line)
    pictured(frames)
    made = actions.assemble_line(shot_line_id=line.pk, now=NOW)
    assert made is not None
    row = actions.hand_in(
        actor=by,
        deliverable_id=made.pk,
        read_version=made.row_version,
        now=NOW - timedelta(days=since),
    )
    return row, line


# The queue


def test_the_queue_shows_the_oldest_first_with_checks_and_working_days(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    young, _ = waiting(obj, amaro, "VF")
    old, line = waiting(obj, amaro, "UV", since=21)
    factory.check(line.frames.first(), "fail")
    factory.check(line.frames.last(), "cannot_tell", "G12")
    page = text(signed_in(signe).get(at("reviews")))
    assert "2 pictures wait for review" in page
    assert page.index(at("review", old.pk)) < page.index(at("review", young.pk))
    assert "AR 0070" in page
    assert "too long" in page
    assert "cannot tell" in page


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("technique=UV", 1),
        ("technique=IR", 0),
        ("photographer={amaro}", 2),
        ("photographer={signe}", 0),
        ("waiting_since=2026-04-01", 1),
        ("waiting_since=2026-03-01", 0),
        ("technique=UV&waiting_since=2026-04-20", 1),
    ],
)
def test_the_queue_is_narrowed(
    obj: CollectionObject, amaro: User, signe: User, query: str, shown: int
) -> None:
    waiting(obj, amaro, "VF")
    waiting(obj, amaro, "UV", since=21)
    query = query.format(amaro=amaro.pk, signe=signe.pk)
    page = text(signed_in(signe).get(f"{at('reviews')}?{query}"))
    assert f"{shown} of 2 pictures" in page
    assert ("No picture fits the filter." in page) is (shown == 0)


def test_the_queue_asks_the_database_a_fixed_number_of_times(
    obj: CollectionObject, amaro: User, signe: User, django_assert_num_queries: Any
) -> None:
    waiting(obj, amaro)
    client = signed_in(signe)
    client.get(at("reviews"))
    with django_assert_num_queries(11):
        client.get(at("reviews"))
    for number in range(4):
        other = factory.museum_object()
        _, line = waiting(other, amaro, since=number)
        factory.check(line.frames.first())
    with django_assert_num_queries(11):
        client.get(at("reviews"))


def test_what_is_not_measured_yet_is_never_shown_as_passed(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    _, line = waiting(obj, amaro)
    client = signed_in(signe)
    assert 'class="verdict verdict--pass"' in text(client.get(at("reviews")))
    line.frames.update(read_at=None)
    page = text(client.get(at("reviews")))
    assert "4 frames not measured yet" in page
    assert 'class="verdict verdict--pass"' not in page


def test_an_empty_queue_says_so(signe: User) -> None:
    factory.rules()
    assert "Nothing waits for review" in text(signed_in(signe).get(at("reviews")))


# One picture before a reviewer


def test_the_page_shows_picture_bracket_checks_and_facts(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    card = factory.setup_card()
    row, line = waiting(obj, amaro, setup_card=card)
    first, second, *_ = line.frames.order_by("ev")
    factory.check(first)
    factory.check(second, "pass", sentence="16 bits per channel.")
    page = text(signed_in(signe).get(at("review", row.pk)))
    assert f'src="{reverse("intake:picture", args=[row.cover_id, "1024"])}?of=r"' in page
    for frame in line.frames.all():
        assert reverse("intake:picture", args=[frame.pk, "256"]) in page
    assert "The master has 8 bits per channel; 16 are needed." in page
    assert "Bit depth (G3): 1 frame" in page
    assert "s0" in page
    assert str(card) in page
    assert "420-B" in page
    assert "Made for: as it is now." in page
    assert "tone stretched" not in page


def test_a_stretched_tone_is_said(obj: CollectionObject, amaro: User, signe: User) -> None:
    row, line = waiting(obj, amaro)
    Derivative.objects.filter(frame__shot_line=line).update(tone_stretched=True)
    assert "tone stretched" in text(signed_in(signe).get(at("review", row.pk)))


def test_tiles_lie_as_on_the_face_and_one_is_shown_large(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    row, line = waiting(obj, amaro, "IR", tiles_across=2, tiles_down=3, expected_files=6)
    last = line.frames.get(tile_x=1, tile_y=2)
    page = text(signed_in(signe).get(at("review", row.pk), {"frame": last.pk}))
    assert page.count("<td") - page.count("data-column") >= 6
    assert 'alt="tile 6"' in page
    assert f'src="{reverse("intake:picture", args=[last.pk, "1024"])}?of=r"' in page


def test_the_picture_before_stands_beside_it(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    frames = [factory.frame()]
    pictured(frames)
    earlier = factory.deliverable(obj, frames=frames, by=amaro)
    row, _ = waiting(obj, amaro)
    page = text(signed_in(signe).get(at("review", row.pk)))
    assert "The one before" in page
    assert at("deliverable", earlier.pk) in page


def test_what_has_happened_since_the_capture_is_said(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    factory.treatment(obj, (2,), finished_at=NOW - hours(500), code="T1")
    factory.treatment(obj, (7,), finished_at=NOW + hours(30), code="T2")
    row, _ = waiting(obj, amaro)
    page = text(signed_in(signe).get(at("review", row.pk)))
    assert "s1, after varnish thinned or removed (T1)" in page
    assert "Since it was captured: varnish applied (T2) on 17 Apr 2026." in page


def test_accepting_leads_to_the_next_in_the_queue(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    row, _ = waiting(obj, amaro, "UV", since=2)
    following, _ = waiting(obj, amaro, "VF")
    client = signed_in(signe)
    answer = client.post(
        at("review", row.pk), {"decision": "accept", "read_version": row.row_version, "note": ""}
    )
    assert answer["Location"] == at("review", following.pk)
    page = text(client.get(answer["Location"]))
    assert "UV of the front of AR 0070 is accepted." in page
    answer = client.post(
        at("review", following.pk),
        {"decision": "accept", "read_version": following.row_version},
    )
    assert answer["Location"] == at("reviews")


def test_sending_back_without_a_reason_keeps_what_was_typed(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    row, _ = waiting(obj, amaro)
    client = signed_in(signe)
    sent = {"decision": "send_back", "read_version": row.row_version, "note": "Filter 420-B."}
    page = text(client.post(at("review", row.pk), sent), 422)
    assert "What you typed is still here" in page
    assert "Filter 420-B." in page
    assert "<details open>" in page
    client.post(at("review", row.pk), sent | {"reasons": ["filter"]})
    row.refresh_from_db()
    assert row.state == DeliverableState.SENT_BACK


def test_a_fail_asks_the_lead_for_a_reason_and_refuses_others(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    lioba = factory.photographer("Lioba")
    row, line = waiting(obj, amaro)
    factory.check(line.frames.first())
    accept = {"decision": "accept", "read_version": row.row_version}
    assert "Why it is good enough" not in text(signed_in(lioba).get(at("review", row.pk)))
    page = text(signed_in(lioba).post(at("review", row.pk), accept), 422)
    assert "1 check failed." in page
    assert "Why it is good enough" in text(signed_in(signe).get(at("review", row.pk)))
    assert "1 check failed." in text(signed_in(signe).post(at("review", row.pk), accept), 422)
    signed_in(signe).post(at("review", row.pk), accept | {"override_reason": "cannot return"})
    row.refresh_from_db()
    assert row.state == DeliverableState.ACCEPTED


def test_the_second_of_two_reviewers_sees_what_the_first_decided(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    lioba = factory.photographer("Lioba")
    row, _ = waiting(obj, amaro)
    sent = {"read_version": row.row_version, "note": "Soft.", "reasons": ["focus"]}
    signed_in(signe).post(at("review", row.pk), {**sent, "decision": "accept"})
    page = text(signed_in(lioba).post(at("review", row.pk), {**sent, "decision": "send_back"}), 422)
    assert "Signe changed" in page
    assert "You had written: “Soft.”" in page
    assert 'UV of the front of <span class="number">AR 0070</span>: accepted' in page


def test_a_photographer_is_told_to_leave_the_own_picture_to_others(
    obj: CollectionObject, amaro: User
) -> None:
    row, _ = waiting(obj, amaro)
    page = text(
        signed_in(amaro).post(
            at("review", row.pk), {"decision": "accept", "read_version": row.row_version}
        ),
        422,
    )
    assert "You made this picture; somebody else reviews it." in page


def test_a_conservator_reads_but_does_not_decide(obj: CollectionObject, amaro: User) -> None:
    row, _ = waiting(obj, amaro)
    page = text(signed_in(factory.conservator()).get(at("review", row.pk)))
    assert "<b>Reviewing</b> is not open" in page
    assert 'value="accept"' not in page


def test_a_decided_picture_shows_its_words_and_no_buttons(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    row, _ = waiting(obj, amaro)
    actions.send_back(
        actor=signe,
        deliverable_id=row.pk,
        read_version=row.row_version,
        reasons=["filter"],
        note="White patch at 34 %.",
        now=NOW,
    )
    page = text(signed_in(amaro).get(at("review", row.pk)))
    assert "sent back by Signe" in page
    assert "wrong filter, or none. “White patch at 34 %.”" in page
    assert 'value="accept"' not in page


def test_the_review_page_asks_the_database_a_fixed_number_of_times(
    obj: CollectionObject, amaro: User, signe: User, django_assert_num_queries: Any
) -> None:
    small, _ = waiting(obj, amaro, "IR")
    large, _ = waiting(obj, amaro, "VF", tiles_across=3, tiles_down=4, expected_files=12)
    client = signed_in(signe)
    client.get(at("review", small.pk))
    with django_assert_num_queries(25):
        client.get(at("review", small.pk))
    with django_assert_num_queries(30):  # five more for the joining of tiles, however many
        client.get(at("review", large.pk))


# One picture with its versions


def test_a_photographer_hands_in_and_takes_back(obj: CollectionObject, amaro: User) -> None:
    line = factory.shot_line(factory.session(by=amaro), obj)
    factory.frames_for(line)
    row = actions.assemble_line(shot_line_id=line.pk, now=NOW)
    assert row is not None
    client = signed_in(amaro)
    assert "Hand in for review" in text(client.get(at("deliverable", row.pk)))
    answer = client.post(at("hand_in", row.pk), {"read_version": 1}, follow=True)
    assert "Handed in; it waits for its review." in text(answer)
    answer = client.post(at("take_back", row.pk), {"read_version": 2}, follow=True)
    assert "Taken back" in text(answer)


def test_an_incomplete_picture_says_what_is_missing(obj: CollectionObject, amaro: User) -> None:
    line = factory.shot_line(factory.session(by=amaro), obj)
    factory.frames_for(line)[2].delete()
    row = actions.assemble_line(shot_line_id=line.pk, now=NOW)
    assert row is not None
    client = signed_in(amaro)
    page = text(client.get(at("deliverable", row.pk)))
    assert "<b>Handing in</b> is not open: Exposure +1 is missing; have −1, 0 and +2." in page
    answer = client.post(at("hand_in", row.pk), {"read_version": 1}, follow=True)
    assert "The picture is not complete." in text(answer)


def test_while_the_session_runs_the_page_says_until_when(
    obj: CollectionObject, amaro: User
) -> None:
    now = timezone.now()
    line = factory.shot_line(factory.session(by=amaro, starts_at=now - hours(1)), obj)
    factory.frames_for(line)[2].delete()
    row = actions.assemble_line(shot_line_id=line.pk, now=now)
    assert row is not None
    assert "<b> The session ends at " in text(signed_in(amaro).get(at("deliverable", row.pk)))


def test_a_form_that_cannot_be_read_changes_nothing(obj: CollectionObject, amaro: User) -> None:
    row, _ = waiting(obj, amaro)
    client = signed_in(amaro)
    answer = client.post(at("take_back", row.pk), {"read_version": "x"}, follow=True)
    assert "The form could not be read. Load the page again." in text(answer)
    row.refresh_from_db()
    assert row.state == DeliverableState.TO_REVIEW


def test_an_x_ray_asks_for_its_polarity(obj: CollectionObject, amaro: User) -> None:
    line = factory.shot_line(factory.session(by=amaro), obj, "XR", "T")
    factory.frames_for(line)
    row = actions.assemble_line(shot_line_id=line.pk, now=NOW)
    assert row is not None
    client = signed_in(amaro)
    assert "Dense parts bright, as on film" in text(client.get(at("deliverable", row.pk)))
    answer = client.post(at("hand_in", row.pk), {"read_version": 1}, follow=True)
    assert "Nobody has stated the polarity" in text(answer)
    client.post(at("hand_in", row.pk), {"read_version": 1, "polarity": "positive"})
    row.refresh_from_db()
    assert (row.state, row.polarity) == (DeliverableState.TO_REVIEW, "positive")


def test_a_lead_recalls_with_reasons_and_a_refused_recall_keeps_the_words(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    row, _ = waiting(obj, amaro)
    actions.accept(actor=signe, deliverable_id=row.pk, read_version=row.row_version, now=NOW)
    row.refresh_from_db()
    client = signed_in(signe)
    sent = {"read_version": row.row_version, "note": "Plates 3 and 4 swapped."}
    page = text(client.post(at("recall", row.pk), sent), 422)
    assert "Plates 3 and 4 swapped." in page
    answer = client.post(at("recall", row.pk), sent | {"reasons": ["join"]}, follow=True)
    page = text(answer)
    assert "Recalled; everybody who relied on it is told." in page
    assert "Begin the next version from the same frames" in page
    answer = client.post(
        at("start_again", row.pk), {"read_version": row.row_version + 1}, follow=True
    )
    assert "version 2: building" in text(answer)


def test_the_same_frames_again_are_explained_to_the_next_reviewer(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    row, _ = waiting(obj, amaro)
    actions.send_back(
        actor=signe, deliverable_id=row.pk, read_version=row.row_version,
        reasons=["filter"], note="No filter.", now=NOW,
    )  # fmt: skip
    row.refresh_from_db()
    client = signed_in(amaro)
    assert 'name="reason"' in text(client.get(at("deliverable", row.pk)))
    silent = client.post(at("start_again", row.pk), {"read_version": row.row_version}, follow=True)
    assert "has to be shot again, and its frames are still the same" in text(silent)
    sent = {"read_version": row.row_version, "reason": "The filter lies in the lens."}
    assert "version 2: building" in text(client.post(at("start_again", row.pk), sent, follow=True))
    second = Deliverable.objects.get(version=2)
    client.post(at("hand_in", second.pk), {"read_version": second.row_version})
    page = text(signed_in(signe).get(at("review", second.pk)))
    assert "The same frames again," in page
    assert "Amaro: The filter lies in the lens." in page


@pytest.mark.parametrize("name", ["deliverable", "review", "package", "manifest"])
def test_what_does_not_exist_is_not_found(signe: User, name: str) -> None:
    factory.rules()
    assert signed_in(signe).get(at(name, 987654)).status_code == 404


# Lone work


def test_the_lead_allows_lone_work_for_a_stretch(amaro: User, signe: User) -> None:
    factory.rules()
    client = signed_in(signe)
    sent = {
        "person": amaro.pk,
        "since": "2026-04-16T08:00",
        "until": "2026-04-16T07:00",
        "reason": "Lioba is ill",
    }
    page = text(client.post(at("lone_work"), sent), 422)
    assert "The end does not come after the beginning." in page
    answer = client.post(at("lone_work"), sent | {"until": "2026-04-16T18:00"}, follow=True)
    assert "Amaro may review own pictures meanwhile." in text(answer)
    stretch = LoneWorker.objects.get()
    assert timezone.localtime(stretch.since, timezone.get_fixed_timezone(60)).hour == 8


# Packages


def filed_entry(obj: CollectionObject, amaro: User) -> tuple[Any, Deliverable]:
    entry = factory.entry(obj, number="23", title="The Quarantine Island")
    factory.owed_view(obj, "IR", demanded_by=entry)
    frames = [factory.frame()]
    factory.proven(frames)
    return entry, factory.deliverable(obj, frames=frames, by=amaro)


def test_a_lead_files_what_is_ready_and_sees_what_is_missing(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    entry, row = filed_entry(obj, amaro)
    client = signed_in(signe)
    address = f"{at('packages')}?entry={entry.pk}"
    page = text(client.get(address))
    assert "1 picture of entry 23 can be filed" in page
    assert f'<option value="{entry.pk}" selected>' in page
    assert "Infrared of the front" in page
    assert "no picture yet" in page
    answer = client.post(address, {"pictures": [row.pk], "purpose": "figures"}, follow=True)
    package = Package.objects.get()
    page = text(answer)
    assert f"Package {package.number} is sealed." in page
    assert "1 view was missing" in page
    assert "AR-0070_F1_UV_CUR_20250901_t01_p0_v01_master.tif" in page
    assert "The manifest is the one that was sealed." in page
    assert "Nothing of entry 23 can be filed now" in text(client.get(address))


def test_others_see_what_is_ready_but_do_not_seal(obj: CollectionObject, amaro: User) -> None:
    entry, row = filed_entry(obj, amaro)
    client = signed_in(factory.curator())
    address = f"{at('packages')}?entry={entry.pk}"
    assert "<b>Sealing</b> is not open" in text(client.get(address))
    page = text(client.post(address, {"pictures": [row.pk]}), 422)
    assert "Sealing a package is for the imaging lead." in page
    assert not Package.objects.exists()


def test_the_manifest_is_fetched_as_the_text_its_sum_was_taken_of(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    entry, _ = filed_entry(obj, amaro)
    package = actions.file_accepted(actor=signe, entry_id=entry.pk, now=NOW)
    answer = signed_in(signe).get(at("manifest", package.pk))
    assert hashlib.sha256(answer.content).hexdigest() == package.manifest_sha256
    assert answer["Content-Disposition"].endswith('manifest.json"')


def test_a_recalled_picture_is_marked_in_its_package(
    obj: CollectionObject, amaro: User, signe: User
) -> None:
    entry, row = filed_entry(obj, amaro)
    package = actions.file_accepted(actor=signe, entry_id=entry.pk, now=NOW)
    actions.recall(
        actor=signe,
        deliverable_id=row.pk,
        read_version=row.row_version,
        reasons=["join"],
        note="swapped",
        now=NOW,
    )
    client = signed_in(signe)
    assert "Recalled since:</span> 1 of its pictures" in text(client.get(at("package", package.pk)))
    assert "1 recalled since" in text(client.get(at("packages")))


def test_the_list_of_packages_asks_the_database_a_fixed_number_of_times(
    obj: CollectionObject, amaro: User, signe: User, django_assert_num_queries: Any
) -> None:
    entry, _ = filed_entry(obj, amaro)
    actions.file_accepted(actor=signe, entry_id=entry.pk, now=NOW)
    client = signed_in(signe)
    client.get(at("packages"))
    with django_assert_num_queries(6):
        client.get(at("packages"))
    for technique in ("VF", "VC"):
        frames = [factory.frame()]
        factory.proven(frames)
        factory.deliverable(obj, technique, frames=frames, by=amaro)
        actions.file_accepted(actor=signe, entry_id=entry.pk, now=NOW)
    with django_assert_num_queries(6):
        client.get(at("packages"))
