"""Where a picture lies on its face: what the database takes and what it refuses."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import actions
from imaging_requests.deliverables.models import Registration
from tests import factory

pytestmark = pytest.mark.django_db
MATRIX = [[0.1, 0.0, -20.0], [0.0, 0.1, -20.0], [0.0, 0.0, 1.0]]


@pytest.fixture
def line() -> ShotLine:
    factory.rules()
    obj = factory.museum_object("AR 0070", "The Quarantine Island")
    made = factory.shot_line(factory.session(), obj, meets=[factory.owed_view(obj)])
    factory.frames_for(made)
    return made


def registration(line: ShotLine, **changes: Any) -> Registration:
    row = actions.assemble_line(shot_line_id=line.pk)
    assert row is not None
    assert row.cover is not None
    values = {
        "means": "outline",
        "code_version": 1,
        "width_px": 800,
        "height_px": 600,
        "px_to_face_mm": MATRIX,
        "residual_mm": 0.2,
        "verdict": "pass",
    } | changes
    return Registration.objects.create(deliverable=row, frame=row.cover, **values)


NOTHING = {"px_to_face_mm": None, "residual_mm": None, "means": "", "verdict": "cannot_tell"}


@pytest.mark.parametrize(
    "changes",
    [{}, {"verdict": "warn", "reason": "It fits roughly."}, NOTHING | {"reason": "No structure."}],
)
def test_a_map_and_a_reasoned_refusal_are_kept(line: ShotLine, changes: dict[str, Any]) -> None:
    made = registration(line, **changes)
    made.refresh_from_db()
    assert made.px_to_face_mm == changes.get("px_to_face_mm", MATRIX)


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"px_to_face_mm": None}, "has_a_matrix"),
        ({"residual_mm": None}, "has_a_matrix"),
        ({"residual_mm": -0.1}, "has_a_matrix"),
        ({"means": ""}, "has_a_matrix"),
        ({"verdict": "cannot_tell", "reason": "No structure."}, "has_a_matrix"),
        (NOTHING, "says_why"),
        ({"verdict": "warn"}, "says_why"),
    ],
)
def test_a_map_without_numbers_or_a_doubt_without_reason_is_refused(
    line: ShotLine, changes: dict[str, Any], name: str
) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        registration(line, **changes)


def test_one_map_for_each_version_of_the_code(line: ShotLine) -> None:
    registration(line)
    registration(line, code_version=2)
    with pytest.raises(IntegrityError), transaction.atomic():
        registration(line)
