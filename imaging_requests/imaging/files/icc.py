"""Read the name and the kind of an ICC profile (ICC.1, header and ``desc`` tag)."""

import hashlib
import struct

from imaging_requests.imaging.files.facts import Profile

HEADER_BYTES = 128
USABLE_TAGS = (
    {b"kTRC"},
    {b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC"},
    {b"A2B0"},
)
"""The curves or tables from which a profile of any kind leads to colour; one set is enough."""
MAX_PROFILE_BYTES = 16 * 1024 * 1024
MAX_TAGS = 200


def read_profile(data: bytes) -> Profile:
    """Describe an embedded profile; never raises, one that leads to no colour is not ``is_sound``.

    ``data``: the bytes of the profile. The description is taken from the ``desc`` tag, as text
    (version 2) or as the first translation, English preferred (version 4).

    >>> from imaging_requests.imaging.synthesis.profiles import grey_profile
    >>> profile = read_profile(grey_profile(is_linear=True))
    >>> profile.description, profile.colour_space, profile.is_sound
    ('Ardenmoor grey linear', 'GRAY', True)
    >>> read_profile(b"not a profile").is_sound
    False
    """
    description, is_sound = "", False
    try:
        tags = _tags(data)
        is_sound = any(required <= tags.keys() for required in USABLE_TAGS)
        description = _text(tags.get(b"desc", b""))
    except (struct.error, UnicodeDecodeError, ValueError):
        is_sound = False
    return Profile(
        description=description,
        colour_space=data[16:20].decode("ascii", "replace").strip() if is_sound else "",
        size_bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
        is_sound=is_sound,
    )


def _tags(data: bytes) -> dict[bytes, bytes]:
    (size, signature) = struct.unpack_from(">I32x4s", data)
    (count,) = struct.unpack_from(">I", data, HEADER_BYTES)
    if signature != b"acsp" or size > len(data) or count > MAX_TAGS:
        raise ValueError("not a whole profile")
    tags: dict[bytes, bytes] = {}
    for number in range(count):
        name, offset, length = struct.unpack_from(">4sII", data, HEADER_BYTES + 4 + 12 * number)
        if offset + length > len(data):
            raise ValueError("a tag lies outside the profile")
        tags[name] = data[offset : offset + length]
    return tags


def _text(tag: bytes) -> str:
    kind = tag[:4]
    if kind == b"desc":
        (length,) = struct.unpack_from(">I", tag, 8)
        return tag[12 : 12 + length].split(b"\0")[0].decode("latin-1").strip()
    if kind == b"mluc":
        count, record_bytes = struct.unpack_from(">II", tag, 8)
        if record_bytes < 12 or count == 0 or count > MAX_TAGS:
            raise ValueError("unusable list of translations")
        texts: dict[bytes, str] = {}
        for number in range(count):
            language, _country, length, offset = struct.unpack_from(
                ">2s2sII", tag, 16 + record_bytes * number
            )
            text = tag[offset : offset + length].decode("utf-16-be").strip("\0 ")
            texts.setdefault(language, text)
        return texts.get(b"en", next(iter(texts.values())))
    return ""
