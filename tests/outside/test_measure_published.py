"""Colour and sharpness against published pairs, tables, closed forms and other implementations.

Sources are named at each check; tolerances come from their rounding or from the proof given.
"""

import importlib.util
import io
import re
import sys
import types
import warnings
from pathlib import Path

import numpy as np
import pytest

from imaging_requests.imaging.measure.chart_read import gain_modulation
from imaging_requests.imaging.measure.delta_e import (
    delta_e_76,
    delta_e_2000,
    lab_to_xyz,
    lightness,
    xyz_to_lab,
)
from imaging_requests.imaging.measure.edge import measure_edge, sampling_efficiency
from imaging_requests.imaging.measure.encoding import read_encoding
from imaging_requests.imaging.measure.fluorescence import stray_light_corrected
from imaging_requests.imaging.measure.raking import elevation_deg
from imaging_requests.imaging.measure.scale import percent_off
from imaging_requests.imaging.measure.xray import magnification
from tests.pure.measure_samples import editions, soft_edge

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

# L1 a1 b1, L2 a2 b2, ΔE00: Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula:
# implementation notes, supplementary test data, and mathematical observations", Color Research and
# Application 30(1), 2005, 21 to 30, table 1.
PAIRS = np.array(
    [
        [50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425],
        [50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615],
        [50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412],
        [50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000],
        [50, -1.1848, -84.8006, 50, 0, -82.7485, 1.0000],
        [50, -0.9009, -85.5211, 50, 0, -82.7485, 1.0000],
        [50, 0, 0, 50, -1, 2, 2.3669],
        [50, -1, 2, 50, 0, 0, 2.3669],
        [50, 2.49, -0.0010, 50, -2.49, 0.0009, 7.1792],
        [50, 2.49, -0.0010, 50, -2.49, 0.0010, 7.1792],
        [50, 2.49, -0.0010, 50, -2.49, 0.0011, 7.2195],
        [50, 2.49, -0.0010, 50, -2.49, 0.0012, 7.2195],
        [50, -0.0010, 2.49, 50, 0.0009, -2.49, 4.8045],
        [50, -0.0010, 2.49, 50, 0.0010, -2.49, 4.8045],
        [50, -0.0010, 2.49, 50, 0.0011, -2.49, 4.7461],
        [50, 2.5, 0, 50, 0, -2.5, 4.3065],
        [50, 2.5, 0, 73, 25, -18, 27.1492],
        [50, 2.5, 0, 61, -5, 29, 22.8977],
        [50, 2.5, 0, 56, -27, -3, 31.9030],
        [50, 2.5, 0, 58, 24, 15, 19.4535],
        [50, 2.5, 0, 50, 3.1736, 0.5854, 1.0000],
        [50, 2.5, 0, 50, 3.2972, 0, 1.0000],
        [50, 2.5, 0, 50, 1.8634, 0.5757, 1.0000],
        [50, 2.5, 0, 50, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)


class TestColourDifference:
    @pytest.mark.parametrize("order", [(slice(0, 3), slice(3, 6)), (slice(3, 6), slice(0, 3))])
    def test_all_published_pairs_in_both_orders(self, order):
        found = delta_e_2000(PAIRS[:, order[0]], PAIRS[:, order[1]])
        assert np.abs(found - PAIRS[:, 6]).max() <= 1e-4

    def test_the_jump_of_hue_between_pairs_10_and_11(self):
        found = delta_e_2000(PAIRS[9:11, :3], PAIRS[9:11, 3:6])
        assert found.round(4).tolist() == [7.1792, 7.2195]

    def test_against_colour_science_on_random_colours(self):
        """colour-science 0.4.7, colour.delta_E(method="CIE 2000")."""
        rng = np.random.default_rng(11)
        one = rng.uniform([0, -90, -90], [100, 90, 90], (4000, 3))
        other = one + rng.normal(0, 8, one.shape)
        expected = colour.delta_E(one, other, method="CIE 2000")
        assert np.abs(delta_e_2000(one, other) - expected).max() < 1e-9

    def test_the_pairs_typed_here_are_those_of_the_package(self):
        """colour-science ships 33 of them (pair 14 left out): colour/difference/tests."""
        folder = Path(importlib.util.find_spec("colour").origin).parent
        text = (folder / "difference" / "tests" / "test_delta_e.py").read_text(encoding="utf-8")
        body = text[text.index("class TestDelta_E_CIE2000") :]
        numbers = {float(number) for number in re.findall(r"-?\d+\.\d{4,}", body)}
        missing = [value for value in PAIRS[:, :6].ravel() if value % 1 and value not in numbers]
        assert missing == []


class TestCielab:
    def test_both_ways_against_colour_science(self):
        rng = np.random.default_rng(12)
        xyz = rng.uniform(0, 1, (2000, 3))
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
        whole = colour.xy_to_XYZ(white)
        lab = colour.XYZ_to_Lab(xyz, white)
        assert np.abs(xyz_to_lab(xyz, whole) - lab).max() < 1e-9
        assert np.abs(lab_to_xyz(lab, whole) - xyz).max() < 1e-9

    @pytest.mark.parametrize(
        ("density", "printed"), [(1.52, 20.12), (1.55, 19.30), (0.05, 95.63), (2.26, 4.96)]
    )
    def test_density_to_lightness(self, density, printed):
        """Metamorfoze Preservation Imaging Guidelines 1.0 (2012): R = 10^−D, L* of R."""
        assert float(lightness(np.array(10.0**-density))) == pytest.approx(printed, abs=0.006)

    def test_neutral_bound(self):
        """The same guidelines: ΔL* 2 and ΔC* 2 make 2.83."""
        assert delta_e_76(np.array([50.0, 0, 0]), np.array([52.0, 2, 0])) == pytest.approx(
            2.83, abs=0.005
        )

    def test_gain_modulation(self):
        """The same, 1.6: 94.54 and 88.95 against 95.56 and 84.95 fail 0.80 to 1.08."""
        assert gain_modulation((94.54, 88.95), (95.56, 84.95)) == pytest.approx(0.5268, abs=1e-4)


class TestProfiles:
    def test_a_matrix_profile_against_another_engine(self):
        """LittleCMS through Pillow's ImageCms, relative colorimetric, to Lab in 8 bits."""
        from PIL import Image, ImageCms

        from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile

        encoding = read_encoding(wide_rgb_profile())
        levels = np.random.default_rng(13).integers(0, 256, (24, 24, 3), dtype=np.uint8)
        source = ImageCms.ImageCmsProfile(io.BytesIO(wide_rgb_profile()))
        target = ImageCms.createProfile("LAB", 5000)
        out = ImageCms.profileToProfile(
            Image.fromarray(levels, "RGB"), source, target, renderingIntent=1, outputMode="LAB"
        )
        raw = np.asarray(out).astype(float)
        theirs = np.stack(
            [
                raw[..., 0] * 100 / 255,
                np.where(raw[..., 1] > 127, raw[..., 1] - 256, raw[..., 1]),
                np.where(raw[..., 2] > 127, raw[..., 2] - 256, raw[..., 2]),
            ],
            axis=-1,
        )
        ours = encoding.to_lab(levels / 255)
        inside = (np.abs(ours[..., 1:]) < 126).all(axis=-1)
        assert np.abs(ours - theirs)[inside].max() < 1.1

    def test_srgb_of_another_maker(self):
        """Pillow's sRGB profile: (188, 188, 188) is L* 76.2 (IEC 61966-2-1: linear 0.503)."""
        from PIL import ImageCms

        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        lab = read_encoding(profile).to_lab(np.full(3, 188 / 255))
        linear = ((188 / 255 + 0.055) / 1.055) ** 2.4
        assert lab[0] == pytest.approx(float(lightness(np.array(linear))), abs=0.05)
        assert np.abs(lab[1:]).max() < 0.05


class TestCharts:
    @pytest.mark.parametrize(
        ("name", "dataset"),
        [
            ("24-after-2014-11", "ColorChecker24 - After November 2014"),
            ("24-before-2014-11", "ColorChecker24 - Before November 2014"),
            ("24-2005", "ColorChecker 2005"),
            ("24-average", "BabelColor Average"),
            ("140-after-2014-11", "ColorCheckerSG - After November 2014"),
            ("140-before-2014-11", "ColorCheckerSG - Before November 2014"),
        ],
    )
    def test_editions_against_colour_science(self, name, dataset):
        """colour-science 0.4.7, CCS_COLOURCHECKERS; ours are rounded to two digits."""
        chart = colour.CCS_COLOURCHECKERS[dataset]
        theirs = {
            key: colour.XYZ_to_Lab(colour.xyY_to_XYZ(value), chart.illuminant)
            for key, value in chart.data.items()
        }
        edition = editions()[name]
        if edition.patches == 24:
            expected = np.array(list(theirs.values()))
        else:
            expected = np.array([theirs[f"{c}{r}"] for r in range(1, 11) for c in "ABCDEFGHIJKLMN"])
        assert np.abs(edition.lab - expected).max() < 0.0051

    def test_mixing_up_two_editions_costs_what_it_should(self):
        """From the two published tables: mean 0.848, largest 1.951 on patch 19, 90 % 1.346."""
        after, before = editions()["24-after-2014-11"], editions()["24-before-2014-11"]
        found = delta_e_2000(after.lab, before.lab)
        assert found.mean() == pytest.approx(0.848, abs=0.006)
        assert found.max() == pytest.approx(1.951, abs=0.006)
        assert int(found.argmax()) + 1 == 19
        assert np.percentile(found, 90) == pytest.approx(1.346, abs=0.006)


class TestSharpness:
    @pytest.mark.parametrize(
        ("sigma", "mtf50"), [(0.5, 0.3231), (0.8, 0.2201), (1.2, 0.1518), (2.0, 0.0927)]
    )
    def test_closed_form_of_a_gaussian_edge(self, sigma, mtf50):
        """MTF = exp(−2π²σ²f²) sinc(f cos a) sinc(f sin a) of an edge integrated over pixels."""
        assert measure_edge(soft_edge(sigma, 5)).mtf50 == pytest.approx(mtf50, rel=0.02)

    @pytest.mark.parametrize(("sigma", "mtf10"), [(0.5, 0.5813), (1.0, 0.3277), (1.5, 0.2235)])
    def test_closed_form_at_ten_percent(self, sigma, mtf10):
        assert measure_edge(soft_edge(sigma, 5)).mtf10 == pytest.approx(mtf10, rel=0.02)

    @pytest.mark.parametrize("sigma", [0.5, 0.8])
    def test_against_another_implementation(self, sigma, monkeypatch):
        """quickMTF 2023.3.3: exact for sharp edges, a few percent high for soft ones.

        It asks scipy for one convolution along rows and matplotlib for plots that are not drawn;
        the one is given here with numpy, the other left empty.
        """
        signal = types.ModuleType("scipy.signal")
        signal.convolve2d = _along_rows
        scipy = types.ModuleType("scipy")
        scipy.signal = signal
        plots = types.ModuleType("matplotlib.pyplot")
        for name, module in (
            ("scipy", scipy),
            ("scipy.signal", signal),
            ("matplotlib", types.ModuleType("matplotlib")),
            ("matplotlib.pyplot", plots),
        ):
            monkeypatch.setitem(sys.modules, name, module)
        from quickMTF.SFR_MTF import sfr_mtfcal

        picture = soft_edge(sigma, 5)
        curve, _ = sfr_mtfcal().calc_sfr(picture, oversampling=4)
        frequency, response = curve[:, 0], curve[:, 1]
        i = int(np.flatnonzero(response < 0.5)[0])
        theirs = float(np.interp(-0.5, -response[i - 1 : i + 1], frequency[i - 1 : i + 1]))
        assert measure_edge(picture).mtf50 == pytest.approx(theirs, rel=0.05)

    def test_sampling_efficiency(self):
        """Metamorfoze 2012, note 29: 5 lp/mm at 300 ppi are 84.67 %."""
        assert sampling_efficiency(5, 300 / 25.4) == pytest.approx(0.8467, abs=5e-5)

    @pytest.mark.parametrize(
        ("measured", "percent", "holds"),
        [(588, 2, True), (612, 2, True), (613, 2, False), (594, 1, True), (593, 1, False)],
    )
    def test_claimed_and_obtained_density(self, measured, percent, holds):
        """Metamorfoze 2012 (2 %) and FADGI 2016, 4 stars (1 %), claimed 600 ppi."""
        assert (abs(percent_off(measured, 600)) <= percent + 1e-9) is holds


class TestLight:
    def test_stray_light(self):
        """CHARISMA user manual 1.0 (2013), page 27; numbers worked by hand: 60 − 100/200 · 20."""
        found = stray_light_corrected(
            np.float64(60), np.float64(100), glow_standard=20, visible_standard=200
        )
        assert float(found) == 50

    @pytest.mark.parametrize(("degrees", "shadow"), [(9, 63.1), (10, 56.7), (11, 51.4)])
    def test_gauge_arithmetic(self, degrees, shadow):
        """A 10 mm ridge throws 10 / tan(elevation), printed to 0.1 mm."""
        assert elevation_deg(10, shadow) == pytest.approx(degrees, abs=0.02)

    def test_magnification(self):
        """M = SDD / (SDD − ODD), nondestructive-testing textbooks: 1000 / 980."""
        assert magnification(1000, 20) == pytest.approx(1.0204, abs=5e-5)


def _along_rows(picture, kernel, mode, boundary):
    assert (mode, boundary) == ("same", "symm")
    reach = len(kernel[0]) // 2
    padded = np.pad(picture, ((0, 0), (reach, reach)), mode="symmetric")
    return np.array([np.convolve(row, kernel[0], "valid") for row in padded])
