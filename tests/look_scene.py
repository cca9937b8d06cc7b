"""A painting with pictures in several techniques and states, small and without files."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Deliverable, Registration
from imaging_requests.deliverables.registering import CODE_VERSION
from imaging_requests.intake.models import Derivative, Frame
from tests import factory
from tests.factory import LONG_AGO

WIDTH_MM, HEIGHT_MM = 600.0, 400.0
PX_PER_MM = 2.0


def painting(**more: Any) -> CollectionObject:
    """An object whose face is 600 x 400 mm."""
    factory.rules()
    return factory.museum_object(
        "AR 0070",
        "The Quarantine Island",
        **({"width_mm": WIDTH_MM, "height_mm": HEIGHT_MM} | more),
    )


def pictured(
    thing: CollectionObject,
    technique: str = "VF",
    face: str = "F",
    variant: str = "",
    *,
    evs: tuple[float, ...] = (0.0,),
    days: float = 0,
    size_px: tuple[int, int] = (1280, 1000),
    **more: Any,
) -> Deliverable:
    """A picture with its frames and their small pictures; no file stands behind them."""
    frames = [
        factory.frame(width_px=size_px[0], height_px=size_px[1], ev=ev, format="tiff") for ev in evs
    ]
    for frame in frames:
        derive(frame)
    return factory.deliverable(
        thing,
        technique,
        face,
        variant,
        frames=frames,
        kind="single" if len(evs) == 1 else "bracket",
        px_per_mm=PX_PER_MM,
        captured_at=LONG_AGO + timedelta(days=days),
        **more,
    )


def derive(frame: Frame) -> None:
    """Say that the small pictures and the pyramid of a frame are made."""
    width, height = frame.width_px or 1, frame.height_px or 1
    for kind, longest in (("256", 256), ("1024", 1024), ("pyramid", max(width, height))):
        scale = longest / max(width, height)
        Derivative.objects.create(
            frame=frame,
            kind=kind,
            recipe=f"r{frame.pk}",
            path=f"{kind}-{frame.pk}",
            width_px=round(width * scale),
            height_px=round(height * scale),
        )


def registered(row: Deliverable, matrix: list[list[float]], **more: Any) -> Registration:
    """A measured placement of a picture."""
    values: dict[str, Any] = {
        "means": "outline",
        "code_version": CODE_VERSION,
        "width_px": 1280,
        "height_px": 1000,
        "px_to_face_mm": matrix,
        "residual_mm": 0.21,
        "verdict": "pass",
    }
    return Registration.objects.create(deliverable=row, frame=row.cover, **(values | more))
