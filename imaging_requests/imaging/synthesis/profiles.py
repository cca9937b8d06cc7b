"""ICC profiles of the working spaces, built byte by byte (ICC.1:2001-04, version 2.4).

A matrix profile for colour and two one-curve profiles for grey, each below one kilobyte.
"""

from __future__ import annotations

import struct
from functools import cache

from .colour import RGB_TO_XYZ, TONE_EXPONENT, WHITE_D50

WIDE_RGB_NAME = "Ardenmoor wide RGB"
GREY_NAME = "Ardenmoor grey"
GREY_LINEAR_NAME = "Ardenmoor grey linear"


def _fixed(value: float) -> bytes:
    """s15Fixed16Number."""
    return struct.pack(">i", round(value * 65536))


def _xyz(values: tuple[float, float, float]) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_fixed(value) for value in values)


def _curve(exponent: float) -> bytes:
    """curveType: no entry is the identity, one entry an exponent as u8Fixed8Number."""
    if exponent == 1.0:
        return b"curv\0\0\0\0" + struct.pack(">I", 0)
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(exponent * 256))


def _description(text: str) -> bytes:
    """textDescriptionType with an ASCII part only."""
    ascii_part = text.encode("ascii") + b"\0"
    head = b"desc\0\0\0\0" + struct.pack(">I", len(ascii_part)) + ascii_part
    return head + struct.pack(">II", 0, 0) + struct.pack(">HB", 0, 0) + bytes(67)


def _text(text: str) -> bytes:
    return b"text\0\0\0\0" + text.encode("ascii") + b"\0"


def _profile(colour_space: bytes, tags: list[tuple[bytes, bytes]]) -> bytes:
    """Header, tag table and data, every element on a four-byte boundary."""
    offset = 128 + 4 + 12 * len(tags)
    table = struct.pack(">I", len(tags))
    data = b""
    placed: dict[bytes, tuple[int, int]] = {}
    for signature, element in tags:
        if element not in placed:
            placed[element] = (offset + len(data), len(element))
            data += element + bytes(-len(element) % 4)
        position, length = placed[element]
        table += signature + struct.pack(">II", position, length)
    size = offset + len(data)
    header = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x02400000, b"mntr", colour_space, b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 5, 9, 0, 0) + b"acsp" + bytes(4) + struct.pack(">I", 0)
    header += bytes(4) + bytes(4) + bytes(8) + struct.pack(">I", 0)
    header += b"".join(_fixed(value) for value in WHITE_D50)
    header += bytes(128 - len(header))
    return header + table + data


@cache
def wide_rgb_profile() -> bytes:
    """The colour profile.

    >>> wide_rgb_profile()[36:40]
    b'acsp'
    """
    columns = [tuple(float(v) for v in RGB_TO_XYZ[:, i]) for i in range(3)]
    curve = _curve(TONE_EXPONENT)
    return _profile(
        b"RGB ",
        [
            (b"desc", _description(WIDE_RGB_NAME)),
            (b"cprt", _text("Free for any use")),
            (b"wtpt", _xyz(WHITE_D50)),
            (b"rXYZ", _xyz((columns[0][0], columns[0][1], columns[0][2]))),
            (b"gXYZ", _xyz((columns[1][0], columns[1][1], columns[1][2]))),
            (b"bXYZ", _xyz((columns[2][0], columns[2][1], columns[2][2]))),
            (b"rTRC", curve),
            (b"gTRC", curve),
            (b"bTRC", curve),
        ],
    )


@cache
def grey_profile(*, is_linear: bool = False) -> bytes:
    """The grey profile; linear for infrared, with the tone curve for X-ray."""
    return _profile(
        b"GRAY",
        [
            (b"desc", _description(GREY_LINEAR_NAME if is_linear else GREY_NAME)),
            (b"cprt", _text("Free for any use")),
            (b"wtpt", _xyz(WHITE_D50)),
            (b"kTRC", _curve(1.0 if is_linear else TONE_EXPONENT)),
        ],
    )
