"""Write the moving picture laid over the reference: same grid of px, values interpolated."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
import pyvips

from .matrices import Matrix


class ExistsError(ValueError):
    """A file of that name is there already; nothing is ever overwritten."""


def write_aligned(
    moving: Path, output: Path, *, to_reference: Matrix, width_px: int, height_px: int
) -> None:
    """Resample a picture file on the px grid of the reference and write it as TIFF.

    Bicubic interpolation, streamed by libvips. Places that the moving picture does not show are 0
    in every channel. Bits per channel and profile are those of the moving picture.

    Raises:
        ExistsError: `output` is there already.
        pyvips.Error: The moving picture cannot be read, or the disk is full.
    """
    if output.exists():
        raise ExistsError(f"{output} is there already and is not overwritten. Name another file.")
    image = pyvips.Image.new_from_file(str(moving), access="random", fail_on="error")
    back = np.linalg.inv(to_reference)
    places = pyvips.Image.xyz(width_px, height_px).cast("double")
    x, y = places[0], places[1]
    third = x * back[2, 0] + y * back[2, 1] + back[2, 2]
    source_x = (x * back[0, 0] + y * back[0, 1] + back[0, 2]) / third
    source_y = (x * back[1, 0] + y * back[1, 1] + back[1, 2]) / third
    laid = image.mapim(
        source_x.bandjoin(source_y), interpolate=pyvips.Interpolate.new("bicubic"), background=0
    ).cast(image.format)
    handle, name = tempfile.mkstemp(dir=output.parent, prefix=".part-", suffix=".tif")
    os.close(handle)
    part = Path(name)
    try:
        laid.tiffsave(str(part), compression="deflate", predictor="horizontal", bigtiff=True)
        os.link(part, output)
    except FileExistsError as error:
        raise ExistsError(
            f"{output} is there already and is not overwritten. Name another file."
        ) from error
    finally:
        part.unlink(missing_ok=True)
