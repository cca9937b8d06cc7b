"""A frame in use stays where it is until its picture is sent back or recalled."""

from __future__ import annotations

from typing import Any

import pytest

from imaging_requests.deliverables.models import DeliverableState
from imaging_requests.intake.actions import take_back
from imaging_requests.people.errors import IllegalStep
from tests.db.test_deliverables_actions import (  # noqa: F401
    amaro,
    handed_in,
    line,
    obj,
    send_back,
    signe,
)

pytestmark = pytest.mark.django_db


def test_a_frame_of_a_picture_under_review_is_not_taken_back(
    line: Any,  # noqa: F811
    amaro: Any,  # noqa: F811
    signe: Any,  # noqa: F811
) -> None:
    row = handed_in(line, amaro)
    frame = row.deliverable_frames.first().frame  # type: ignore[union-attr]
    with pytest.raises(IllegalStep, match=r"This frame is part of .*, which is to review"):
        take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version)
    send_back(row, signe, "focus")
    row.refresh_from_db()
    assert row.state == DeliverableState.SENT_BACK
    frame.refresh_from_db()
    assert take_back(actor=amaro, frame_id=frame.pk, read_version=frame.row_version).pk == frame.pk
