"""What treatments owe before, during, after, and while a surface is bare."""

from __future__ import annotations

from datetime import timedelta

import pytest

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError
from imaging_requests.requesting import outlook
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import OwedView, Waiver
from imaging_requests.requesting.scope import read_scope
from imaging_requests.treatments.models import Intervention, Treatment
from tests import factory
from tests.factory import NOW, PANEL_FACTS, hours

pytestmark = pytest.mark.django_db

FRONT = [["VF", "F"], ["VC", "F"], ["RK", "F"], ["UV", "F"]]
FRONT_CODES = ["RK-F-L", "RK-F-T", "UV-F", "VC-F", "VF-F"]


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


@pytest.fixture
def canvas() -> CollectionObject:
    obj = factory.museum_object("AR 0070", "The Quarantine Island")
    factory.entry(obj, number="23")
    return obj


def owed(treatment: Treatment, anchor: str) -> list[str]:
    """The views in force of a treatment in short, with the surface where it is not the first."""
    views = OwedView.objects.filter(treatment=treatment, anchor=anchor, ended_at=None)
    return sorted(
        "-".join(
            part
            for part in (
                view.technique,
                view.face if view.surface.endswith(".1") else view.surface,
                view.variant,
            )
            if part
        )
        for view in views
    )


def test_before_treatment_is_the_union_of_the_planned_steps(canvas: CollectionObject) -> None:
    treatment = factory.treatment(canvas, (1, 2, 6, 7), scope=[*FRONT, ["IR", "F"], ["XR", "T"]])
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "BT") == FRONT_CODES
    assert owed(treatment, "DT") == []
    assert owed(treatment, "AT") == []
    view = OwedView.objects.get(anchor="BT", technique="UV")
    assert view.anchor_key == f"BT:{treatment.pk}"
    assert view.anchor_phase == 1
    demand = view.demands.get()
    assert (demand.source, demand.treatment, demand.entry) == ("treatment", treatment, None)


def test_a_view_outside_the_scope_is_not_owed(canvas: CollectionObject) -> None:
    treatment = factory.treatment(canvas, (1, 2), scope=[["UV", "F"]])
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "BT") == ["UV-F"]


def test_examination_owes_nothing(canvas: CollectionObject) -> None:
    treatment = factory.treatment(canvas, (30,), scope=FRONT)
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "BT") == []


def test_the_cleaned_state_is_owed_once_the_treatment_is_under_way(
    canvas: CollectionObject,
) -> None:
    treatment = factory.treatment(
        canvas, (1, 2, 6, 7), scope=[*FRONT, ["IR", "F"]], state="under_way"
    )
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "DT") == ["IR-F"]
    assert OwedView.objects.get(anchor="DT").anchor_key == f"DT:{treatment.pk}:2"
    assert OwedView.objects.get(anchor="DT").anchor_step == 2


def test_steps_named_in_the_scope_are_documented(canvas: CollectionObject) -> None:
    scope = [*FRONT, ["VF", "F", [2]], ["UV", "F", [2]], ["IR", "F", [2]]]
    treatment = factory.treatment(
        canvas, (1, 2, 6, 7), scope=scope, state="signed_off", finished_at=NOW - hours(50)
    )
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "BT") == FRONT_CODES
    assert owed(treatment, "DT") == ["IR-F", "UV-F", "VF-F"]
    assert owed(treatment, "AT") == FRONT_CODES


def test_after_treatment_is_owed_only_when_every_step_has_ended(canvas: CollectionObject) -> None:
    treatment = factory.treatment(
        canvas, (1, 2), scope=FRONT, state="under_way", finished_at=NOW - hours(50)
    )
    last = Intervention.objects.get(treatment=treatment, step=2)
    Intervention.objects.filter(pk=last.pk).update(state="started", finished_at=None)
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "AT") == []
    Intervention.objects.filter(pk=last.pk).update(state="finished", finished_at=NOW - hours(1))
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "AT") == FRONT_CODES
    assert OwedView.objects.filter(anchor="AT").first().due_on == NOW.date()


def test_a_small_area_still_asks_for_the_view_after_it(canvas: CollectionObject) -> None:
    """The area rule makes a certain change a doubtful one: the conservator decides."""
    treatment = factory.treatment(
        canvas, (6,), scope=FRONT, state="finished", finished_at=NOW - hours(2)
    )
    Intervention.objects.update(area_cm2=3, area_percent=0.04)
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "AT") == ["UV-F", "VC-F", "VF-F"]


def test_dropped_steps_and_dropped_treatments_owe_nothing(
    canvas: CollectionObject, monkeypatch: pytest.MonkeyPatch
) -> None:
    treatment = factory.treatment(canvas, (1, 2), scope=FRONT)
    sync_owed_views([canvas.pk], NOW)
    made = OwedView.objects.get(anchor="BT", technique="UV")
    Intervention.objects.filter(step=2).update(state="dropped")
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "BT") == ["UV-F", "VC-F", "VF-F"]
    Treatment.objects.update(state="dropped")
    monkeypatch.setitem(
        outlook._lookups,
        "plans",
        lambda ids: {made.pk: outlook.Plan(is_captured=True)},
    )
    sync_owed_views([canvas.pk], NOW)
    assert owed(treatment, "BT") == ["UV-F"], "what was shot before it was dropped stays owed"


def test_phases_have_their_own_before_and_after() -> None:
    panel = factory.museum_object("AR 0012", **PANEL_FACTS)
    factory.entry(panel)
    scope = [["RK", "F"], ["XR", "T"], ["VF", "B"], ["RK", "B"], ["UV", "B"], ["VF", "E"]]
    treatment = factory.treatment(
        panel, (19,), scope=scope, state="under_way", finished_at=NOW - hours(24)
    )
    factory.Intervention.objects.create(
        treatment=treatment, object=panel, step=2, phase=2, type_row=20, recorded_at=NOW
    )
    sync_owed_views([panel.pk], NOW)
    first = OwedView.objects.filter(anchor_phase=1, ended_at=None)
    second = OwedView.objects.filter(anchor_phase=2, ended_at=None)
    assert first.filter(anchor="BT").count() == 7
    assert first.filter(anchor="AT").count() == 7
    assert second.filter(anchor="BT").count() == 7
    assert second.filter(anchor="AT").count() == 0
    assert second.first().anchor_key == f"BT:{treatment.pk}/2"


@pytest.mark.parametrize(
    ("is_lined", "seen", "bared"),
    [(False, "B.1", "B.2"), (True, "B.2", "B.1")],
    ids=["a lining nobody recorded", "a lining from the beginning"],
)
def test_a_lining_that_comes_off_opens_a_window_with_its_own_views(
    is_lined: bool, seen: str, bared: str
) -> None:
    obj = factory.museum_object("AR 0058", "The Drowned Orchard", is_lined=is_lined)
    factory.entry(obj)
    scope = [
        ["RK", "F"],
        ["VF", "B"],
        ["RK", "B"],
        ["UV", "B"],
        ["IR", "B", ["window"]],
        ["XR", "T", ["before", "after", "window"]],
    ]
    treatment = factory.treatment(obj, (16, 12, 13, 15), scope=scope, state="under_way")
    started = NOW - timedelta(days=7)
    steps = {step.step: step for step in Intervention.objects.all()}
    Intervention.objects.filter(pk=steps[1].pk).update(
        state="finished", started_at=started, finished_at=started + hours(3)
    )
    window_end = NOW + timedelta(days=29)
    Intervention.objects.filter(pk=steps[2].pk).update(exposure_until=window_end)
    sync_owed_views([obj.pk], NOW)
    back = seen.removesuffix(".1")
    expected = {f"RK-{back}-L", "RK-F-L", "RK-F-T", f"UV-{back}", f"VF-{back}", "XR-T"}
    assert set(owed(treatment, "BT")) == expected
    window = OwedView.objects.filter(anchor="WIN", ended_at=None)
    before = OwedView.objects.filter(anchor="BT", face="B", ended_at=None)
    assert {view.surface for view in before} == {seen}
    assert {view.surface for view in window if view.face == "B"} == {bared}
    assert {view.anchor_key for view in window} == {f"WIN:{bared}:{treatment.pk}"}
    assert len(window) == 5
    assert {view.anchor_event_id for view in window} == {steps[2].pk}
    assert {view.due_on for view in window} == {window_end.date()}


def test_the_back_follows_the_surface_that_lies_there(canvas: CollectionObject) -> None:
    sync_owed_views([canvas.pk], NOW - timedelta(days=9))
    assert canvas.owed_views.get(technique="VF", face="B").surface == "B.1"
    factory.treatment(
        canvas,
        (11,),
        scope=[["VF", "B", ["before"]]],
        is_emergency=True,
        state="signed_off",
        finished_at=NOW - timedelta(days=2),
    )
    sync_owed_views([canvas.pk], NOW)
    current = canvas.owed_views.filter(anchor="CUR", technique="VF", face="B")
    assert current.get(ended_at=None).surface == "B.2"
    assert current.get(surface="B.1").end_reason == "Another surface lies at this face now."
    before = OwedView.objects.get(anchor="BT")
    assert before.surface == "B.1", "as it lay there before the lining"


def test_a_waiver_lapses_when_a_later_step_changes_the_view(canvas: CollectionObject) -> None:
    sync_owed_views([canvas.pk], NOW - timedelta(days=9))
    lead = factory.lead()
    waivers = {
        technique: Waiver.objects.create(
            owed_view=canvas.owed_views.get(technique=technique, face="F"),
            reason_code="other",
            text="Nobody needs it.",
            granted_by=lead,
            granted_at=NOW - timedelta(days=8),
        )
        for technique in ("UV", "IR")
    }
    factory.treatment(
        canvas, (1,), scope=FRONT, state="finished", finished_at=NOW - timedelta(days=2)
    )
    sync_owed_views([canvas.pk], NOW)
    for waiver in waivers.values():
        waiver.refresh_from_db()
    assert waivers["UV"].ended_at == NOW
    assert waivers["UV"].end_reason == "A later treatment step changed what the view would show."
    assert waivers["IR"].ended_at is None, "cleaning does not change the infrared picture"


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (["ZZ", "F"], "take the technique from VF, VC, RK, UV, IR, XR"),
        (["UV", "Q"], "take the face from B, E, F, T"),
        (["UV-L", "F"], "give a direction to raking light only"),
        (["XR", "F"], "ask for X-rays through the object"),
        (["UV", "F", ["sometimes"]], "before, after, in a window, or after numbered steps"),
        (["UV", "F", []], "before, after, in a window, or after numbered steps"),
        ("UV-F", "name a technique and a face"),
    ],
)
def test_a_scope_that_cannot_be_meant_is_refused(item: object, words: str) -> None:
    with pytest.raises(DomainError, match=r"cannot be read") as refusal:
        read_scope([item])
    assert words in refusal.value.next_step


def test_a_scope_is_read_with_its_occasions() -> None:
    plain, narrow = read_scope([["RK-T", "F"], ["XR", "T", ["before", 3]]])
    assert (plain.direction, plain.is_plain, plain.asks("window")) == ("T", True, True)
    assert (narrow.steps, narrow.asks("before"), narrow.asks("after")) == ({3}, True, False)
