"""Read a picture file once, top to bottom, into a frame for the rules; memory stays bounded.

Runs in the guarded process; nothing else should call it with files from outside.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.decode import ICC_NAME, colour_bands, explain, open_pixels
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.limits import Limits, refuse_by_header, refuse_extra_channels
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.measure.encoding import Encoding, power_encoding, read_encoding
from imaging_requests.imaging.measure.frame import Frame, FrameBuilder, StripFacts
from imaging_requests.imaging.measure.plain import PlainPixels, plain_pixels

TOPS = {"uchar": 255, "ushort": 65_535}
Fetch = Callable[[int, int, int, int], NDArray[Any]]
"""Left, top, width, height → levels, (rows, columns) or (rows, columns, 3)."""


def read_frame(
    path: Path,
    *,
    clip: tuple[float, float],
    limits: Limits,
    scratch: Path,
    is_linear: bool = False,
) -> Frame | Unreadable:
    """Read a picture file.

    Args:
        path: The file; only read.
        clip: Shares of full scale at or beyond which a pixel is clipped, low and high.
        limits: What one file may cost.
        scratch: A folder for what has to be unfolded first; somebody else removes it.
        is_linear: Take a grey picture without a profile as proportional to light.

    Returns:
        The frame, or why the file gives none.
    """
    structure = read_structure(path)
    if isinstance(structure, Unreadable):
        return structure
    refusal = refuse_by_header(structure, limits) or refuse_extra_channels(structure)
    if refusal is not None:
        return refusal
    try:
        return _read(path, structure, clip, scratch, is_linear, limits.threads)
    except pyvips.Error as error:
        return explain(error)


def _read(
    path: Path,
    structure: Structure,
    clip: tuple[float, float],
    scratch: Path,
    is_linear: bool,
    threads: int,
) -> Frame | Unreadable:
    image = _open(path, structure, scratch)
    if image.format not in TOPS or image.bands not in (1, 3) or structure.colour == "lab":
        return Unreadable(
            Reason.UNSUPPORTED,
            f"The picture has {image.bands} channels of kind {structure.colour}; grey and RGB with "
            "8 or 16 bits can be measured. Export it as RGB or grey and send it again.",
        )
    top = TOPS[image.format]
    encoding = _encoding(image, is_linear)
    builder = FrameBuilder(image.width, image.height, image.bands, top, clip=clip)
    plain = plain_pixels(path, structure)
    fetch = _Rows(image).fetch if plain is None else plain.fetch
    _look_through(builder, fetch, (image.width, image.height), threads, plain is not None)
    return builder.frame(encoding, _Crops(path, structure, scratch, plain))


def _look_through(
    builder: FrameBuilder,
    fetch: Fetch,
    size_px: tuple[int, int],
    threads: int,
    is_any_order: bool,
) -> None:
    """Bring all rows to the builder; blocks are looked at by several threads at once.

    A decoder goes from top to bottom in this thread; of a plain file every thread reads its own
    rows. Only as many blocks as there is work for are in memory.
    """
    width, height = size_px
    rows = builder.block_rows

    def whole(upper: int) -> StripFacts:
        return builder.look(fetch(0, upper, width, min(rows, height - upper)), upper)

    waiting: deque[Future[StripFacts]] = deque()
    with ThreadPoolExecutor(max_workers=max(1, threads)) as pool:
        for upper in range(0, height, rows):
            if is_any_order:
                waiting.append(pool.submit(whole, upper))
            else:
                block = fetch(0, upper, width, min(rows, height - upper))
                waiting.append(pool.submit(builder.look, block, upper))
            if len(waiting) > 2 * threads:
                builder.keep(waiting.popleft().result())
        while waiting:
            builder.keep(waiting.popleft().result())


def _open(path: Path, structure: Structure, scratch: Path) -> pyvips.Image:
    """Open the colour channels for one pass; each opening unfolds into a folder of its own."""
    image = open_pixels(path, structure, Path(mkdtemp(dir=scratch)))
    bands = colour_bands(image)
    return image.extract_band(0, n=bands) if image.bands > bands else image


class _Rows:
    """Fetches parts of a picture in order, top to bottom, in this thread."""

    def __init__(self, image: pyvips.Image) -> None:
        self._region = pyvips.Region.new(image)
        self._bands = image.bands
        self._type = np.uint8 if image.format == "uchar" else np.uint16

    def fetch(self, left: int, top: int, width: int, height: int) -> NDArray[Any]:
        """Levels of a part, (rows, columns) or (rows, columns, 3)."""
        raw = np.frombuffer(self._region.fetch(left, top, width, height), self._type)
        shape = (height, width) if self._bands == 1 else (height, width, self._bands)
        return raw.reshape(shape)


def _encoding(image: pyvips.Image, is_linear: bool) -> Encoding | None:
    if image.get_typeof(ICC_NAME):
        return read_encoding(bytes(image.get(ICC_NAME)))
    return power_encoding(1.0) if is_linear and image.bands == 1 else None


class _Crops:
    """Fetches parts of a file: straight from its bytes if it is plain, else by decoding again."""

    def __init__(
        self, path: Path, structure: Structure, scratch: Path, plain: PlainPixels | None
    ) -> None:
        self._path, self._structure, self._scratch = path, structure, scratch
        self._plain = plain

    def __call__(self, left: int, top: int, width: int, height: int) -> NDArray[Any] | None:
        left, top = max(0, left), max(0, top)
        width = min(width, self._structure.width_px - left)
        height = min(height, self._structure.height_px - top)
        if width <= 0 or height <= 0:
            return None
        if self._plain is not None:
            part = self._plain.fetch(left, top, width, height)
        else:
            image = _open(self._path, self._structure, self._scratch)
            part = _Rows(image).fetch(left, top, width, height)
        return part.astype(np.float32) / np.float32(np.iinfo(part.dtype).max)
