"""Faults of X-ray plates, seams and backs: one generator for each rule."""

from __future__ import annotations

import cv2
import numpy as np

from imaging_requests.imaging.measure import evenness, outline, scale, xray
from imaging_requests.imaging.measure.checks import check_frame
from imaging_requests.imaging.measure.plan import Plan
from tests.benchmarks.fault_material import frame_of, is_faulty, noise_like, texture, value_of
from tests.benchmarks.faults_visible import FACE_MM, PX_PER_MM, face_outline
from tests.pure.measure_samples import tools

SOURCE_TO_DETECTOR_MM = 1000.0


def seam(rng: np.random.Generator, strength: float) -> float | None:
    picture = texture(rng, 160, 200).astype(np.float64)
    low, high = np.percentile(picture, (1, 99))
    picture[:, 100:] += strength / 100 * (high - low) * rng.choice([-1, 1])
    found = evenness.seam_step(picture + noise_like(rng, picture), 100, is_upright=True)
    return None if found is None else 100 * found


def plate_noise(rng: np.random.Generator, strength: float) -> float | None:
    ratio = strength or 90.0
    plate = 0.35 + 0.3 * texture(rng, 512, 512, smooth=40)
    return xray.signal_to_noise(plate + rng.normal(0, 0.5 / ratio, plate.shape) * plate / 0.5)


def dead_line(rng: np.random.Generator, _: float) -> float | None:
    plate = 0.2 + 0.6 * texture(rng, 300, 320) + rng.normal(0, 0.008, (300, 320))
    plate[80:, 60:] += 0.1
    if is_faulty(rng):
        at = int(rng.integers(5, 290))
        if rng.random() < 0.5:
            plate[at] *= 0.88
        else:
            plate[:, at] *= 1.12
    return float(sum(xray.dead_lines(plate.astype(np.float32))))


def polarity(rng: np.random.Generator, _: float) -> float | None:
    """A fault is the wrong statement."""
    plate = 0.1 + 0.7 * texture(rng, 430, 350)
    plate = np.clip(plate + rng.normal(0, 0.006, plate.shape), 0, 0.93).astype(np.float32)
    text = str(int(rng.integers(1, 85)))
    lead = np.zeros(plate.shape, np.uint8)
    cv2.putText(lead, text, (12, 40), cv2.FONT_HERSHEY_SIMPLEX, 0.8, 255, 2, cv2.LINE_AA)
    plate += (1 - plate) * lead.astype(np.float32) / 255
    is_dark = bool(rng.random() < 0.5)
    found = xray.find_marker(1 - plate if is_dark else plate)
    if found is None:
        return None
    truth = xray.Polarity.DENSE_DARK if is_dark else xray.Polarity.DENSE_BRIGHT
    other = xray.Polarity.DENSE_BRIGHT if is_dark else xray.Polarity.DENSE_DARK
    return float(found.polarity is (other if is_faulty(rng) else truth))


def silhouette(rng: np.random.Generator, strength: float) -> float | None:
    front = np.array([[0, 0], [300, 0], [300, 220], [0, 220.0]]) + rng.uniform(-1.5, 1.5, (4, 2))
    back = ((front * (-1, 1)) + (300, 0))[[1, 0, 3, 2]] + rng.normal(0, 0.05, (4, 2))
    if strength:
        back[0] += 2.0 * strength * np.array([0.71, 0.71])
    return outline.silhouette_difference_mm(front, back)[0]


def plate_seam(rng: np.random.Generator, strength: float) -> float | None:
    """A step of level between two plates, whose picture is smooth but for grain."""
    picture = texture(rng, 160, 200, smooth=20).astype(np.float64)
    low, high = np.percentile(picture, (1, 99))
    picture[:, 100:] += strength / 100 * (high - low) * rng.choice([-1, 1])
    found = evenness.seam_step(picture + 3 * noise_like(rng, picture), 100, is_upright=True)
    return None if found is None else 100 * found


def plate_ends(rng: np.random.Generator, strength: float) -> float | None:
    """So many percent of an object on a plate lie at the ends of the scale."""
    light = np.full((190, 240), 0.03, np.float32)
    paint = 0.15 + 0.6 * texture(rng, 140, 180)
    at = rng.choice(paint.size, round(strength / 100 * paint.size), replace=False)
    paint.ravel()[at] = rng.choice([0.0, 1.0])
    light[25:165, 30:210] = paint
    frame = frame_of(rng, light, is_linear=True)
    return value_of(check_frame(frame, Plan("XR"), tools()), "X3")


def inverted(rng: np.random.Generator, _: float) -> float | None:
    """A fault is a single pixel of the inverted picture that is off by one level."""
    plate = rng.integers(0, 65_536, (120, 90)).astype(np.uint16)
    other = 65_535 - plate
    if is_faulty(rng):
        row, column = int(rng.integers(0, 120)), int(rng.integers(0, 90))
        other[row, column] = max(1, int(other[row, column])) - 1 or 2
    return 100 * xray.is_inverted(plate, other, full_scale=65_535)


def magnified(rng: np.random.Generator, strength: float) -> float | None:
    """Size of a face on a plate after the enlargement of its distance was taken off."""
    above_mm = float(rng.uniform(5, 40))
    grown = xray.magnification(SOURCE_TO_DETECTOR_MM, above_mm)
    true = 1 + strength / 100 * rng.choice([-1, 1])
    found = face_outline(rng, 0.0, grow=grown * true)
    if not isinstance(found, outline.Outline):
        return None
    return scale.percent_off(found.px_per_mm(*FACE_MM) / grown, PX_PER_MM)
