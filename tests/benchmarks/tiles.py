"""How quickly pictures leave: tiles on the grid, tiles at the edge, and regions.

    python tests/benchmarks/tiles.py [--megapixels 100] [--samples 400] [--json]

Tiles are compared with an empty page behind the same middleware for somebody signed in, regions
with libvips doing the same work on the same file in this process. Everything is asked by turns in
one run, each address once, so that whatever slows the machine slows both sides. Makes a database
and a pyramid of its own in a folder that is removed afterwards.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median, quantiles
from typing import Any

CHECKOUT = Path(__file__).resolve().parents[2]
MOST_OF_EMPTY = 1.5
MOST_OF_LIBVIPS = 2.0
QUALITY = 88
WARM_UP = 20


def prepare(folder: Path) -> None:
    """Stand on a fresh database in a folder, with everything that a site has."""
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": "imaging_requests.config.settings",
        "IMAGING_DATA_DIR": str(folder),
        "IMAGING_LOG_LEVEL": "ERROR",
        "IMAGING_HOSTS": "testserver",
        "IMAGING_SECRET_KEY": "only-for-benchmarks-" * 4,
    }
    sys.path[:0] = [str(CHECKOUT), str(CHECKOUT / "tests" / "benchmarks")]
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0)
    from django.conf import settings

    settings.ROOT_URLCONF = "timing"


def stage(megapixels: float) -> tuple[Any, str, Path, tuple[int, int]]:
    """Make a person, a picture and its pyramid; return client, address, file and size."""
    import numpy as np
    import pyvips
    from django.conf import settings
    from django.test import Client

    from imaging_requests.imaging.iiif.edges import keep_cut_tiles
    from imaging_requests.intake.models import Derivative
    from imaging_requests.pictures.sources import identifier_of
    from tests import factory

    factory.rules()
    signe = factory.lead()
    frame = factory.frame()
    row = factory.deliverable(factory.museum_object("AR 0070"), "VF", frames=[frame])
    wide = round((megapixels * 1e6 * 4 / 3) ** 0.5)
    high = round(wide * 3 / 4)
    coarse = np.random.default_rng(7).integers(0, 255, (high // 8, wide // 8, 3), dtype=np.uint8)
    image = pyvips.Image.new_from_array(coarse).copy(interpretation="srgb")
    image = image.resize(wide / image.width, vscale=high / image.height).cast("uchar")
    path = Path(settings.DERIVED_DIR) / "bench" / "pyramid.tif"
    path.parent.mkdir(parents=True, exist_ok=True)
    image.tiffsave(
        str(path), pyramid=True, tile=True, tile_width=512, tile_height=512,
        compression="jpeg", Q=QUALITY,
    )  # fmt: skip
    keep_cut_tiles(path, quality=QUALITY)
    Derivative.objects.create(
        frame=frame, kind="pyramid", recipe="bench", path="bench/pyramid.tif",
        width_px=image.width, height_px=image.height,
    )  # fmt: skip
    client = Client()
    client.force_login(signe)
    return client, f"/pictures/iiif/{identifier_of(row)}", path, (image.width, image.height)


def tile_requests(pyramid: Any, *, whole: bool, draw: random.Random) -> Iterator[str]:
    """Yield tiles of all levels in chance order: whole ones, or those that the edge cuts."""
    found = []
    for number, level in enumerate(pyramid.levels):
        step = level.tile_width_px * 2**number
        for row in range(-(-level.height_px // level.tile_height_px)):
            for column in range(level.across):
                if level.is_whole(column, row) != whole:
                    continue
                x, y = column * step, row * step
                wide = min(step, pyramid.width_px - x)
                high = min(step, pyramid.height_px - y)
                size = f"{-(-wide // 2**number)},{-(-high // 2**number)}"
                found.append(f"{x},{y},{wide},{high}/{size}/0/default.jpg")
    while True:
        draw.shuffle(found)
        yield from found


def region_requests(
    size_px: tuple[int, int], draw: random.Random
) -> Iterator[tuple[tuple[int, int, int, int], tuple[int, int]]]:
    """Yield regions of chance place and size, shown at up to 1,000 px: looks, not downloads."""
    while True:
        wide, high = draw.randint(200, size_px[0]), draw.randint(200, size_px[1])
        x, y = draw.randint(0, size_px[0] - wide), draw.randint(0, size_px[1] - high)
        scale = min(1.0, draw.randint(200, 1000) / max(wide, high))
        yield (x, y, wide, high), (max(1, round(wide * scale)), max(1, round(high * scale)))


def by_hand(path: Path, region: tuple[int, int, int, int], out: tuple[int, int]) -> bytes:
    """Read the same region with libvips as one would write it by hand."""
    import pyvips

    x, y, wide, high = region
    page = 0
    while 2 ** (page + 1) <= min(wide / out[0], high / out[1]):
        page += 1
    level = pyvips.Image.tiffload(str(path), page=page)
    page_scale = 2**page
    cut = level.crop(
        x // page_scale, y // page_scale,
        max(1, min(wide // page_scale, level.width - x // page_scale)),
        max(1, min(high // page_scale, level.height - y // page_scale)),
    )  # fmt: skip
    fitted = cut.resize(out[0] / cut.width, vscale=out[1] / cut.height)
    data: bytes = fitted.jpegsave_buffer(Q=QUALITY)
    return data


def clock_ms(work: Callable[[], Any]) -> tuple[float, float]:
    """Return how many milliseconds something takes, by the clock and of the processor.

    The second says more on a machine that is busy with other things.
    """
    started, worked = time.perf_counter(), time.process_time()
    work()
    return (time.perf_counter() - started) * 1000, (time.process_time() - worked) * 1000


def _summed_up(times: list[tuple[float, float]]) -> dict[str, float]:
    wall, processor = zip(*times, strict=True)
    return {
        "median": median(wall),
        "p95": quantiles(wall, n=20)[-1],
        "processor median": median(processor),
        "processor p95": quantiles(processor, n=20)[-1],
    }


def measure(megapixels: float, samples: int) -> dict[str, Any]:
    """Ask for everything by turns and return milliseconds and ratios."""
    import timing

    from imaging_requests.imaging.iiif.pyramid import read_pyramid

    client, base, path, size_px = stage(megapixels)
    pyramid = read_pyramid(path)
    draw = random.Random(20261128)
    tiles = tile_requests(pyramid, whole=True, draw=draw)
    edges = tile_requests(pyramid, whole=False, draw=draw)
    regions = region_requests(size_px, draw)
    spent: dict[str, list[tuple[float, float]]] = {
        name: [] for name in ("empty", "tile", "edge tile", "region", "region by hand")
    }

    def get(address: str) -> None:
        answer = client.get(address)
        body = b"".join(answer)
        if answer.status_code != 200 or (not body and address != timing.BARE):
            raise SystemExit(f"{address} answered {answer.status_code}.")

    for turn in range(WARM_UP + samples):
        region, out = next(regions)
        asked = f"{','.join(map(str, region))}/{out[0]},{out[1]}/0/default.jpg"
        turns = {
            "empty": lambda: get(timing.BARE),
            "tile": lambda: get(f"{base}/{next(tiles)}"),
            "edge tile": lambda: get(f"{base}/{next(edges)}"),
            "region": lambda asked=asked: get(f"{base}/{asked}"),
            "region by hand": lambda region=region, out=out: by_hand(path, region, out),
        }
        for name in draw.sample(list(turns), len(turns)):
            ms = clock_ms(turns[name])
            if turn >= WARM_UP:
                spent[name].append(ms)
    ms = {name: _summed_up(times) for name, times in spent.items()}
    return {
        "megapixels": size_px[0] * size_px[1] / 1e6,
        "pyramid_mb": path.stat().st_size / 1e6,
        "samples": samples,
        "ms": ms,
        "ratios": {
            name: {of: ms[over][of] / ms[under][of] for of in ms[over]}
            for name, over, under in (
                ("tile / empty", "tile", "empty"),
                ("edge tile / empty", "edge tile", "empty"),
                ("region / libvips", "region", "region by hand"),
            )
        },
    }


def in_words(found: dict[str, Any]) -> str:
    """Say what was measured in lines for people."""
    lines = [
        f"{found['megapixels']:.0f} MP, pyramid of {found['pyramid_mb']:.0f} MB, "
        f"{found['samples']} requests of each kind"
    ]
    for unit, rows in (("ms", found["ms"]), ("times", found["ratios"])):
        lines += [
            f"  {name:<18} "
            + "   ".join(f"{of} {value:.2f} {unit}" for of, value in values.items())
            for name, values in rows.items()
        ]
    return "\n".join(lines)


def main() -> int:
    """Print what was measured; the exit code says whether the two promises hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megapixels", type=float, default=100)
    parser.add_argument("--samples", type=int, default=400)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tiles-") as folder:
        prepare(Path(folder))
        found = measure(options.megapixels, options.samples)
    sys.stdout.write(f"{json.dumps(found) if options.json else in_words(found)}\n")
    ratios = found["ratios"]
    is_kept = (
        ratios["tile / empty"]["p95"] <= MOST_OF_EMPTY
        and ratios["region / libvips"]["p95"] <= MOST_OF_LIBVIPS
    )
    return 0 if is_kept else 1


if __name__ == "__main__":
    sys.exit(main())
