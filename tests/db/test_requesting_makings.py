"""How a view is made is worked out once for each object, and anew for each detail."""

from __future__ import annotations

import pytest

from imaging_requests.collection.models import Kind
from imaging_requests.protocols.queries import protocol_of, studio_settings_of
from imaging_requests.requesting import duties
from imaging_requests.requesting.known_facts import shot_facts
from tests import factory


@pytest.fixture
def known(db: None) -> duties.Known:
    version, numbers, _ = factory.rules()
    row = factory.facts(factory.museum_object(with_facts=False))
    return duties.Known(
        object_id=row.object_id,
        kind=Kind.PAINTING,
        facts=shot_facts(row, kind=Kind.PAINTING),
        settings=studio_settings_of(numbers),
        pins=(duties.Pin(protocol=protocol_of(version), entry_ids=(1,)),),
        surfaces={},
    )


def test_a_view_before_and_after_treatment_is_worked_out_once(
    known: duties.Known, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    real = duties.making_of
    monkeypatch.setattr(
        duties, "making_of", lambda view, *a, **k: asked.append(view) or real(view, *a, **k)
    )
    first = known.making_for("UV", "F", "")
    again = known.making_for("UV", "F", "")
    assert again == first
    assert len(asked) == 1
    assert known.making_for("RK", "F", "L") != known.making_for("RK", "F", "T")
    assert len(asked) == 3


def test_two_details_of_one_technique_are_two_makings(known: duties.Known) -> None:
    region = [10, 10, 200, 150]
    fine, coarse = (
        known.making_for("UV", "F", name, {"name": name, "region_mm": region, "px_per_mm": density})
        for name, density in (("mouth", 48), ("hand", 24))
    )
    assert (fine.px_per_mm, coarse.px_per_mm) == (48, 24)
    assert known.making_for("UV", "F", "").px_per_mm < 24
