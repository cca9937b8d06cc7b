"""Taking the picture: from a scene and a shot to a 16-bit frame and its truth."""

from __future__ import annotations

import cv2
import numpy as np

from .appearance import Scene
from .edges import edge_map
from .frames import evenness, pose_matrix, truth_of
from .noise import encode
from .sheet import Sheet
from .shot import Exposure, Shot, picture_extent
from .strip import lay_infrared_strip, lay_strip, lay_strip_fluorescence, rake_bed
from .targets import REFERENCE_LEVEL, WHITE_RGB_WITHOUT_FILTER
from .vocabulary import Direction, Face, Map, Role, Technique

EASEL_RGB = (0.016, 0.016, 0.017)
EASEL_INFRARED = 0.05
RAKING_LEVEL = 0.62
SOURCE_TO_DETECTOR_MM = 1000.0
FILM_CONTRAST = 1.0
# Standard deviation of the noise after encoding, share of full scale.
NOISE = {
    Technique.FLASH: 0.0020,
    Technique.CONTINUOUS: 0.0026,
    Technique.RAKING: 0.0028,
    Technique.FLUORESCENCE: 0.0045,
    Technique.INFRARED: 0.0040,
    Technique.X_RAY: 0.0060,
}


def capture(scene: Scene, shot: Shot) -> Exposure:
    """Photograph a scene.

    Values of colour and X-ray frames are the square root of light times 65535 (the working
    profiles' exponent 2); infrared frames are proportional to light. A step of one EV doubles the
    light exactly, before clipping and noise.

    Returns:
        Frame and truth; equal arguments give equal pixels.

    >>> from imaging_requests.imaging.synthesis import PaintingSpec, build_painting
    >>> spec = PaintingSpec(seed=3, width_mm=120, height_mm=90)
    >>> scene = Scene(build_painting(spec, px_per_mm=1.0))
    >>> tile = picture_extent(spec, Technique.INFRARED)
    >>> capture(scene, Shot(technique=Technique.INFRARED, tile=tile, px_per_mm=1.0)).pixels.shape
    (140, 140)
    """
    light: Map = _light(scene, shot) * np.float32(2.0**shot.ev)
    matrix = pose_matrix(shot)
    if not np.allclose(matrix, np.eye(3), atol=1e-12):
        light = cv2.warpPerspective(
            light,
            matrix,
            light.shape[1::-1],
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
    if shot.blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), shot.blur_px)
    if shot.unevenness > 0:
        light *= evenness(light.shape, shot.unevenness)
    if shot.technique is Technique.X_RAY and shot.is_detector_polarity:
        light = (1 - np.sqrt(np.clip(light, 0, 1))) ** 2
    is_linear = shot.technique is Technique.INFRARED
    pixels = encode(
        light,
        seed=shot.noise_seed,
        strength=shot.noise * NOISE[shot.technique],
        is_linear=is_linear,
    )
    return Exposure(pixels=pixels, is_linear=is_linear, truth=truth_of(shot))


def _light(scene: Scene, shot: Shot) -> Map:
    """Light at EV 0 on the square and true picture plane, a fresh array."""
    lamp = np.float32(shot.lamp.intensity)
    channels = 1 if shot.technique in (Technique.INFRARED, Technique.X_RAY) else 3
    full = shot.size_px if channels == 1 else (*shot.size_px, channels)
    if shot.role is Role.DARK:
        return np.zeros(full, np.float32)
    if shot.role is Role.FLAT:
        return np.full(full, 0.55 * lamp, np.float32)
    if shot.technique is Technique.FLUORESCENCE:
        total = np.zeros(full, np.float32)
        if shot.role is not Role.AMBIENT:
            total += lamp * scene.recent(_key(shot), lambda: _fluorescent_light(scene, shot))
        if shot.room_light > 0:
            room = scene.recent(("room", *_key(shot)), lambda: _reflected(scene, shot).image)
            total += np.float32(shot.room_light * REFERENCE_LEVEL) * room
        return total
    if shot.role is Role.AMBIENT:
        return np.full(full, np.float32(shot.room_light), np.float32)
    makers = {
        Technique.FLASH: lambda: _reflected(scene, shot).image,
        Technique.CONTINUOUS: lambda: _reflected(scene, shot).image,
        Technique.RAKING: lambda: _raking_light(scene, shot),
        Technique.INFRARED: lambda: _infrared_light(scene, shot),
        Technique.X_RAY: lambda: _film(scene, shot),
    }
    return lamp * scene.recent(_key(shot), makers[shot.technique])


def _key(shot: Shot) -> tuple[object, ...]:
    """All that the light at EV 0 depends on."""
    return (
        shot.technique,
        shot.face,
        shot.direction,
        shot.tile,
        shot.px_per_mm,
        shot.azimuth_deg,
        shot.lamp.elevation_deg,
        shot.lamp.distance_mm,
        shot.lamp.leak,
        shot.has_barrier_filter,
        shot.has_target,
        shot.plate,
    )


def _reflected(scene: Scene, shot: Shot) -> Sheet:
    """White light from both sides."""
    sheet = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 3)
    sheet.image[...] = EASEL_RGB
    if shot.face is Face.EDGES:
        edge = shot.direction or Direction.TOP
        colour, grid = edge_map(scene.painting.spec, edge, scene.grid.px_per_mm)
        w, h = grid.width_mm, grid.height_mm
        sheet.lay(colour, grid, ((0, 0), (w, 0), (w, h), (0, h)))
        return sheet
    sheet.lay(scene.visible(shot.face), scene.grid, scene.outline(shot.face))
    if shot.has_target:
        lay_strip(sheet, scene.painting.spec)
    return sheet


def _raking_light(scene: Scene, shot: Shot) -> Map:
    """One low lamp: relief, shadows, and the fall-off with distance."""
    sheet = _reflected(scene, shot)
    grazing = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 1)
    grazing.image[...] = 1.0
    field = scene.grazing(shot.face, shot.azimuth_deg, shot.lamp.elevation_deg)
    grazing.lay(field, scene.grid, scene.outline(shot.face))
    light = grazing.image * _fall_off(scene, shot)
    if shot.has_target:
        light = light * rake_bed(shot, scene.painting.spec)
    return np.asarray(sheet.image * (RAKING_LEVEL * light + shot.lamp.leak)[..., None], np.float32)


def _fall_off(scene: Scene, shot: Shot) -> Map:
    """Inverse square of the distance to the lamp along the light, 1 at the middle of the face."""
    azimuth = np.deg2rad(shot.azimuth_deg)
    towards = (float(np.sin(azimuth)), float(-np.cos(azimuth)))
    spec = scene.painting.spec
    extent = picture_extent(spec, shot.technique)
    reach = 0.5 * (abs(towards[0]) * spec.width_mm + abs(towards[1]) * spec.height_mm)
    rows, columns = shot.size_px
    x = shot.tile.x + (np.arange(columns, dtype=np.float32)[None, :] + 0.5) / shot.px_per_mm
    y = shot.tile.y + (np.arange(rows, dtype=np.float32)[:, None] + 0.5) / shot.px_per_mm
    away = -((x - spec.width_mm / 2) * towards[0] + (y - spec.height_mm / 2) * towards[1])
    middle = shot.lamp.distance_mm + reach
    nearest = max(shot.lamp.distance_mm * 0.2, middle - max(extent.width, extent.height))
    return np.asarray((middle / np.maximum(middle + away, nearest)) ** 2, np.float32)


def _fluorescent_light(scene: Scene, shot: Shot) -> Map:
    """Emission under 365 nm; without the barrier filter also the violet that is reflected."""
    sheet = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 3)
    sheet.image[...] = (0.0006, 0.0005, 0.0012)
    glow = scene.fluorescence(shot.face)
    if not shot.has_barrier_filter:
        violet = np.array(WHITE_RGB_WITHOUT_FILTER, np.float32) / np.float32(0.95)
        glow = glow + scene.violet(shot.face)[..., None] * violet
    sheet.lay(glow, scene.grid, scene.outline(shot.face))
    if shot.has_target:
        lay_strip_fluorescence(
            sheet, scene.painting.spec, has_barrier_filter=shot.has_barrier_filter
        )
    return sheet.image


def _infrared_light(scene: Scene, shot: Shot) -> Map:
    """Reflectance at about 1,300 nm."""
    sheet = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 1)
    sheet.image[...] = EASEL_INFRARED
    sheet.lay(scene.infrared(shot.face), scene.grid, scene.outline(shot.face))
    if shot.has_target:
        lay_infrared_strip(sheet, scene.painting.spec)
    return sheet.image


def _film(scene: Scene, shot: Shot) -> Map:
    """Look of a film: dense parts bright. Parts behind the paint are enlarged about the middle."""
    total = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 1)
    outline = scene.outline(Face.FRONT)
    about = shot.tile.centre
    for plane in scene.planes():
        enlarge = SOURCE_TO_DETECTOR_MM / (SOURCE_TO_DETECTOR_MM - plane.behind_mm)
        sheet = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 1)
        placed = sheet.place(plane.attenuation, scene.grid, about=about, enlarge=enlarge)
        moved = [
            (about[0] + (x - about[0]) * enlarge, about[1] + (y - about[1]) * enlarge)
            for x, y in outline
        ]
        sheet.polygon(moved, 1.0)
        total.image += sheet.image * placed
    bright = 1 - np.exp(-np.float32(FILM_CONTRAST) * total.image)
    bright = 0.03 + 0.90 * bright
    if shot.plate is not None:
        _lay_marker(bright, shot)
    return np.asarray(bright * bright, np.float32)


def _lay_marker(bright: Map, shot: Shot) -> None:
    """Lead number of the plate, in its upper left corner, 9 mm high."""
    scale = 9.0 * shot.px_per_mm / 22.0
    origin = (round(6 * shot.px_per_mm), round(16 * shot.px_per_mm))
    mark = np.zeros(bright.shape, np.uint8)
    weight = max(1, round(1.3 * shot.px_per_mm))
    cv2.putText(
        mark, str(shot.plate), origin, cv2.FONT_HERSHEY_SIMPLEX, scale, 255, weight, cv2.LINE_AA
    )
    share = mark.astype(np.float32) / 255
    bright += (np.float32(1.0) - bright) * share
