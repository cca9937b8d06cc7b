"""Pictures with true pyramids for tests of the picture service."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from django.conf import settings
from django.test import Client

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake.models import Derivative, Frame
from imaging_requests.people.models import User
from tests import factory

WIDE, HIGH, TILE = 1400, 1100, 512


def derive_pictures(frame: Frame, *, wide: int = WIDE, high: int = HIGH) -> None:
    """Write pyramid and thumbnails of a frame as the job does, with their rows."""
    rows, columns = np.mgrid[0:high, 0:wide]
    shade = (127 + 90 * np.sin(columns / 40) * np.cos(rows / 33)).astype(np.uint8)
    image = pyvips.Image.new_from_array(np.stack([shade, shade // 2, 255 - shade], -1))
    image = image.copy(interpretation="srgb")
    folder = Path(settings.DERIVED_DIR) / frame.sha256[:2] / frame.sha256
    folder.mkdir(parents=True, exist_ok=True)
    image.tiffsave(
        str(folder / "pyramid.tif"), pyramid=True, tile=True, tile_width=TILE, tile_height=TILE,
        compression="jpeg", Q=88,
    )  # fmt: skip
    sizes = {"pyramid": (wide, high)}
    for size in (256, 1024):
        small = image.thumbnail_image(size, height=size, size="down")
        small.jpegsave(str(folder / f"{size}.jpg"))
        sizes[str(size)] = (small.width, small.height)
    for kind, (width, height) in sizes.items():
        name = "pyramid.tif" if kind == "pyramid" else f"{kind}.jpg"
        Derivative.objects.create(
            frame=frame,
            kind=kind,
            recipe=f"recipe-{frame.pk}",
            path=str(Path(frame.sha256[:2]) / frame.sha256 / name),
            width_px=width,
            height_px=height,
        )


def pictured(
    obj: CollectionObject, technique: str = "UV", face: str = "F", **extra: Any
) -> Deliverable:
    """An accepted single picture of an object whose frame has been read."""
    frame = extra.pop("frame", None) or factory.frame()
    derive_pictures(frame)
    return factory.deliverable(obj, technique, face, frames=[frame], **extra)


def signed_in(user: User) -> Client:
    """A browser in which somebody has signed in."""
    client = Client()
    client.force_login(user)
    return client
