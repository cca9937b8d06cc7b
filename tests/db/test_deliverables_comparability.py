"""The grade of two pictures as the program knows them: cards, files, and what was done between."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from imaging_requests.campaigns.models import SetupCard
from imaging_requests.deliverables.comparability import grade_of
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake.models import Job
from imaging_requests.people.errors import DomainError
from tests import factory

pytestmark = pytest.mark.django_db

CARD = {
    "body": "Bay One",
    "body_serial": "B1",
    "lens": "Repro 120",
    "lens_serial": "L1",
    "tilt_deg": 0,
    "aperture": 8,
    "sensor_to_object_mm": 2400,
    "elevation_deg": 10,
    "lamp": "spot, serial 552",
}


CHART = {"chart": "strip-1", "chart_lab": [[50, 0, 0], [70, 5, 5]]}
TINTED = {"chart": "strip-1", "chart_lab": [[50, 8, 0], [70, 15, 5]]}
OTHER = {"chart": "classic-24", "chart_lab": [[50, 0, 0], [70, 5, 5]]}


def raking(obj: Any, days: int, *, exif: dict[str, Any] | None = None, **card: Any) -> Deliverable:
    """A raking picture shot by a card of its own, some days after the scene's long ago."""
    used: SetupCard = factory.setup_card(technique="RK")
    SetupCard.objects.filter(pk=used.pk).update(values=CARD | card)
    used.refresh_from_db()
    at = factory.LONG_AGO + timedelta(days=days)
    line = factory.shot_line(factory.session(starts_at=at), obj, "RK", variant="L", setup_card=used)
    frame = factory.frame(line, structure={"exif": exif or {"body_serial": "B1", "f_number": 8.0}})
    return factory.deliverable(
        obj, "RK", variant="L", frames=[frame], captured_at=at, shot_line=line
    )


@pytest.fixture
def obj() -> Any:
    factory.rules()
    made = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.facts(made)
    return made


def test_two_pictures_by_equal_cards_are_measurable(obj: Any) -> None:
    found = grade_of(raking(obj, 0), raking(obj, 30))
    assert (found.grade.value, found.warnings) == ("A", ())
    assert "never as a map" in found.sentence


def test_the_order_of_the_two_does_not_matter(obj: Any) -> None:
    early, late = raking(obj, 0), raking(obj, 30, elevation_deg=12)
    assert grade_of(early, late) == grade_of(late, early)
    assert grade_of(late, early).sentence.startswith(
        "Grade B: the lamp stood at 12.0° instead of 10.0°;"
    )


def test_what_the_file_says_overrides_the_card(obj: Any) -> None:
    other = raking(obj, 30, exif={"body_serial": "B2", "f_number": 8.0})
    found = grade_of(raking(obj, 0), other)
    assert found.grade.value == "B"
    assert found.warnings == ("The card says camera B1, the file says B2 (after).",)


def test_a_support_that_was_keyed_out_is_named_with_its_day(obj: Any) -> None:
    early, late = raking(obj, 0), raking(obj, 30)
    factory.treatment(
        obj, rows=(17,), state="finished", finished_at=factory.LONG_AGO + timedelta(days=10)
    )
    found = grade_of(early, late)
    assert found.grade.value == "C"
    assert "keyed out on " in found.sentence


def test_a_picture_without_a_card_is_indicative_at_best(obj: Any) -> None:
    bare = factory.deliverable(obj, "RK", variant="L", captured_at=factory.NOW)
    found = grade_of(raking(obj, 0), bare)
    assert found.grade.value == "C"
    assert "was not recorded" in found.sentence


def test_pictures_of_two_views_are_refused_in_words(obj: Any) -> None:
    with pytest.raises(DomainError, match="different faces or techniques"):
        grade_of(raking(obj, 0), factory.deliverable(obj, "UV"))
    other = factory.museum_object("AR 0071", "Salt")
    with pytest.raises(DomainError, match="show two objects"):
        grade_of(raking(obj, 0), factory.deliverable(other, "RK", variant="L"))


def read_as(row: Deliverable, **traits: Any) -> Deliverable:
    """What the job `measure` keeps of a picture's frame."""
    Job.objects.create(
        kind="measure",
        key=f"measure:{row.shot_line_id}",
        subject_id=row.shot_line_id,
        queue="pixels",
        state="done",
        result={"traits": {str(row.cover_id): {**traits, "ev": 0}}},
    )
    return row


def test_the_gauge_overrides_the_card_and_the_contradiction_is_said(obj: Any) -> None:
    early = read_as(raking(obj, 0), elevation_deg=10.2, azimuth_deg=270.5)
    late = read_as(raking(obj, 30), elevation_deg=14.0, azimuth_deg=283.0)
    found = grade_of(early, late)
    assert found.grade.value == "C"
    assert "the lamp stood at 14.0° instead of 10.2°" in found.sentence
    assert found.warnings == (
        "The card says lamp elevation 10.0°, the file shows 14.0° (after).",
        "The card says light from 270°, the file shows 283° (after).",
    )


def test_the_density_by_the_ruler_overrides_the_planned_one(obj: Any) -> None:
    planned = raking(obj, 0).px_per_mm
    late = read_as(raking(obj, 30), px_per_mm=planned * 1.02)
    found = grade_of(raking(obj, 0), late)
    assert found.grade.value == "B"
    assert "px/mm differ by 2.0 %" in found.sentence


@pytest.mark.parametrize(
    ("technique", "early", "late", "row", "grade", "words"),
    [
        ("UV", {"glow_level": 0.4}, {"glow_level": 0.42}, "patch", "A", "differ by 5 %"),
        ("UV", {"glow_level": 0.4}, {"glow_level": 0.6}, "patch", "C", "differ by 50 %"),
        ("UV", {"glow_level": 0.4}, {}, "patch", "C", "have not been compared"),
        ("IR", {"ink_percent": 2}, {"ink_percent": 31}, "band", "C", "ink lines differ by 29 %"),
        ("IR", {"ink_percent": 2}, {"ink_percent": 3}, "band", "A", "the same band"),
        ("VF", CHART, CHART, "chart", "A", "differ by 0.0 ΔE00"),
        ("VF", CHART, TINTED, "chart", "N", "ΔE00 on average"),
        ("VF", CHART, OTHER, "chart", "C", "have not been compared"),
    ],
)
def test_what_targets_showed_decides_its_row(
    obj: Any,
    technique: str,
    early: dict[str, Any],
    late: dict[str, Any],
    row: str,
    grade: str,
    words: str,
) -> None:
    rows = []
    for days, traits in ((0, early), (30, late)):
        used = factory.setup_card(technique=technique)
        SetupCard.objects.filter(pk=used.pk).update(values={"band_nm": [900, 1700]})
        at = factory.LONG_AGO + timedelta(days=days)
        line = factory.shot_line(factory.session(starts_at=at), obj, technique, setup_card=used)
        made = factory.deliverable(
            obj, technique, frames=[factory.frame(line)], captured_at=at, shot_line=line
        )
        rows.append(read_as(made, **traits))
    found = {each.row: each for each in grade_of(*rows).findings}[row]
    assert found.grade.value == grade
    assert words in found.reason


def test_a_grade_costs_a_fixed_number_of_queries(
    obj: Any, django_assert_max_num_queries: Any
) -> None:
    one, two = raking(obj, 0), raking(obj, 30)
    rows = list(
        Deliverable.objects.select_related("shot_line__setup_card", "cover").filter(
            pk__in=(one.pk, two.pk)
        )
    )
    with django_assert_max_num_queries(6):
        grade_of(*rows)
