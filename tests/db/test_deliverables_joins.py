"""Tiles are joined by themselves; doubts wait for a person, who lays the plate map."""

from __future__ import annotations

import hashlib
import json
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import actions, joining, queries
from imaging_requests.deliverables.joined import lost_joins, standing_join, why_none
from imaging_requests.deliverables.models import Deliverable, Join, PlateMap, Registration
from imaging_requests.intake import store
from imaging_requests.intake.jobs import Outcome, enqueue, run
from imaging_requests.intake.models import FileCheck, Job
from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import AuditEvent, Notice
from imaging_requests.pictures.sources import identifier_of, paths_of
from imaging_requests.progress.look.shown_pictures import gather_gallery
from tests import factory
from tests.factory import NOW, hours
from tests.joining_scene import Cut, cut_tiles, scene_size, texture, write_tiles

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]
LATER = NOW + hours(6)
CUT = Cut(columns=2, rows=2, tile_px=(230, 270), overlap=0.1, is_whole=True)


@pytest.fixture(scope="module")
def tiles() -> list[np.ndarray]:
    return cut_tiles(texture(*scene_size(CUT), seed=21), CUT, seed=21)[0]


@pytest.fixture
def line(stores: Path) -> ShotLine:
    factory.rules()
    thing = factory.museum_object("AR 0082", "Boy with a Tern")
    session = factory.session(station=factory.station("xray"), by=factory.photographer())
    return factory.shot_line(
        session, thing, "XR", "T", tiles_across=2, tiles_down=2, px_per_mm=10, expected_files=4
    )


def place(line: ShotLine, folder: Path, pictures: list[np.ndarray]) -> None:
    """Put true files into the store and place them as the line asks, row by row."""
    folder.mkdir(exist_ok=True)
    for number, path in enumerate(write_tiles(folder, pictures)):
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        store.put(path, sha256=sha256, extension="tif")
        factory.frame(
            line, sha256=sha256, first_name=path.name, tile_x=number % 2, tile_y=number // 2
        )


def work_off(line: ShotLine) -> Deliverable:
    with transaction.atomic():
        job = enqueue("assemble", line.pk, again=True, now=NOW)
    assert run(job.pk, now=LATER) is Outcome.DONE
    row = Deliverable.objects.get(shot_line=line)
    for wanted in Job.objects.filter(kind="join"):
        run(wanted.pk, now=timezone.now() + hours(1))
    row.refresh_from_db()
    return row


def checks(row: Deliverable) -> dict[str, FileCheck]:
    return {check.rule: check for check in queries.checks_of([row])[row.pk]}


def plate_of(row: Deliverable, index: int) -> joining.Plate:
    plan = joining.plan_of(row)
    assert plan is not None
    return plan.plates[index]


def pixels(made: Join) -> np.ndarray:
    path = store.readable_path(made.sha256, "tif")
    assert path is not None
    return pyvips.Image.new_from_file(str(path)).numpy().astype(int)


def test_tiles_are_joined_by_themselves_and_checked(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", tiles)
    row = work_off(line)
    made = joining.newest_join(row)
    assert made is not None
    assert made.verdict == Join.Verdict.JOINED, made.sentence
    assert {rule: checks(row)[rule].verdict for rule in ("J1", "J2", "X4", "X6")} == {
        "J1": "pass", "J2": "pass", "X4": "pass", "X6": "pass"
    }  # fmt: skip
    path = store.readable_path(made.sha256, "tif")
    assert path is not None
    joined = pixels(made)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == made.sha256
    assert made.ingredients["plates"][0][0] == row.cover.sha256
    kept = {each["kind"]: Path(settings.DERIVED_DIR) / each["path"] for each in made.pictures}
    inverted = pyvips.Image.new_from_file(str(kept["inverted"])).numpy()
    assert (joined + inverted == 65_535).all()
    assert {"256", "1024", "pyramid"} <= set(kept)
    work_off(line)
    assert Join.objects.count() == 1


def test_swapped_plates_are_found_and_a_person_confirms_them(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", [tiles[0], tiles[1], tiles[3], tiles[2]])
    row = work_off(line)
    first = checks(row)["J1"]
    assert first.verdict == "warn"
    assert "Tiles 3 and 4 fit the other way round." in first.sentence
    plan = joining.plan_of(row)
    assert plan is not None
    swapped = [(0, 0), (1, 0), (1, 1), (0, 1)]
    plates: list[dict[str, Any]] = [
        {"frame": plate.frame, "column": x, "row": y, "quarters": 0, "mirrored": False}
        for plate, (x, y) in zip(plan.plates, swapped, strict=True)
    ]
    common = {"deliverable_id": row.pk, "plates": plates, "now": LATER}
    with pytest.raises(NotAllowed):
        actions.lay_plates(
            actor=factory.curator(), read_version=row.row_version, note="So it is.", **common
        )
    with pytest.raises(DomainError, match="Say how you know"):
        actions.lay_plates(actor=row.photographer, read_version=row.row_version, note=" ", **common)
    laid = actions.lay_plates(
        actor=row.photographer,
        read_version=row.row_version,
        note="The markers read 4 and 3.",
        **common,
    )
    event = AuditEvent.objects.get(code="deliverables.plates_laid")
    assert event.reason == "The markers read 4 and 3."
    row = work_off(line)
    again = joining.newest_join(row)
    assert again is not None
    assert again.plate_map == laid
    assert checks(row)["J1"].verdict == "pass"
    assert "The markers read 4 and 3." in checks(row)["J1"].sentence
    before = Join.objects.exclude(pk=again.pk).get()
    assert np.array_equal(pixels(again), pixels(before))


def test_a_plate_of_another_object_blocks_acceptance_and_asks_a_person(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    other = (texture(270, 230, seed=99) * 65_535).astype(np.uint16)
    place(line, tmp_path / "card", [tiles[0], tiles[1], tiles[2], other])
    row = work_off(line)
    made = joining.newest_join(row)
    assert made is not None
    assert made.verdict == Join.Verdict.UNCERTAIN
    assert any("another object" in failure for failure in queries.failures(row))
    assert "plate-04.tif" in made.sentence, "as the photographer knows it"
    assert plate_of(row, 3).sha256 not in json.dumps(made.report)
    notice = Notice.objects.filter(user=row.photographer, text__contains="wait for you").get()
    assert notice.url == reverse("deliverables:plates", args=[row.pk])


def test_two_tiles_on_one_place_are_refused(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", tiles)
    row = actions.assemble_line(shot_line_id=line.pk, now=LATER)
    assert row is not None
    plan = joining.plan_of(row)
    assert plan is not None
    plates = [
        {"frame": plate.frame, "column": 0, "row": 0, "quarters": 0, "mirrored": False}
        for plate in plan.plates
    ]
    with pytest.raises(DomainError, match="Two tiles lie in column 1, row 1"):
        actions.lay_plates(
            actor=row.photographer,
            deliverable_id=row.pk,
            read_version=row.row_version,
            plates=plates,
            note="All the same.",
        )


def test_the_pages_do_not_promise_a_joining_that_nobody_asked_for(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", tiles)
    row = work_off(line)
    Join.objects.filter(deliverable=row).delete()
    lead, head = Client(), Client()
    lead.force_login(factory.lead())
    head.force_login(factory.person("Corvin", "head"))
    picture = reverse("deliverables:deliverable", args=[row.pk])
    plates = reverse("deliverables:plates", args=[row.pk])
    for state, title, said in (
        ("done", "The tiles are not joined", "Not joined yet:"),
        ("due", "The tiles are being joined", "The tiles are being joined; load the page"),
        ("failed", "The tiles could not be joined", "It took longer than ten minutes."),
    ):
        Job.objects.filter(kind="join").update(
            state=state, claim=None, last_error="It took longer than ten minutes."
        )
        assert f"<h1>{title}</h1>" in lead.get(plates).content.decode()
        page = lead.get(picture).content.decode()
        assert said in page
        assert plates in page
        page = head.get(picture).content.decode()
        assert said in page
        assert plates not in page, "a link that would be refused"


def test_a_plate_map_never_changes(line: ShotLine, tiles: list[np.ndarray], tmp_path: Path) -> None:
    place(line, tmp_path / "card", tiles)
    row = actions.assemble_line(shot_line_id=line.pk, now=LATER)
    assert row is not None
    laid = PlateMap.objects.create(deliverable=row, plates=[], note="As shot.", by=row.photographer)
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        PlateMap.objects.filter(pk=laid.pk).update(note="Otherwise.")


def test_the_pages_open_the_joined_sheet_first_and_take_the_map_by_a_plain_form(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", [tiles[0], tiles[1], tiles[3], tiles[2]])
    row = work_off(line)
    browser = Client()
    browser.force_login(row.photographer)
    page = browser.get(reverse("deliverables:deliverable", args=[row.pk])).content.decode()
    assert reverse("deliverables:joined", args=[row.pk, "1024"]) in page
    assert "Plate map" in page
    small: Any = browser.get(reverse("deliverables:joined", args=[row.pk, "1024"]))
    assert b"".join(small.streaming_content)[:2] == b"\xff\xd8"
    for kind, role in (("master", "joined"), ("inverted", "inverted")):
        whole: Any = browser.get(reverse("deliverables:joined", args=[row.pk, kind]))
        assert b"".join(whole.streaming_content)
        day = f"{studio_time(row.captured_at):%Y%m%d}"
        name = f"AR-0082_T1_XR_{day}_v01_{role}.tif"
        assert whole["Content-Disposition"] == f'attachment; filename="{name}"'
    address = reverse("deliverables:plates", args=[row.pk])
    page = browser.get(address).content.decode()
    assert "It fits in column 2, row 2." in page
    plan = joining.plan_of(row)
    assert plan is not None
    values = {"read_version": row.row_version, "note": ""}
    for plate, spot in zip(plan.plates, ("0,0", "1,0", "1,1", "0,1"), strict=True):
        values |= {f"place_{plate.frame}": spot, f"turn_{plate.frame}": "0"}
    refused = browser.post(address, values)
    assert refused.status_code == 422
    assert "Not saved." in refused.content.decode()
    kept = browser.post(address, values | {"note": "The markers read 4 and 3."})
    assert kept.status_code == 302
    assert PlateMap.objects.get().by == row.photographer


def test_the_joined_picture_stands_for_its_tiles_wherever_pictures_are_seen(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", tiles)
    row = work_off(line)
    made = joining.newest_join(row)
    assert made is not None
    size = (made.width_px, made.height_px)
    for wanted in Job.objects.filter(kind="register"):
        assert run(wanted.pk, now=timezone.now() + hours(2)) is Outcome.DONE
    measured = Registration.objects.get(deliverable=row)
    assert (measured.join, measured.width_px, measured.height_px) == (made, *size)
    assert "several tiles" not in measured.reason

    browser = Client()
    browser.force_login(row.photographer)
    service = reverse("pictures:base", args=[identifier_of(row)])
    info = browser.get(f"{service}/info.json").json()
    assert (info["width"], info["height"]) == size
    part = browser.get(f"{service}/0,0,200,100/200,100/0/default.jpg")
    assert part.status_code == 200
    assert paths_of([row])[row.pk].is_file()

    Deliverable.objects.filter(pk=row.pk).update(state="to_review", handed_in_at=LATER)
    gallery = gather_gallery(row.object, user=row.photographer, now=LATER)
    (exposure,) = gallery.pictures[0].exposures
    (laid,) = exposure.tiles
    assert (laid.width_px, laid.height_px) == size
    assert laid.info is not None
    assert laid.info["id"] == service
    small: Any = browser.get(laid.src)
    assert b"".join(small.streaming_content)[:2] == b"\xff\xd8"

    # a person lays the tiles otherwise: the old joining no longer shows how they lie
    plan = joining.plan_of(row)
    assert plan is not None
    plates = [
        {"frame": p.frame, "column": p.column, "row": 1 - p.row, "quarters": 0, "mirrored": False}
        for p in plan.plates
    ]
    PlateMap.objects.create(deliverable=row, plates=plates, note="So.", by=row.photographer)
    answer = browser.get(f"{service}/info.json")
    assert answer.status_code == 503
    assert "uncertain" not in answer.content.decode()
    gallery = gather_gallery(row.object, user=row.photographer, now=LATER)
    assert gallery.pictures == (), "its tiles have no small pictures here"


def test_derived_files_of_a_joined_picture_that_are_gone_are_made_again(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", tiles)
    row = work_off(line)
    made = Join.objects.get(deliverable=row)
    assert lost_joins() == []
    files = [Path(settings.DERIVED_DIR) / each["path"] for each in made.pictures]
    before = {path: path.read_bytes() for path in files if path.name.endswith("inverted.tif")}
    assert len(before) == 1
    for path in files:
        path.unlink()
    out = StringIO()
    call_command("rebuild_derivatives", "--json", "--no-wait", stdout=out)
    assert json.loads(out.getvalue())["joined pictures"] == 1
    run(Job.objects.get(kind="join").pk, now=timezone.now() + hours(1))
    assert all(path.is_file() for path in files)
    assert {path: path.read_bytes() for path in before} == before
    assert Join.objects.get(deliverable=row).sha256 == made.sha256


def test_an_uncertain_joining_stands_for_nothing_until_a_person_lays_the_tiles(
    line: ShotLine, tiles: list[np.ndarray], tmp_path: Path
) -> None:
    place(line, tmp_path / "card", tiles)
    row = work_off(line)
    made = Join.objects.get(deliverable=row)
    assert standing_join(row) == made
    Join.objects.filter(pk=made.pk).update(verdict="uncertain")
    assert standing_join(row) is None
    assert "uncertain" in why_none(row)
    plan = joining.plan_of(row)
    assert plan is not None
    plates = [[p.frame, p.column, p.row] for p in plan.plates]
    PlateMap.objects.create(
        deliverable=row,
        plates=[
            {"frame": frame, "column": x, "row": y, "quarters": 0, "mirrored": False}
            for frame, x, y in plates
        ],
        note="The markers read so.",
        by=row.photographer,
    )
    Join.objects.filter(pk=made.pk).update(ingredients={**made.ingredients, "is_fixed": True})
    assert standing_join(row) == made
