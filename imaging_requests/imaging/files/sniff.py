"""Tell what a file is from its first bytes; its name is never believed."""

from collections.abc import Callable
from dataclasses import dataclass

HEAD_BYTES = 512
_TEXT_BYTES = set(range(0x20, 0x7F)) | {0x09, 0x0A, 0x0C, 0x0D} | set(range(0x80, 0x100))
_CONTROL_SHARE_OF_TEXT = 0.02


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of file: ``key`` for programs, ``name`` for people ("a PDF document")."""

    key: str
    name: str


def _begins(*signatures: bytes) -> Callable[[bytes], bool]:
    return lambda head: head.startswith(signatures)


def _at(offset: int, signature: bytes) -> Callable[[bytes], bool]:
    return lambda head: head[offset : offset + len(signature)] == signature


CAMERA_RAW = Kind("camera_raw", "a raw file from a camera")
TEXT = Kind("text", "a text file")
UNKNOWN = Kind("unknown", "no kind of picture known here")
#: Endings that a file of a kind has by right, of kinds that are not taken.
OWN_ENDINGS: dict[str, tuple[str, ...]] = {
    "text": (".txt", ".csv", ".json", ".xml", ".xmp", ".md", ".log"),
    "pdf": (".pdf",),
    "layered": (".psd", ".psb"),
    "gif": (".gif",),
    "bmp": (".bmp", ".dib"),
    "webp": (".webp",),
    "jxl": (".jxl",),
    "iso_media": (".heic", ".heif", ".avif", ".mp4", ".mov", ".m4v"),
    "archive": (".zip", ".gz", ".tgz", ".7z", ".rar"),
}

KINDS: tuple[tuple[Callable[[bytes], bool], Kind], ...] = (
    (_at(128, b"DICM"), Kind("dicom", "a DICOM file")),  # may be a TIFF as well, without polarity
    (_at(8, b"CR\x02\0"), CAMERA_RAW),
    (_begins(b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FUJIFILMCCD-RAW", b"FOVb"), CAMERA_RAW),
    (_at(4, b"ftypcrx "), CAMERA_RAW),
    (_begins(b"II+\0", b"MM\0+"), Kind("bigtiff", "a BigTIFF picture")),
    (_begins(b"II*\0", b"MM\0*"), Kind("tiff", "a TIFF picture")),
    (_begins(b"\xff\xd8\xff"), Kind("jpeg", "a JPEG picture")),
    (_begins(b"\x89PNG\r\n\x1a\n"), Kind("png", "a PNG picture")),
    (_begins(b"%PDF-"), Kind("pdf", "a PDF document")),
    (_begins(b"8BPS"), Kind("layered", "a layered document of an image editor")),
    (_begins(b"GIF87a", b"GIF89a"), Kind("gif", "a GIF picture")),
    (_begins(b"BM"), Kind("bmp", "a BMP picture")),
    (_at(8, b"WEBP"), Kind("webp", "a WebP picture")),
    (_begins(b"\0\0\0\x0cjP  ", b"\xff\x4f\xff\x51"), Kind("jp2", "a JPEG 2000 picture")),
    (_begins(b"\xff\x0a", b"\0\0\0\x0cJXL "), Kind("jxl", "a JPEG XL picture")),
    (_at(4, b"ftyp"), Kind("iso_media", "a HEIF or AVIF picture or a film")),
    (_begins(b"PK\x03\x04", b"\x1f\x8b", b"7z\xbc\xaf", b"Rar!"), Kind("archive", "an archive")),
)


def recognise(head: bytes) -> Kind:
    """Return the kind of a file from its first ``HEAD_BYTES`` bytes (fewer if it is shorter).

    >>> recognise(b"II*\\0" + bytes(8)).key
    'tiff'
    >>> recognise(b"dear colleague, here are the pictures").key
    'text'
    """
    for matches, kind in KINDS:
        if matches(head):
            return kind
    return TEXT if _looks_like_text(head) else UNKNOWN


def _looks_like_text(head: bytes) -> bool:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        head = head[2:].replace(b"\0", b"")
    if not head:
        return False
    controls = sum(1 for byte in head if byte not in _TEXT_BYTES)
    return controls <= len(head) * _CONTROL_SHARE_OF_TEXT
