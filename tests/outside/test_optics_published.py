"""Optics, X-ray geometry and dose against worked examples that no one here made.

Sources stand beside each number. Where two sources round differently the tolerance is half of the
last printed digit.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from imaging_requests.imaging.optics import diffraction, dose, focus, lens, surface, x_ray
from imaging_requests.imaging.synthesis.techniques import SOURCE_TO_DETECTOR_MM
from imaging_requests.reckoning.shots.focus import depth_of_field_mm

MM_PER_INCH = 25.4
MM_PER_FOOT = 304.8
CIRCLE_35_MM = 0.0300463


def test_hyperfocal_of_the_army_lesson() -> None:
    """US Army photography lesson SS0507: 2 in, f/8, 0.002 in → 20.8 ft, sharp from 10.4 ft."""
    h = lens.hyperfocal_mm(2 * MM_PER_INCH, 8, 0.002 * MM_PER_INCH)
    without_last_term = h - 2 * MM_PER_INCH
    assert without_last_term / MM_PER_FOOT == pytest.approx(20.8, abs=0.05)
    near, far = lens.depth_limits_mm(2 * MM_PER_INCH, 8, 0.002 * MM_PER_INCH, h)
    assert near / MM_PER_FOOT == pytest.approx(10.4, abs=0.1)
    assert far == math.inf


@pytest.mark.parametrize(
    ("focal", "aperture", "circle", "printed"),
    [(50, 8, 0.02, 15_625.0), (35, 11, 0.03, 3712.12)],
)
def test_hyperfocal_of_tables_without_the_last_term(
    focal: float, aperture: float, circle: float, printed: float
) -> None:
    """Published tables use f²/(N·c)."""
    found = lens.hyperfocal_mm(focal, aperture, circle) - focal
    assert found == pytest.approx(printed, abs=0.005)


def test_depth_of_field_recomputed_from_the_exact_form() -> None:
    """50 mm f/8 c 0.03 at 3 m: 2.338 to 4.185 m; 120 mm f/8 c 0.0075 at 2 m: 1984.5 to 2015.8."""
    assert lens.depth_limits_mm(50, 8, 0.03, 3000) == pytest.approx((2337.9, 4185.3), abs=0.05)
    assert lens.depth_limits_mm(120, 8, 0.0075, 2000) == pytest.approx((1984.5, 2015.8), abs=0.05)


def test_depth_of_field_as_exiftool_composes_it() -> None:
    """ExifTool 13.59, composite tags of 50 mm f/8 focused at 5 m: 3.388 to 9.541 m, 10.40 m."""
    near, far = lens.depth_limits_mm(50, 8, CIRCLE_35_MM, 5000)
    assert near / 1000 == pytest.approx(3.388, abs=0.005)
    assert far / 1000 == pytest.approx(9.541, abs=0.06)
    h = lens.hyperfocal_mm(50, 8, CIRCLE_35_MM)
    assert (h - 50) / 1000 == pytest.approx(10.40, abs=0.005)
    assert h / 1000 == pytest.approx(10.45, abs=0.005)
    assert lens.field_of_view_deg(36, 50) == pytest.approx(39.6, abs=0.05)
    assert lens.light_value(8, 1 / 60, 100) == pytest.approx(11.907, abs=0.0005)


def test_thin_lens_as_prysm_has_it() -> None:
    """prysm 0.21.1: f 100 at 1000 → image at 111.11; working f/8 at m 0.5 → 12."""
    assert lens.image_distance_mm(100, 1000) == pytest.approx(111.11, abs=0.005)
    assert lens.working_aperture(8, 0.5) == pytest.approx(12)


def test_diffraction_as_prysm_has_it() -> None:
    """prysm 0.21.1: Airy zero f/8 550 nm 5.3665 µm, contrast at 100 cycles/mm 0.4584."""
    assert diffraction.airy_radius_um(550, 8) == pytest.approx(5.3665, abs=5e-5)
    assert diffraction.diffraction_mtf(100, 550, 8) == pytest.approx(0.4584, abs=5e-5)


@pytest.mark.parametrize(
    ("wavelength", "row"),
    [
        (450, (6.15, 8.78, 12.08, 17.57)),
        (550, (7.52, 10.74, 14.76, 21.47)),
        (850, (11.61, 16.59, 22.81, 33.18)),
        (1000, (13.66, 19.52, 26.84, 39.04)),
        (1550, (21.18, 30.26, 41.60, 60.51)),
    ],
)
def test_airy_table_of_the_rounded_constant(wavelength: float, row: tuple[float, ...]) -> None:
    """A table computed with 2.44·λ·N; the exact constant is 2.4393, and only that is undone."""
    rounded = 2.44 / (2 * diffraction.FIRST_ZERO)
    found = [rounded * diffraction.airy_diameter_um(wavelength, n) for n in (5.6, 8, 11, 16)]
    assert rounded == pytest.approx(1, abs=3e-4)
    assert found == pytest.approx(list(row), abs=0.0051)


def test_a_fine_pixel_is_limited_at_f_5_6_in_the_infrared() -> None:
    """A 3.76 µm pixel at 1,000 nm: f/5.6 already passes 2.5 pixels."""
    assert diffraction.aperture_limit(1000, 3.76, most_px=2.5) < 5.6


def test_the_bessel_zero_behind_the_airy_disk() -> None:
    """First zero of J1 at 3.8317 (Abramowitz and Stegun, table 9.5), by its own power series."""
    at = diffraction.FIRST_ZERO * math.pi
    assert at == pytest.approx(3.8317, abs=5e-5)
    terms = ((-1) ** k / (math.factorial(k) * math.factorial(k + 1)) for k in range(30))
    series = sum(term * (at / 2) ** (2 * k + 1) for k, term in enumerate(terms))
    assert series == pytest.approx(0, abs=1e-12)


def test_warp_against_depth_of_field() -> None:
    """C 600, R 3000 → 15.04 mm; m 0.1 f/8 c 0.0092 → 16.19 just covers; m 0.25 f/5.6 → stack."""
    warp = focus.bow_mm(600, 3000)
    assert warp == pytest.approx(15.04, abs=0.005)
    at_tenth = depth_of_field_mm(0.1 / 0.0046, pitch_um=4.6, aperture=8, circle_px=2)
    at_quarter = depth_of_field_mm(0.25 / 0.0075, pitch_um=7.5, aperture=5.6, circle_px=2)
    assert at_tenth == pytest.approx(16.19, abs=0.005)
    assert at_quarter == pytest.approx(3.36, abs=0.005)
    assert focus.cover_of(warp, at_tenth, usable=0.8) is focus.Cover.JUST_COVERED
    assert focus.cover_of(warp, at_quarter, usable=0.8) is focus.Cover.STACK


def test_x_ray_exposures_of_the_teaching_pages() -> None:
    """NDT teaching pages: 560 mA·s 30 → 24 in 358.4; 1.86 → 1.190 min; 62 mR/h at 100 ft."""
    assert x_ray.exposure_at(560, 30, 24) == pytest.approx(358.4, abs=0.05)
    assert x_ray.exposure_at(1.86, 30, 24) == pytest.approx(1.190, abs=0.0005)
    assert x_ray.intensity_at(62, 100, 1) == pytest.approx(620_000)
    assert x_ray.exposure_at(1, 91, 46) == pytest.approx(0.2555, abs=5e-5)


def test_unsharpness_of_the_calculator() -> None:
    """NDT calculator: f 2.82, a 300, b 14 → 0.1316 mm; f 1.5, a 1000, b 5 → 0.0075 mm, M 1.005."""
    assert x_ray.unsharpness_mm(2.82, 300, 14) == pytest.approx(0.1316, abs=5e-5)
    assert x_ray.unsharpness_mm(1.5, 1000, 5) == pytest.approx(0.0075, abs=5e-6)
    assert x_ray.enlargement(1005, 5) == pytest.approx(1.005, abs=5e-4)


def test_parallax_agrees_with_the_enlargement_of_the_synthetic_plates() -> None:
    """Parts o behind the paint are enlarged by D/(D − o); the shift is the difference."""
    for above, printed in ((20.0, 4.1), (45.0, 9.4)):
        shift = x_ray.parallax_mm(200, above, SOURCE_TO_DETECTOR_MM)
        assert shift == pytest.approx(printed, abs=0.05)
        grown = 200 * x_ray.enlargement(SOURCE_TO_DETECTOR_MM, above)
        assert shift == pytest.approx(grown - 200)


def test_light_dose_of_the_published_notes() -> None:
    """CCI notes and WAAC Newsletter 2002: flash and continuous light add and are reciprocal."""
    assert dose.lamp_lxh(2000, 600) == pytest.approx(333.3, abs=0.05)
    assert dose.flashes_lxh(3600, 10) == pytest.approx(10)
    assert dose.lamp_lxh(1000, 10) == pytest.approx(dose.lamp_lxh(10, 1000))
    assert dose.lamp_lxh(50, 10 * 3600) == pytest.approx(dose.lamp_lxh(250, 2 * 3600))
    assert dose.display_mlxh(200, 8, 375) * 1e6 == pytest.approx(600_000)


def test_time_under_ultraviolet_lamps() -> None:
    """ICNIRP 2004 as reported: 10⁴ J/m² unweighted UVA → 10 W/m² 1000 s, 1 W/m² 10 000 s."""
    assert dose.seconds_until_dose(1e4, 10) == pytest.approx(1000)
    assert dose.seconds_until_dose(1e4, 1) == pytest.approx(10_000)


def test_relief_from_four_lights() -> None:
    """Worked by hand with Woodham's formula: intensities, normal and albedo to six digits."""
    lights = np.array([(1, 0, 1), (0, 1, 1), (-1, 0, 1), (0, -1, 1)]) / math.sqrt(2)
    seen = np.array([0.496847, 0.372635, 0.331231, 0.455443])
    normal, albedo = surface.surface_normals(seen, lights)
    assert normal == pytest.approx([0.195180, -0.097590, 0.975900], abs=2e-6)
    assert albedo.item() == pytest.approx(0.6, abs=2e-6)


def test_stray_light_of_the_manual() -> None:
    """Dyer, Verri, Cupitt 2013, page 27: 60 − (100/200)·20 = 50."""
    found = surface.without_stray_light(
        np.array([60.0]), np.array([100.0]), visible_standard=200, luminescence_standard=20
    )
    assert found.tolist() == [50.0]
