"""What outer rooms tell the room of requests: what is to shoot, where a region can be drawn."""

from __future__ import annotations

from datetime import timedelta

import pytest

from imaging_requests.collection.models import StaleMark
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake.models import Derivative, Frame
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.settle import settle
from imaging_requests.requesting import outlook
from imaging_requests.requesting.models import OwedView
from imaging_requests.treatments.models import Intervention
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _rules() -> None:
    factory.rules()


def test_only_what_is_still_to_be_shot_is_offered() -> None:
    obj = factory.museum_object()
    factory.entry(obj)
    settle()
    views = OwedView.objects.filter(object=obj)
    assert set(outlook.open_only(views)) == set(views)
    filed = views.get(technique="UV", face="F")
    ViewStatus.objects.filter(owed_view=filed).update(status="filed", is_met=True)
    undone = views.get(technique="VC")
    ViewStatus.objects.filter(owed_view=undone).update(status="out_of_date")
    assert filed not in outlook.open_only(views)
    assert undone in outlook.open_only(views)


def test_an_object_that_was_never_derived_is_derived_when_it_is_asked_about() -> None:
    obj = factory.museum_object()
    entry = factory.entry(obj)
    view = factory.owed_view(obj, demanded_by=entry)
    assert outlook.standing_of([view.pk])[view.pk].status == "open"


def accepted(technique: str, face: str = "F", **extra: object) -> Deliverable:
    obj = extra.pop("obj")
    frame = Frame.objects.create(
        sha256=f"{Frame.objects.count():064}",
        size_bytes=10,
        first_name="DSC_0001.TIF",
        extension="tif",
        width_px=5000,
        height_px=4000,
    )
    Derivative.objects.create(
        frame=frame, kind="1024", recipe="r", path="p", width_px=1024, height_px=819
    )
    values = {
        "kind": "bracket",
        "state": "accepted",
        "captured_at": NOW,
        "handed_in_at": NOW,
        "px_per_mm": 4,
        "is_complete": True,
    } | extra
    return Deliverable.objects.create(
        object=obj,
        face=face,
        surface=f"{face}.1",
        technique=technique,
        cover=frame,
        photographer=factory.User.objects.filter(name="Amaro").first() or factory.photographer(),
        **values,
    )


def test_a_region_is_drawn_on_the_best_picture_that_one_frame_shows_whole() -> None:
    obj = factory.museum_object(width_mm=1060, height_mm=790)
    accepted("RK", obj=obj, variant="L")
    raking = accepted("RK", obj=obj, variant="T", captured_at=NOW + hours(1))
    accepted("VF", obj=obj, kind="mosaic")
    accepted("UV", obj=obj, captured_at=NOW + hours(2))
    accepted("VF", obj=obj, state="sent_back")
    back = accepted("UV", "B", obj=obj)
    front, behind = outlook.pictures_of(obj.pk)
    assert front.src.endswith(f"{raking.cover_id}/1024/")
    assert behind.face == "B"
    assert behind.src.endswith(f"/{back.cover_id}/1024/")
    assert (front.width_mm, front.height_mm) == (1250, 1000)
    assert (front.left_mm, front.top_mm) == (-95, -75), "the strip of targets lies below the face"
    assert "not measured" in front.note


def test_nothing_is_drawn_on_an_object_without_size() -> None:
    obj = factory.museum_object(width_mm=None)
    accepted("RK", obj=obj)
    assert outlook.pictures_of(obj.pk) == ()


def test_an_x_ray_is_owed_while_the_back_is_bare() -> None:
    """Its window is that of the back, although it has a surface of its own."""
    obj = factory.museum_object("AR 0058")
    factory.entry(obj)
    treatment = factory.treatment(obj, (12,), scope=[["XR", "T", ["window"]]], state="under_way")
    bared = NOW - timedelta(days=2)
    Intervention.objects.filter(treatment=treatment).update(
        exposure_until=NOW + timedelta(days=400)
    )
    settle()
    view = OwedView.objects.get(anchor="WIN")
    assert outlook.standing_of([view.pk])[view.pk].status == "blocked", "the lining is still on"
    step = Intervention.objects.get(treatment=treatment)
    Intervention.objects.filter(pk=step.pk).update(
        state="finished", started_at=bared - hours(3), finished_at=bared
    )
    step.records.create(
        recorded_at=bared, state="finished", started_at=bared - hours(3), finished_at=bared
    )
    StaleMark.objects.create(object=obj, reason="step finished")
    assert outlook.standing_of([view.pk])[view.pk].status == "open"
