"""Worked numbers of published guidelines: pixel values of L*, stars, stated and true density.

Sources, beside each check too:

- Metamorfoze Preservation Imaging Guidelines 1.0 (National Library of the Netherlands, 2012), 1.3
  to 1.5: pixel values of given L* in eciRGB v2 and Adobe RGB (1998).
- FADGI, Technical Guidelines for Digitizing Cultural Heritage Materials, 2016, pages 46 and 47:
  stars of paintings and other two-dimensional art.
- TIFF 6.0 (Adobe, 1992), page 38, and Exif 2.32: resolution unit 2 is the inch and the default,
  3 the centimetre.

Tone curves are those of colour-science 0.4.7; resolutions are written by Pillow's libtiff.
"""

from __future__ import annotations

import json
import math
import warnings

import numpy as np
import pytest
from PIL import Image

from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.measure.chart_read import gain_modulation
from imaging_requests.imaging.measure.edge import measure_edge
from imaging_requests.imaging.measure.encoding import Encoding
from imaging_requests.imaging.measure.scale import ppi
from imaging_requests.imaging.measure.stars import Stars
from tests.pure.measure_samples import FIXTURES, soft_edge

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

SPACES = {"eci": "ECI RGB v2", "adobe": "Adobe RGB (1998)"}
#: L*, then the pixel value printed for eciRGB v2 and for Adobe RGB (1998). L* 50 in eciRGB v2 is
#: exactly 127.5; the guidelines print 128, so halves are rounded up.
PIXEL_VALUES = [(95, 242, 240), (62, 158, 148), (50, 128, 118), (20, 51, 52)]


def grey_of(space: str) -> Encoding:
    """Grey levels of a colour space as its own tone curve has them."""
    level = np.linspace(0, 1, 4096)
    curve = colour.RGB_COLOURSPACES[SPACES[space]].cctf_decoding(level)
    return Encoding(np.asarray(curve)[None], None, "colour-science")


@pytest.mark.parametrize(("lightness", "eci", "adobe"), PIXEL_VALUES)
def test_the_printed_pixel_value_of_a_lightness(lightness: int, eci: int, adobe: int) -> None:
    for space, printed in (("eci", eci), ("adobe", adobe)):
        level = np.linspace(0, 1, 20_001)
        seen = grey_of(space).to_lab(level)[:, 0]
        exact = 255 * float(np.interp(lightness, seen, level))
        assert math.floor(round(exact, 2) + 0.5) == printed
        read_back = grey_of(space).to_lab(np.array(printed / 255))[0]
        assert float(read_back) == pytest.approx(lightness, abs=0.25), "half a level of 8 bits"


def test_a_gain_outside_the_printed_range_for_highlights() -> None:
    """Metamorfoze 2012, 1.6: the worked example lies outside of 0.80 to 1.08."""
    gain = gain_modulation((94.54, 88.95), (95.56, 84.95))
    assert gain == pytest.approx(0.5268, abs=1e-4)
    assert not 0.80 <= gain <= 1.08


def test_the_stars_of_a_picture_that_is_very_good_and_not_best() -> None:
    """Each value lies within the printed limit of three stars and beyond that of four."""
    stars = Stars.from_settings(json.loads((FIXTURES / "stars-1.json").read_text("utf-8")))
    measured = {
        "V1": 3.2, "V4": 3.9, "registration": 0.45, "G6": -1.8, "V9": 1.05, "V5": 1.7,
    }  # fmt: skip
    assert stars.of(measured) == dict.fromkeys(measured, 3)
    better = {
        "V1": 1.9, "V4": 2.0, "registration": 0.32, "G6": 1.0, "V9": 1.0, "V5": 0.99,
    }  # fmt: skip
    assert stars.of(better) == dict.fromkeys(better, 4)
    assert stars.of({"V1": 4.0, "V5": 2.0, "efficiency": 80.0}) == {
        "V1": 2,
        "V5": 2,
        "efficiency": 2,
    }
    assert stars.of({"V1": 10.0, "V9": 1.4, "V13": 0.1}) == {"V1": 0, "V9": 1}


@pytest.mark.parametrize("kind", [".tif", ".jpg"])
def test_centimetres_are_not_read_as_inches_and_nothing_is_not_72(kind, tmp_path) -> None:
    """236.22 px/cm (unit 3) are 600 ppi; a file that states nothing has no density at all."""
    picture = Image.fromarray(np.random.default_rng(1).integers(0, 255, (40, 50, 3), np.uint8))
    stated, plain = tmp_path / f"stated{kind}", tmp_path / f"plain{kind}"
    if kind == ".tif":
        picture.save(stated, resolution_unit=3, x_resolution=236.22, y_resolution=236.22)
    else:
        exif = Image.Exif()
        exif[282], exif[283], exif[296] = 236.22, 236.22, 3
        picture.save(stated, exif=exif)
    picture.save(plain)
    density = read_structure(stated).resolution_px_per_mm
    assert density == pytest.approx((23.622, 23.622), abs=1e-3)
    assert ppi(density[0]) == pytest.approx(600, abs=0.05)
    assert read_structure(plain).resolution_px_per_mm is None


def test_an_edge_that_is_as_sharp_as_square_pixels_can_be() -> None:
    """Closed form: |sinc f| of a 1-px aperture falls to one half at 0.6034 cycles per pixel."""
    found = measure_edge(soft_edge(1e-3, 5, fine=16))
    assert found.mtf50 == pytest.approx(0.6034, rel=0.02)


def test_an_edge_that_is_sampled_at_points() -> None:
    """Closed form without the aperture: √(ln 2 / 2) / (π σ) and √(ln 10 / 2) / (π σ), σ 1 px."""
    found = measure_edge(soft_edge(1.0, 5, fine=1))
    assert found.mtf50 == pytest.approx(0.1874, rel=0.02)
    assert found.mtf10 == pytest.approx(0.3415, rel=0.02)
