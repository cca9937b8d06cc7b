"""Decode a master once and derive what the screen needs: pyramid, thumbnails, measured levels.

The pyramid (8-bit sRGB, JPEG tiles) is made first; the thumbnails come from it. Everything is
written under a scratch name and renamed; the report comes last, so that a report on the disk means
that the rest is there. The results can all be deleted and made again. The master is only read.
"""

import errno
import json
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyvips

from imaging_requests.imaging.files.decode import (
    FAIL_ON,
    LEVELS,
    colour_bands,
    count_levels,
    explain,
    open_pixels,
    show,
    turn_upright,
)
from imaging_requests.imaging.files.derived import Derived, DerivedFile, read_report
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.levels import (
    ChannelLevels,
    measure_levels,
    percentile_window,
)
from imaging_requests.imaging.files.limits import Limits, refuse_by_header
from imaging_requests.imaging.files.mark import stretched_mark
from imaging_requests.imaging.files.packed import demand_whole_parts
from imaging_requests.imaging.files.recipe import (
    Recipe,
    Tone,
    pyramid_name,
    report_name,
    thumbnail_name,
)
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.sample import sample_levels
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.iiif.edges import keep_cut_tiles

CLASSIC_TIFF_SAFE_BYTES = 4_000_000_000
TILE_STEP_PX = 16
NO_SPACE = "no space left"


def build_derivatives(
    path: Path,
    out_dir: Path,
    recipe: Recipe,
    *,
    source_sha256: str,
    limits: Limits,
    scratch: Path | None = None,
) -> Derived | Unreadable:
    """Decode ``path`` completely and write pyramid, thumbnails and report into ``out_dir``.

    ``source_sha256`` names the content and goes into the names of the results; if they are there
    already, the report is returned as it is. ``scratch``: an empty folder on the same disk; without
    it one is made inside ``out_dir`` and removed again. Expected trouble with the file comes back
    as ``Unreadable``; a folder that cannot be written raises ``OSError``, and a picture that needs
    more memory than there is raises ``MemoryError``.
    Runs in the guarded process; nothing else should call it with files from outside.
    """
    key = recipe.key(source_sha256)
    there = read_report(out_dir, key)
    if there is not None:
        return there
    clock = _Clock()
    structure = read_structure(path)
    if isinstance(structure, Unreadable):
        return structure
    refusal = refuse_by_header(structure, limits)
    if refusal is not None:
        return refusal
    out_dir.mkdir(parents=True, exist_ok=True)
    with _scratch_folder(scratch, out_dir) as folder:
        try:
            derived = _derive(path, structure, recipe, key, source_sha256, limits, folder, clock)
        except pyvips.Error as error:
            if NO_SPACE in str(error).lower():
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(out_dir)) from error
            return explain(error)
        for item in derived.files:
            os.replace(folder / item.name, out_dir / item.name)
        report = folder / report_name(key)
        report.write_text(json.dumps(derived.as_data()), encoding="utf-8")
        os.replace(report, out_dir / report.name)
    return derived


class _Clock:
    """Time spent per phase, in milliseconds."""

    def __init__(self) -> None:
        self.spent_ms: dict[str, float] = {}
        self._started = self._last = time.perf_counter()

    def lap(self, phase: str) -> None:
        """Book the time since the last lap under ``phase``."""
        now = time.perf_counter()
        self.spent_ms[phase] = round((now - self._last) * 1000, 1)
        self.spent_ms["total"] = round((now - self._started) * 1000, 1)
        self._last = now


@contextmanager
def _scratch_folder(given: Path | None, out_dir: Path) -> Iterator[Path]:
    if given is not None:
        yield given
        return
    with tempfile.TemporaryDirectory(dir=out_dir, prefix=".part-") as folder:
        yield Path(folder)


def _derive(
    path: Path,
    structure: Structure,
    recipe: Recipe,
    key: str,
    source_sha256: str,
    limits: Limits,
    folder: Path,
    clock: _Clock,
) -> Derived:
    clock.lap("header")
    demand_whole_parts(path, structure)
    clock.lap("sums")
    image = open_pixels(path, structure, folder)
    bands, has_levels = colour_bands(image), image.format in LEVELS
    levels: tuple[ChannelLevels, ...] = ()
    window = None
    sampled = sample_levels(path, structure, limits)
    if sampled is not None:
        levels = sampled
    elif has_levels and (image.format == "ushort" or image.bands > bands):
        counts = count_levels(image)
        levels = measure_levels(counts)
        if _is_stretched(recipe.tone, structure, bands):
            window = percentile_window(
                counts[:, 0],
                low_percent=recipe.window_low_percent,
                high_percent=recipe.window_high_percent,
            )
        image = open_pixels(path, structure, folder)
    clock.lap("levels")
    shown = show(image, structure, window)
    upright = turn_upright(shown.image, structure.orientation, folder)
    pyramid = _write_pyramid(upright, folder / pyramid_name(key), recipe)
    clock.lap("pyramid")
    files = [pyramid, *_write_thumbnails(pyramid, folder, recipe, key, shown.window is not None)]
    clock.lap("thumbnails")
    return Derived(
        key=key,
        source_sha256=source_sha256,
        width_px=pyramid.width_px,
        height_px=pyramid.height_px,
        files=tuple(files),
        is_tone_stretched=shown.window is not None,
        window=shown.window,
        colour_source=shown.colour_source,
        levels=levels[:bands],
        alpha_is_opaque=_is_opaque(image, levels[bands:]) if structure.alpha else None,
        turned_from=structure.orientation,
        decoder=f"libvips {pyvips.version(0)}.{pyvips.version(1)}.{pyvips.version(2)}",
        timings_ms=clock.spent_ms,
    )


def _is_stretched(tone: Tone, structure: Structure, bands: int) -> bool:
    if tone is Tone.AUTO:
        return bands == 1 and structure.bits_per_sample > 8
    return tone is Tone.STRETCHED and bands == 1


def _is_opaque(image: pyvips.Image, spare: tuple[ChannelLevels, ...]) -> bool:
    top = LEVELS.get(image.format, 0) - 1
    return bool(spare) and all(channel.lowest == top for channel in spare)


def _tile_px(image: pyvips.Image, recipe: Recipe) -> int:
    """Return the tile size; a picture smaller than a tile gets smaller ones, which readers ask."""
    longer: int = max(image.width, image.height)
    return min(recipe.tile_px, -(-longer // TILE_STEP_PX) * TILE_STEP_PX)


def _write_pyramid(image: pyvips.Image, target: Path, recipe: Recipe) -> DerivedFile:
    tile_px = _tile_px(image, recipe)
    image.tiffsave(
        str(target),
        pyramid=True,
        tile=True,
        tile_width=tile_px,
        tile_height=tile_px,
        compression="jpeg",
        Q=recipe.pyramid_quality,
        bigtiff=image.width * image.height * image.bands > CLASSIC_TIFF_SAFE_BYTES,
        keep="icc",
    )
    keep_cut_tiles(target, quality=recipe.pyramid_quality)
    return _derived_file("pyramid", target, image)


def _write_thumbnails(
    pyramid: DerivedFile, folder: Path, recipe: Recipe, key: str, is_stretched: bool
) -> list[DerivedFile]:
    """Write the thumbnails, largest first, each made from the next larger one."""
    sizes = sorted(recipe.thumbnail_sizes_px, reverse=True)
    image = _level_for(folder / pyramid.name, sizes[0])
    files = []
    for size in sizes:
        image = image.thumbnail_image(size, height=size, size="down").copy_memory()
        target = folder / thumbnail_name(key, size)
        final = _with_mark(image) if is_stretched else image
        final.jpegsave(str(target), Q=recipe.thumbnail_quality, keep="icc")
        files.append(_derived_file("thumbnail", target, final))
    return files


def _level_for(pyramid: Path, size_px: int) -> pyvips.Image:
    """Open the smallest level of the pyramid that is not smaller than ``size_px``."""
    chosen = pyvips.Image.tiffload(str(pyramid), fail_on=FAIL_ON)
    for page in range(1, chosen.get("n-pages")):
        level = pyvips.Image.tiffload(str(pyramid), page=page, fail_on=FAIL_ON)
        if max(level.width, level.height) < size_px:
            break
        chosen = level
    return chosen


def _with_mark(image: pyvips.Image) -> pyvips.Image:
    mark = pyvips.Image.new_from_array(stretched_mark(width_px=image.width, height_px=image.height))
    return image.insert(mark, 0, image.height - mark.height)


def _derived_file(kind: str, path: Path, image: pyvips.Image) -> DerivedFile:
    return DerivedFile(kind, path.name, image.width, image.height, path.stat().st_size)
