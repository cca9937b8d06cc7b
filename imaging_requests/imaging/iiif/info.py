"""Describe a picture to programs that ask for it: the information document of the Image API 3.0."""

from __future__ import annotations

from typing import Any

from imaging_requests.imaging.iiif.asked import Limits
from imaging_requests.imaging.iiif.pyramid import Pyramid

CONTEXT = "http://iiif.io/api/image/3/context.json"
PROTOCOL = "http://iiif.io/api/image"
LEVEL_DOCUMENT = "http://iiif.io/api/image/3/level2.json"
EXTRA_FEATURES = (
    "mirroring",
    "rotationArbitrary",
    "sizeUpscaling",
    "canonicalLinkHeader",
    "profileLinkHeader",
)


def describe(pyramid: Pyramid, *, address: str, limits: Limits) -> dict[str, Any]:
    """Return the information document (section 5) of the picture at ``address``.

    Sizes and tiles are those that cost least: the levels of the pyramid and their grid.
    """
    first = pyramid.levels[0]
    factors = [2**number for number in range(len(pyramid.levels))]
    sizes = [
        {"width": -(-pyramid.width_px // factor), "height": -(-pyramid.height_px // factor)}
        for factor in reversed(factors)
    ]
    colours = ["gray", "bitonal"] if pyramid.is_grey else ["color", "gray", "bitonal"]
    return {
        "@context": CONTEXT,
        "id": address,
        "type": "ImageService3",
        "protocol": PROTOCOL,
        "profile": "level2",
        "width": pyramid.width_px,
        "height": pyramid.height_px,
        "maxWidth": limits.max_side_px,
        "maxHeight": limits.max_side_px,
        "maxArea": limits.max_area_px,
        "sizes": [size for size in sizes if limits.allow(size["width"], size["height"])],
        "tiles": [
            {
                "width": first.tile_width_px,
                "height": first.tile_height_px,
                "scaleFactors": factors,
            }
        ],
        "preferredFormats": ["jpg"],
        "extraQualities": colours,
        "extraFeatures": list(EXTRA_FEATURES),
    }
