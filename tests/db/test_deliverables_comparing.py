"""What changed between two pictures: computed from masters in the background, kept and shown."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.conf import settings
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from imaging_requests.campaigns.models import SetupCard
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.actions.comparing import COMPARE
from imaging_requests.deliverables.models import Comparison, Deliverable, RetestPair
from imaging_requests.intake import store
from imaging_requests.intake.jobs import Outcome, enqueue, run
from imaging_requests.intake.models import Job
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import AuditEvent, User
from tests import factory
from tests.factory import LONG_AGO, hours
from tests.pure import comparison_scenes as scenes

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.any_database,
    pytest.mark.xdist_group("comparing pictures"),
]
CARD = {
    "tilt_deg": 0,
    "sensor_to_object_mm": 2400,
    "azimuths_deg": [300, 60],
    "lamps": ["flash head A, serial 1", "flash head B, serial 2"],
    "elevation_deg": 45,
    "polarisation": "crossed",
    "body_serial": "B1",
    "lens_serial": "L1",
    "aperture": 8,
}


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Two shots with nothing done in between, and a later one with a darker patch."""
    folder = tmp_path_factory.mktemp("shots")
    pair = scenes.shots()
    changed = pair.after.pixels.copy()
    changed[150:210, 200:260] = (changed[150:210, 200:260] * 0.7).astype(np.uint16)
    return {
        "before": scenes.write(folder / "before.tif", pair.before),
        "again": scenes.write(folder / "again.tif", pair.after),
        "changed": scenes.write(folder / "changed.tif", pair.after, changed),
    }


@pytest.fixture
def thing(stores: Path) -> Any:
    factory.rules()
    made = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.facts(made, width_mm=160, height_mm=120)
    return made


@pytest.fixture
def runa() -> User:
    return factory.conservator()


def taken(thing: Any, path: Path, days: int, folder: Path, technique: str = "VF") -> Deliverable:
    """A picture with a true master in the store, shot by a card of its own."""
    card = factory.setup_card(technique=technique)
    SetupCard.objects.filter(pk=card.pk).update(values=CARD)
    card.refresh_from_db()
    at = LONG_AGO + hours(24 * days)
    line = factory.shot_line(factory.session(starts_at=at), thing, technique, setup_card=card)
    part = folder / f"{days}.tif"
    shutil.copy(path, part)
    sha256 = hashlib.sha256(part.read_bytes()).hexdigest()
    if store.readable_path(sha256, "tif") is None:
        store.put(part, sha256=sha256, extension="tif")
    with Image.open(path) as picture:
        width, height = picture.size
    frame = factory.frame(
        line,
        sha256=sha256,
        width_px=width,
        height_px=height,
        structure={"exif": {"body_serial": "B1", "lens_serial": "L1", "f_number": 8.0}},
    )
    return factory.deliverable(
        thing, technique, frames=[frame], captured_at=at, shot_line=line, px_per_mm=3
    )


def compared(runa: User, one: Deliverable, other: Deliverable) -> Comparison:
    made = actions.ask_for_comparison(actor=runa, one_id=one.pk, other_id=other.pk)
    job = Job.objects.get(kind=COMPARE, subject_id=made.pk)
    assert run(job.pk, now=timezone.now() + hours(1)) is Outcome.DONE
    made.refresh_from_db()
    return made


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def test_a_darker_patch_is_mapped_kept_and_shown_with_its_sentence(
    thing: Any, files: dict[str, Path], runa: User, tmp_path: Path
) -> None:
    before = taken(thing, files["before"], 0, tmp_path)
    after = taken(thing, files["changed"], 30, tmp_path)
    waiting = actions.ask_for_comparison(actor=runa, one_id=after.pk, other_id=before.pk)
    page = signed_in(runa).get(reverse("deliverables:comparison", args=[waiting.pk]))
    assert "What changed is being computed" in page.content.decode()
    made = compared(runa, after, before)
    assert (made.pk, made.before_id, made.after_id) == (waiting.pk, before.pk, after.pk)
    assert made.verdict == Comparison.Verdict.MAPPED, made.sentence
    zone = made.report["map"]["zones"][0]
    assert zone["width_mm"] == pytest.approx(20, abs=2)
    assert made.noise_floor is not None
    path = Path(settings.DERIVED_DIR) / made.picture
    with Image.open(path) as picture:
        assert picture.size == (made.width_px, made.height_px)
    # doing it twice does it once; a picture that was swept away is drawn again
    first = path.stat().st_mtime_ns
    compared(runa, before, after)
    assert path.stat().st_mtime_ns == first
    path.unlink()
    assert compared(runa, before, after).recipe == made.recipe
    assert path.is_file()
    client = signed_in(runa)
    page = client.get(reverse("deliverables:comparison", args=[made.pk])).content.decode()
    assert made.sentence in page
    # 400 of 160 × 120 mm²; the dark ground around the painting is no part of the face
    zones = sum(each["area_mm2"] for each in made.report["map"]["zones"])
    assert made.report["map"]["marked_percent"] == pytest.approx(zones / 192, abs=0.05)
    assert f"{zones / 192:.1f} % of the face changed visibly" in page
    drawn = client.get(reverse("deliverables:comparison_picture", args=[made.pk]))
    assert (drawn.status_code, drawn["Content-Type"]) == (200, "image/png")
    assert b"".join(drawn.streaming_content) == path.read_bytes()  # type: ignore[arg-type]
    assert AuditEvent.objects.filter(code="deliverables.comparison_asked").count() == 1


def test_a_share_of_the_picture_is_not_called_one_of_the_face(
    thing: Any, files: dict[str, Path], runa: User, tmp_path: Path
) -> None:
    factory.facts(thing, width_mm=690, height_mm=840)
    before = taken(thing, files["before"], 0, tmp_path)
    made = compared(runa, before, taken(thing, files["changed"], 30, tmp_path))
    because = "the outline that was found measures 160 × 120 mm and not the recorded 690 × 840 mm"
    page = signed_in(runa).get(reverse("deliverables:comparison", args=[made.pk]))
    words = page.content.decode()
    assert ("of the face" in words, "% of the picture changed visibly" in words) == (False, True)
    assert because in words
    Comparison.objects.filter(pk=made.pk).update(report=_without_shares(made.report))
    words = signed_in(runa).get(reverse("deliverables:comparison", args=[made.pk]))
    assert "Compute it again" in words.content.decode()


def _without_shares(report: dict[str, Any]) -> dict[str, Any]:
    """A report as it was kept before it said what its shares are of."""
    kept = {key: value for key, value in report["map"].items() if not key.startswith("shares_")}
    return report | {"map": kept}


def test_a_retest_raises_the_floor_of_its_station(
    thing: Any, files: dict[str, Path], runa: User, tmp_path: Path
) -> None:
    before = taken(thing, files["before"], 0, tmp_path)
    again = taken(thing, files["again"], 1, tmp_path)
    made = compared(runa, before, again)
    assert made.report["map"]["marked_percent"] < 1
    lead = factory.lead()
    with pytest.raises(NotAllowed):
        actions.vouch_retest(actor=runa, comparison_id=made.pk, note="Shot twice.")
    client = signed_in(lead)
    address = reverse("deliverables:comparison_retest", args=[made.pk])
    assert client.post(address, {"note": ""}).status_code == 422
    assert client.post(address, {"note": "Shot twice on two days."}).status_code == 302
    kept = RetestPair.objects.get()
    assert (kept.unit, kept.technique, kept.station.code) == ("ΔE00", "VF", "bay")
    assert kept.floor == made.noise_floor
    with pytest.raises(DomainError, match="kept as one already"):
        actions.vouch_retest(actor=lead, comparison_id=made.pk, note="Again.")
    rows = RetestPair.objects.filter(pk=kept.pk)
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        rows.update(floor=9.0)
    with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
        rows.delete()
    later = compared(runa, before, taken(thing, files["changed"], 30, tmp_path))
    assert later.report["map"]["floor"] >= kept.floor
    page = client.get(reverse("deliverables:comparison", args=[later.pk])).content.decode()
    assert "from the retest kept on" in page


def test_no_retest_where_something_was_done_in_between(
    thing: Any, files: dict[str, Path], runa: User, tmp_path: Path
) -> None:
    before = taken(thing, files["before"], 0, tmp_path)
    again = taken(thing, files["again"], 20, tmp_path)
    made = compared(runa, before, again)
    factory.treatment(thing, rows=(2,), state="finished", finished_at=LONG_AGO + hours(24 * 10))
    with pytest.raises(DomainError, match="something was done to the object in between"):
        actions.vouch_retest(actor=factory.lead(), comparison_id=made.pk, note="Nothing.")


def test_a_damaged_master_is_an_answer_in_words(
    thing: Any, files: dict[str, Path], runa: User, tmp_path: Path
) -> None:
    before = taken(thing, files["before"], 0, tmp_path)
    broken = tmp_path / "broken.tif"
    broken.write_bytes(files["again"].read_bytes()[:40_000])
    made = compared(runa, before, taken_as_is(thing, broken, tmp_path))
    assert made.verdict == Comparison.Verdict.NOT_COMPARED
    assert "damaged" in made.sentence or "not complete" in made.sentence or "ends" in made.sentence
    page = signed_in(runa).get(reverse("deliverables:comparison", args=[made.pk]))
    assert "These two pictures cannot be compared" in page.content.decode()


def taken_as_is(thing: Any, path: Path, folder: Path) -> Deliverable:
    """A picture whose master no reader opens."""
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    part = folder / "as-is.tif"
    shutil.copy(path, part)
    store.put(part, sha256=sha256, extension="tif")
    at = LONG_AGO + hours(24 * 40)
    line = factory.shot_line(factory.session(starts_at=at), thing, "VF")
    frame = factory.frame(line, sha256=sha256, width_px=100, height_px=100)
    return factory.deliverable(
        thing, "VF", frames=[frame], captured_at=at, shot_line=line, px_per_mm=3
    )


def test_two_views_and_one_picture_are_refused_in_words(
    thing: Any, files: dict[str, Path], runa: User, tmp_path: Path
) -> None:
    one = factory.deliverable(thing, "VF", captured_at=LONG_AGO)
    other = factory.deliverable(thing, "UV", captured_at=LONG_AGO)
    with pytest.raises(DomainError, match="different faces or techniques"):
        actions.ask_for_comparison(actor=runa, one_id=one.pk, other_id=other.pk)
    with pytest.raises(DomainError, match="Two pictures are needed"):
        actions.ask_for_comparison(actor=runa, one_id=one.pk, other_id=one.pk)
    bare = factory.deliverable(thing, "VF", captured_at=LONG_AGO + hours(1))
    made = compared(runa, one, bare)
    assert made.verdict == Comparison.Verdict.NOT_COMPARED
    assert "no frame that can be compared" in made.sentence
    assert signed_in(runa).post(reverse("deliverables:compare_new"), {"p": "x"}).status_code == 404
    answer = signed_in(runa).post(
        reverse("deliverables:compare_new"), {"p": [str(one.pk), str(bare.pk)]}
    )
    assert answer.headers["Location"] == reverse("deliverables:comparison", args=[made.pk])


def test_a_job_for_a_comparison_that_is_gone_does_nothing() -> None:
    with transaction.atomic():
        job = enqueue(COMPARE, 987_654)
    assert run(job.pk, now=timezone.now() + hours(1)) is Outcome.DONE
