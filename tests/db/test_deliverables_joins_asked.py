"""No tiled picture stays unjoined in silence: the sweep asks, pages say so, and people can ask."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.deliverables import actions, joining, tasks
from imaging_requests.deliverables.joined import standing_join
from imaging_requests.deliverables.models import Deliverable, Join, PlateMap
from imaging_requests.deliverables.owed import owed_by
from imaging_requests.intake import store
from imaging_requests.intake.jobs import run
from imaging_requests.intake.models import Copy, FileCheck, Job
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.people.models import Notice, User
from tests import factory
from tests.factory import hours
from tests.joining_scene import Cut, cut_tiles, scene_size, texture, write_tiles
from tests.picture_scene import derive_pictures, signed_in

pytestmark = pytest.mark.django_db
CUT = Cut(columns=2, rows=1, tile_px=(230, 270), overlap=0.1, is_whole=True)


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def history(stores: Path, tmp_path: Path) -> Deliverable:
    """Two good tiles before a reviewer; their copies were written long after they were received."""
    factory.rules()
    thing = factory.museum_object("AR 0082", "Boy with a Tern")
    session = factory.session(station=factory.station("xray"), by=factory.photographer())
    line = factory.shot_line(
        session, thing, "IR", "F", tiles_across=2, px_per_mm=10, expected_files=2
    )
    tiles = cut_tiles(texture(*scene_size(CUT), seed=5), CUT, seed=5)[0]
    for number, path in enumerate(write_tiles(tmp_path, tiles)):
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        store.put(path, sha256=sha256, extension="tif")
        frame = factory.frame(line, sha256=sha256, first_name=path.name, tile_x=number)
        derive_pictures(frame)
        Copy.objects.create(
            frame=frame, place="store", written_at=frame.received_at + hours(24 * 30)
        )
    row = actions.assemble_line(shot_line_id=line.pk, now=factory.NOW + hours(1))
    assert row is not None
    Deliverable.objects.filter(pk=row.pk).update(state="to_review", handed_in_at=factory.NOW)
    assert not Job.objects.filter(kind="join").exists()
    return Deliverable.objects.get(pk=row.pk)


def join_now(row: Deliverable) -> Join:
    run(Job.objects.get(kind="join", subject_id=row.pk).pk, now=timezone.now() + hours(1))
    made = joining.newest_join(row)
    assert made is not None
    return made


def page(user: User, name: str, *args: Any) -> str:
    return signed_in(user).get(reverse(name, args=args)).content.decode()


def test_tiles_that_nobody_joined_are_not_called_passed_and_are_not_accepted(
    history: Deliverable, signe: User
) -> None:
    assert [each.kind for each in owed_by(history)] == ["join"]
    shown = page(signe, "deliverables:review", history.pk)
    assert "Not joined yet:" in shown
    assert "Still to come: the joining of its tiles" in shown
    assert "Every check that was made passed" not in shown
    assert "tiles not joined yet" in page(signe, "deliverables:reviews")
    with pytest.raises(IllegalStep, match="Still to come: the joining of its tiles"):
        actions.accept(actor=signe, deliverable_id=history.pk, read_version=history.row_version)


def test_the_sweep_asks_for_what_a_review_waits_for_and_then_it_is_joined(
    history: Deliverable, signe: User
) -> None:
    tasks.sweep_registrations()
    assert "being joined" in page(signe, "deliverables:review", history.pk)
    assert join_now(history).verdict == Join.Verdict.JOINED
    shown = page(signe, "deliverables:review", history.pk)
    assert "Joined from its tiles" in shown
    assert "Still to come" not in shown
    assert "tiles not joined yet" not in page(signe, "deliverables:reviews")


def test_a_person_asks_for_the_joining_with_a_button(history: Deliverable, signe: User) -> None:
    address = reverse("deliverables:join", args=[history.pk])
    for name in ("deliverables:review", "deliverables:deliverable", "deliverables:plates"):
        assert f'action="{address}"' in page(signe, name, history.pk)
    head = factory.person("Corvin", "head")
    assert address not in page(head, "deliverables:deliverable", history.pk)
    assert signed_in(head).post(address).status_code == 403
    browser = signed_in(signe)
    answer = browser.post(address, follow=True)
    assert answer.redirect_chain[-1][0] == reverse("deliverables:review", args=[history.pk])
    assert "Join the tiles now" not in answer.content.decode(), "it is under way"
    assert Job.objects.filter(kind="join", subject_id=history.pk).count() == 1
    browser.post(address)
    assert Job.objects.filter(kind="join", subject_id=history.pk).count() == 1


def test_tiles_that_have_not_all_come_are_not_asked_for(history: Deliverable, signe: User) -> None:
    Deliverable.objects.filter(pk=history.pk).update(state="building")
    Deliverable.objects.filter(pk=history.pk).update(is_complete=False, missing=["Tile 2."])
    with pytest.raises(DomainError, match=r"not complete\. Tile 2\."):
        actions.ask_to_join(actor=signe, deliverable_id=history.pk)


def test_a_joining_that_was_given_up_is_overridden_by_the_lead_on_the_page(
    history: Deliverable, signe: User
) -> None:
    tasks.sweep_registrations()
    Job.objects.filter(kind="join").update(state="failed", last_error="It took too long.")
    shown = page(signe, "deliverables:review", history.pk)
    assert "Not known: the joining of its tiles. It took too long." in shown
    assert 'name="override_reason"' in shown
    assert "Join the tiles now" in shown


@pytest.mark.parametrize("state", ["accepted", "building"])
def test_an_accepted_history_is_joined_too_but_its_checks_stay_as_its_reviewer_saw_them(
    history: Deliverable, state: str
) -> None:
    Deliverable.objects.filter(pk=history.pk).update(state="building")
    Deliverable.objects.filter(pk=history.pk).update(state=state)
    before = set(FileCheck.objects.values_list("rule", flat=True))
    tasks.sweep_registrations()
    assert join_now(history).sha256
    new = set(FileCheck.objects.values_list("rule", flat=True)) - before
    assert ("J1" in new) is (state == "building")
    assert standing_join(history) is not None
    assert not Notice.objects.filter(text__contains="wait for you").exists()


def test_what_was_laid_by_hand_is_taken_back_and_the_programs_own_order_stands(
    history: Deliverable, signe: User
) -> None:
    plates = reverse("deliverables:plates", args=[history.pk])
    found = reverse("deliverables:plates_found", args=[history.pk])
    tasks.sweep_registrations()
    first = join_now(history)
    assert found not in page(signe, "deliverables:plates", history.pk)
    plan = joining.plan_of(history)
    assert plan is not None
    values: dict[str, Any] = {"read_version": history.row_version, "note": "The markers read 2, 1."}
    for number, plate in enumerate(plan.plates):
        values |= {f"place_{plate.frame}": f"{1 - number},0", f"turn_{plate.frame}": "0"}
    browser: Client = signed_in(signe)
    assert browser.post(plates, values).status_code == 302
    wrong = join_now(history)
    assert wrong.verdict == Join.Verdict.NOT_JOINED
    history.refresh_from_db()
    assert f'action="{found}"' in page(signe, "deliverables:plates", history.pk)

    stale = browser.post(found, {"read_version": history.row_version - 1}, follow=True)
    assert "changed" in stale.content.decode()
    with pytest.raises(NotAllowed):
        actions.lay_as_found(
            actor=factory.curator(), deliverable_id=history.pk, read_version=history.row_version
        )
    answer = browser.post(found, {"read_version": history.row_version}, follow=True)
    assert "taken back; the tiles are joined anew" in answer.content.decode()
    assert join_now(history) == first
    assert standing_join(history) == first
    assert PlateMap.objects.count() == 2, "what people laid is kept"
    checks = FileCheck.objects.filter(frame=history.cover, rule="J1")
    assert [check.verdict for check in checks] == ["pass"]
    history.refresh_from_db()
    with pytest.raises(IllegalStep, match="Nobody has laid these tiles by hand"):
        actions.lay_as_found(
            actor=signe, deliverable_id=history.pk, read_version=history.row_version
        )
