"""Owed views follow from protocols and treatments, exactly once, and end when nobody asks."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from imaging_requests.collection.models import CollectionObject, EntryObject, ObjectFacts
from imaging_requests.protocols.models import EntryPin
from imaging_requests.requesting import outlook
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import Demand, NotApplicable, OwedView, Waiver
from tests import factory
from tests.factory import COPPER_FACTS, NOW, PANEL_FACTS, WING_FACTS

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


def codes(obj: CollectionObject, anchor: str = "CUR") -> list[str]:
    """The views in force in short, such as RK-F-L, sorted."""
    views = obj.owed_views.filter(ended_at=None, anchor=anchor)
    return sorted(
        "-".join(part for part in (view.technique, view.face, view.variant) if part)
        for view in views
    )


CANVAS_CODES = [
    "IR-F",
    "RK-B-L",
    "RK-F-L",
    "RK-F-T",
    "UV-B",
    "UV-F",
    "VC-F",
    "VF-B",
    "VF-F",
    "XR-T",
]


@pytest.mark.parametrize(
    ("facts", "number"),
    [
        ({}, 10),
        (PANEL_FACTS, 11),
        (COPPER_FACTS, 8),
        (WING_FACTS, 14),
        (
            {
                "height_mm": 1450,
                "width_mm": 1020,
                "depth_mm": 6,
                "warp_mm": 8,
                "painted_faces": "FB",
                "framed": False,
                "flash_allowed": False,
            },
            11,
        ),
        ({"glazed": True, "sealed": True, "flash_allowed": False, "light_class": "high"}, 1),
    ],
    ids=["canvas", "warped panel", "copper", "two-sided wing", "banner", "sealed gouache"],
)
def test_counts_of_the_kinds_of_object(facts: dict, number: int) -> None:
    obj = factory.museum_object(**facts)
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    assert len(codes(obj)) == number


def test_a_canvas_is_owed_its_views_with_their_making() -> None:
    obj = factory.museum_object(height_mm=920, width_mm=740, depth_mm=28, warp_mm=4, weight_kg=7)
    entry = factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    assert codes(obj) == CANVAS_CODES
    views = {(v.technique, v.face, v.variant): v for v in obj.owed_views.all()}
    visible = views["VF", "F", ""]
    assert (visible.px_per_mm, visible.tolerance_percent) == (12, 5)
    assert visible.min_coverage_percent == 99.5
    assert visible.surface == "F.1"
    assert visible.spec["tiles"] == [1, 2]
    assert visible.spec["minutes"] == 30
    assert visible.spec["desk_minutes"] == 19
    assert views["UV", "F", ""].spec["exposures_ev"] == [-1, 0, 1, 2]
    assert views["RK", "F", "L"].spec["exposures_ev"] == [-1, 0, 1]
    assert views["RK", "F", "L"].spec["cautions"]
    assert views["XR", "T", ""].spec["frames"] == 6
    assert sum(v.spec["frames"] for v in obj.owed_views.all()) == 35
    assert sum(v.spec["desk_minutes"] for v in obj.owed_views.all()) == 209
    demand = visible.demands.get()
    assert (demand.source, demand.entry, demand.protocol_line) == ("protocol", entry, "painted.vf")
    assert "provisional" not in visible.spec


def test_not_applicable_is_written_with_the_reason_of_the_rule() -> None:
    obj = factory.museum_object(**COPPER_FACTS)
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    row = obj.not_applicable.get()
    assert (row.technique, row.face, row.rule) == ("XR", "T", "metal-support")
    assert "metal plate hides the paint" in row.reason
    assert "XR-T" not in codes(obj)


def test_a_changed_fact_moves_a_view_between_owed_and_not_applicable() -> None:
    obj = factory.museum_object()
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    factory.facts(obj, at=LATER, support="copper")
    sync_owed_views([obj.pk], LATER)
    ended = obj.owed_views.get(technique="XR")
    assert ended.ended_at == LATER
    assert ended.end_reason.startswith("Not applicable: the metal plate")
    assert ended.demands.get().until == LATER
    even_later = LATER + timedelta(hours=1)
    factory.facts(obj, at=even_later, support="canvas")
    sync_owed_views([obj.pk], even_later)
    assert obj.not_applicable.get().until == even_later
    back = obj.owed_views.get(technique="XR")
    assert (back.pk, back.ended_at, back.end_reason) == (ended.pk, None, "")
    assert back.demands.get(until=None).since == even_later


def test_a_second_run_changes_nothing() -> None:
    obj = factory.museum_object(**PANEL_FACTS)
    factory.entry(obj)
    factory.treatment(obj, state="under_way", finished_at=NOW - timedelta(days=3))
    sync_owed_views([obj.pk], NOW)

    def rows() -> list:
        return [
            list(model.objects.order_by("pk").values())
            for model in (OwedView, Demand, NotApplicable)
        ]

    before = rows()
    assert before[0]
    assert before[1]
    with CaptureQueriesContext(
        connection,
    ) as queries:
        sync_owed_views([obj.pk], LATER)
    assert rows() == before
    assert [
        q["sql"] for q in queries if not q["sql"].startswith(("SELECT", "SAVEPOINT", "RELEASE"))
    ] == []


def test_missing_facts_give_provisional_views() -> None:
    obj = factory.museum_object(
        height_mm=550, width_mm=700, depth_mm=None, warp_mm=None, glazed=None
    )
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    assert len(codes(obj)) == 10
    view = obj.owed_views.get(technique="VF", face="F")
    assert view.spec["provisional"] is True
    assert set(view.spec["missing"]) >= {"depth_mm", "warp_mm", "glazed"}
    assert view.spec["tiles"] == [1, 1]


def test_unmeasured_objects_have_no_geometry_yet() -> None:
    obj = factory.museum_object(height_mm=None)
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    view = obj.owed_views.get(technique="VF", face="F")
    assert view.spec["provisional"] is True
    assert view.spec["tiles"] is None
    assert view.spec["minutes"] is None
    assert view.px_per_mm == 24


def test_an_object_without_any_record_of_facts_does_not_break_anything() -> None:
    obj = factory.museum_object(with_facts=False)
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    assert obj.owed_views.filter(ended_at=None).exists()
    assert all(view.spec["provisional"] for view in obj.owed_views.all())


def test_two_catalogues_with_different_versions_share_the_views() -> None:
    obj = factory.museum_object()
    third = factory.entry(obj)
    second = factory.entry(
        obj, pinned_to=factory.protocol(2), catalogue=factory.catalogue("Harbours in Print")
    )
    sync_owed_views([obj.pk], NOW)
    asked = Counter(
        demand.entry_id for demand in Demand.objects.filter(until=None, source="protocol")
    )
    assert asked[third.pk] == 10
    assert 0 < asked[second.pk] < 10
    assert obj.owed_views.filter(ended_at=None).count() == 10


def test_moving_an_entry_to_another_version_ends_and_adds() -> None:
    obj = factory.museum_object()
    entry = factory.entry(obj, pinned_to=factory.protocol(2))
    sync_owed_views([obj.pk], NOW)
    assert "VC-F" not in codes(obj)
    EntryPin.objects.create(entry=entry, protocol=factory.protocol(3), pinned_at=LATER)
    sync_owed_views([obj.pk], LATER)
    assert codes(obj) == CANVAS_CODES


def test_an_object_that_leaves_the_catalogue_keeps_what_requests_ask() -> None:
    obj = factory.museum_object()
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    line = factory.request_line(factory.request(), obj, state="agreed")
    wished = obj.owed_views.get(technique="UV", face="F")
    Demand.objects.create(owed_view=wished, source="request", request_line=line, since=NOW)
    EntryObject.objects.update(removed_at=LATER)
    sync_owed_views([obj.pk], LATER)
    assert codes(obj) == ["UV-F"]
    assert wished.demands.get(until=None).request_line == line
    gone = obj.owed_views.get(technique="IR")
    assert gone.end_reason == "No protocol, treatment or request asks for it any more."


def test_parts_of_an_ensemble_are_owed_and_the_ensemble_is_not() -> None:
    whole = factory.museum_object("AR 0003", kind="ensemble", with_facts=False)
    wing = factory.museum_object("AR 0003.2", kind="wing", part_of=whole, **WING_FACTS)
    fragment = factory.museum_object("AR 0003.2a", kind="fragment", part_of=wing, **PANEL_FACTS)
    factory.entry(whole)
    sync_owed_views([whole.pk, wing.pk, fragment.pk], NOW)
    assert (len(codes(whole)), len(codes(wing)), len(codes(fragment))) == (0, 14, 11)


def test_a_merged_object_is_owed_nothing() -> None:
    kept, double = factory.museum_object(), factory.museum_object()
    factory.entry(kept, double)
    sync_owed_views([kept.pk, double.pk], NOW)
    CollectionObject.objects.filter(pk=double.pk).update(record_state="merged", merged_into=kept)
    sync_owed_views([kept.pk, double.pk], LATER)
    assert codes(double) == []
    assert codes(kept) == CANVAS_CODES


def test_a_new_measurement_reaches_only_views_that_are_not_captured(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    obj = factory.museum_object(height_mm=395, width_mm=300)
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    made = obj.owed_views.get(technique="VF", face="F")
    monkeypatch.setitem(
        outlook._lookups,
        "plans",
        lambda ids: {made.pk: outlook.Plan(is_captured=True)} if made.pk in ids else {},
    )
    factory.facts(obj, at=LATER, height_mm=405, width_mm=300)
    sync_owed_views([obj.pk], LATER)
    assert obj.owed_views.get(pk=made.pk).px_per_mm == 24
    assert obj.owed_views.get(technique="VC", face="F").px_per_mm == 12


def test_waivers_lapse_on_their_date() -> None:
    obj = factory.museum_object()
    factory.entry(obj)
    sync_owed_views([obj.pk], NOW)
    view = obj.owed_views.get(technique="XR")
    waiver = Waiver.objects.create(
        owed_view=view,
        reason_code="other",
        text="The tube is away.",
        granted_by=factory.lead(),
        granted_at=NOW,
        lapses_at=LATER,
    )
    sync_owed_views([obj.pk], LATER - timedelta(minutes=1))
    waiver.refresh_from_db()
    assert waiver.ended_at is None
    sync_owed_views([obj.pk], LATER)
    waiver.refresh_from_db()
    assert (waiver.ended_at, waiver.end_reason) == (LATER, "Its date was reached.")


def test_reads_do_not_grow_with_the_number_of_objects() -> None:
    def queries_for(number: int) -> int:
        objects = [factory.museum_object(**PANEL_FACTS) for _ in range(number)]
        for obj in objects:
            factory.entry(obj)
            factory.treatment(obj, finished_at=NOW - timedelta(days=2), state="finished")
        ids = [obj.pk for obj in objects]
        sync_owed_views(ids, NOW)
        with CaptureQueriesContext(connection) as queries:
            sync_owed_views(ids, NOW)
        return len(queries)

    few, many = queries_for(2), queries_for(12)
    assert few == many
    assert 0 < few < 25
    assert ObjectFacts.objects.count() == 14
