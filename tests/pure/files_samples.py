"""Picture files for the tests of the file layer, made on the spot by an independent writer."""

from __future__ import annotations

import json
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from imaging_requests.imaging.files.file_checks import FileChecks
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.recipe import Recipe, Tone

CHECKOUT = Path(__file__).resolve().parents[2]
SETTINGS = CHECKOUT / "fixtures" / "checks"
WIDTH, HEIGHT = 150, 101


def settings(name: str) -> dict[str, Any]:
    """Return one of the versioned data files of the file layer."""
    data: dict[str, Any] = json.loads((SETTINGS / f"{name}-1.json").read_text(encoding="utf-8"))
    return data


def recipe(tone: Tone = Tone.AUTO) -> Recipe:
    """Return the recipe that the program ships."""
    return Recipe.from_settings(settings("derivatives"), tone=tone)


def limits(**changes: Any) -> Limits:
    """Return the limits that the program ships, some of them changed."""
    return Limits(**(Limits.from_settings(settings("reading-limits")).as_data() | changes))


def checks() -> FileChecks:
    """Return the limits of the file checks that the program ships."""
    return FileChecks.from_settings(settings("file-checks"))


def pixels(
    *, bands: int = 3, bits: int = 16, width: int = WIDTH, height: int = HEIGHT, seed: int = 7
) -> NDArray[Any]:
    """Return a smooth picture with grey noise that uses its depth; one band: two dimensions."""
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[0:height, 0:width]
    layers = [
        0.5 + 0.3 * np.sin(columns / (17 + 4 * band)) * np.cos(rows / 23) for band in range(bands)
    ]
    level = np.stack(layers, axis=-1) + rng.normal(0, 0.02, (height, width, 1))
    top = 2**bits - 1
    whole = np.clip(level * top, 0, top).astype(np.uint16 if bits == 16 else np.uint8)
    return whole[..., 0] if bands == 1 else whole


def write_tiff(path: Path, array: NDArray[Any], **options: Any) -> Path:
    """Write a TIFF with tifffile; ``planar`` turns the channels into planes."""
    if options.pop("planar", False):
        array, options["planarconfig"] = np.moveaxis(array, -1, 0), "separate"
    is_colour = array.ndim == 3
    options.setdefault("photometric", "rgb" if is_colour else "minisblack")
    tifffile.imwrite(path, array, metadata=None, **options)
    return path


def png_chunk(name: bytes, body: bytes) -> bytes:
    """Return one chunk of a PNG with its checksum."""
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def exif_block(order: str = "<") -> bytes:
    """Return an Exif block built byte by byte: two tables, values behind them."""
    mark = b"II*\0" if order == "<" else b"MM\0*"
    main = [(271, 2, b"Ardenworks\0"), (272, 2, b"Field 100\0"), (274, 3, (6,))]
    detail = [
        (33434, 5, (1, 60)), (33437, 5, (8, 1)), (34855, 3, (200,)),
        (36867, 2, b"2026:03:04 10:20:30\0"), (36881, 2, b"+01:00\0"),
        (42033, 2, b"B-7741\0"), (42036, 2, b"Macro 120\0"), (42037, 2, b"L-0093\0"),
    ]  # fmt: skip
    main_bytes = 2 + 12 * (len(main) + 1) + 4
    detail_at = 8 + main_bytes
    values_at = detail_at + 2 + 12 * len(detail) + 4
    values = b""

    def table(entries: list[tuple[int, int, Any]]) -> bytes:
        nonlocal values
        raw = struct.pack(order + "H", len(entries))
        for tag, kind, value in entries:
            code = {3: "H", 4: "I", 5: "I"}.get(kind)
            body = value if code is None else struct.pack(f"{order}{len(value)}{code}", *value)
            count = len(value) // 2 if kind == 5 else len(value)
            raw += struct.pack(order + "HHI", tag, kind, count)
            if len(body) <= 4:
                raw += body.ljust(4, b"\0")
            else:
                raw += struct.pack(order + "I", values_at + len(values))
                values += body + bytes(len(body) % 2)
        return raw + bytes(4)

    first = table([*main, (34665, 4, (detail_at,))])
    second = table(detail)
    return mark + struct.pack(order + "I", 8) + first + second + values
