"""The formats that are read, each with its header reader and the name of its decoder.

A new format is one more line here, a header reader, and files of it in the tests.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.jp2_structure import read_jp2
from imaging_requests.imaging.files.jpeg_structure import read_jpeg
from imaging_requests.imaging.files.png_structure import read_png
from imaging_requests.imaging.files.tiff_structure import read_tiff


@dataclass(frozen=True, slots=True)
class Format:
    """``key`` is the key of ``sniff.recognise``; ``decoder`` is the libvips operation.

    ``decoder_options``: what it is told besides. TIFF is read without the library's own bound on
    the size of a strip, since the guarded process has a bound on memory. ``decoder`` is empty for
    formats that are unfolded by a module of their own (``unfold``).
    """

    key: str
    name: str
    read: Callable[[ByteSource], Structure]
    decoder: str = ""
    decoder_options: Mapping[str, object] = field(default_factory=dict)


def _read_dicom(source: ByteSource) -> Structure:
    """Read the header of an X-ray plate; its library is loaded only when one comes."""
    from imaging_requests.imaging.files.dicom_structure import read_dicom

    return read_dicom(source)


UNBOUNDED_STRIPS = {"unlimited": True}
FORMATS: dict[str, Format] = {
    known.key: known
    for known in (
        Format("tiff", "TIFF", read_tiff, "tiffload", UNBOUNDED_STRIPS),
        Format("bigtiff", "BigTIFF", read_tiff, "tiffload", UNBOUNDED_STRIPS),
        Format("jpeg", "JPEG", read_jpeg, "jpegload"),
        Format("png", "PNG", read_png, "pngload"),
        Format("jp2", "JPEG 2000", read_jp2),
        Format("dicom", "DICOM", _read_dicom),
    )
}
ACCEPTED_NAMES = "TIFF, BigTIFF, JPEG, PNG, JPEG 2000 and DICOM"
