"""Read the header of an X-ray plate in a DICOM file (DICOM PS3.3, PS3.5 and PS3.10).

The header is parsed by pydicom from the first megabyte only, and everything that it raises is an
answer. Pixels must be plain: other transfer syntaxes are refused by their name.
"""

import io
import struct
import warnings
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import pydicom
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
)

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.facts import Exif, Length, Radiograph, Structure
from imaging_requests.imaging.files.refusals import HeaderError, Reason, damaged

HEAD_BYTES = 1_048_576
PLAIN = (ImplicitVRLittleEndian, ExplicitVRLittleEndian, ExplicitVRBigEndian)
POLARITIES = ("MONOCHROME1", "MONOCHROME2")
PIXEL_DATA = (0x7FE0, 0x0010)
UNDEFINED = 0xFFFF_FFFF
LONG_VR = (b"OB", b"OW", b"UN")
SPACINGS = ("ImagerPixelSpacing", "DetectorElementSpacing", "PixelSpacing")
DATES = ("Acquisition", "Content", "Series", "Study")


def read_dicom(source: ByteSource) -> Structure:
    """Describe the plate in a DICOM file; no pixel is read.

    Raises ``HeaderError`` if it is damaged, compressed, in colour, or holds no picture.
    """
    head = io.BytesIO(source.peek(0, HEAD_BYTES))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            data = pydicom.dcmread(head, stop_before_pixels=True)
            facts = _facts(data)
    except HeaderError:
        raise
    except Exception as error:
        raise damaged("its DICOM header cannot be read") from error
    syntax = data.file_meta.get("TransferSyntaxUID") if data.get("file_meta", data) else None
    _demand_plain(syntax)
    _demand_grey(facts)
    is_little = syntax != ExplicitVRBigEndian
    at, length = _pixel_data(source, head.tell(), syntax == ImplicitVRLittleEndian, is_little)
    bits = facts["BitsAllocated"]
    needed = facts["Rows"] * facts["Columns"] * bits // 8 * facts["NumberOfFrames"]
    shortfall = ""
    if at + needed > source.size_bytes:
        shortfall = (
            f"the picture data should reach to byte {at + needed:,}, "
            f"the file ends after {source.size_bytes:,} bytes"
        )
    elif length < needed:
        shortfall = f"the picture needs {needed:,} bytes, its data element holds {length:,}"
    return Structure(
        format="dicom",
        width_px=facts["Columns"],
        height_px=facts["Rows"],
        bands=1,
        bits_per_sample=bits,
        sample_format="signed" if facts["PixelRepresentation"] else "unsigned",
        layout="rows",
        is_planar=False,
        byte_order="little" if is_little else "big",
        compression="none",
        is_lossy=False,
        colour="grey",
        orientation=1,
        alpha="",
        extra_bands=0,
        pages=facts["NumberOfFrames"],
        previews=0,
        has_layers=False,
        profile=None,
        resolution_px_per_mm=facts["resolution"],
        exif=facts["exif"],
        length=Length(at + needed, source.size_bytes, shortfall),
        radiograph=Radiograph(
            polarity=facts["PhotometricInterpretation"],
            stored_bits=facts["BitsStored"],
            high_bit=facts["HighBit"],
            slope=facts["slope"],
            intercept=facts["intercept"],
            syntax=str(syntax),
            pixels_at=at,
        ),
    )


def _facts(data: Any) -> dict[str, Any]:
    """Take the values of the header that a plate is described by, as plain values."""
    if "Rows" not in data or "Columns" not in data:
        raise HeaderError(
            Reason.UNSUPPORTED,
            "This DICOM file holds no picture: it gives neither rows nor columns. Export the plate "
            "itself and send that.",
        )
    bits = int(data.get("BitsAllocated", 0))
    stored = int(data.get("BitsStored", bits))
    return {
        "Rows": int(data.Rows),
        "Columns": int(data.Columns),
        "BitsAllocated": bits,
        "BitsStored": stored,
        "HighBit": int(data.get("HighBit", stored - 1)),
        "PixelRepresentation": int(data.get("PixelRepresentation", 0)),
        "SamplesPerPixel": int(data.get("SamplesPerPixel", 1)),
        "NumberOfFrames": max(1, int(data.get("NumberOfFrames", 1) or 1)),
        "PhotometricInterpretation": str(data.get("PhotometricInterpretation", "")),
        "slope": float(data.get("RescaleSlope", 1) or 1),
        "intercept": float(data.get("RescaleIntercept", 0) or 0),
        "resolution": _resolution(data),
        "exif": _capture(data),
    }


def _resolution(data: Any) -> tuple[float, float] | None:
    """Return px/mm (x, y) at the detector; DICOM gives row spacing (y) before column spacing."""
    for name in SPACINGS:
        spacing = data.get(name)
        if spacing and len(spacing) == 2 and float(spacing[0]) > 0 and float(spacing[1]) > 0:
            return 1 / float(spacing[1]), 1 / float(spacing[0])
    return None


def _capture(data: Any) -> Exif:
    text, instant = "", None
    for name in DATES:
        day, clock = str(data.get(f"{name}Date", "")), str(data.get(f"{name}Time", ""))
        try:
            instant = datetime.strptime(f"{day} {clock[:6].ljust(6, '0')}", "%Y%m%d %H%M%S")
        except ValueError:
            continue
        text = f"{instant:%Y:%m:%d %H:%M:%S}"
        break
    exposure_ms = data.get("ExposureTime")
    return Exif(
        captured_text=text,
        captured_local=instant,
        make=str(data.get("Manufacturer", "")),
        model=str(data.get("ManufacturerModelName", "")),
        body_serial=str(data.get("DeviceSerialNumber", "")),
        exposure_s=float(exposure_ms) / 1000 if exposure_ms else None,
    )


def _demand_plain(syntax: Any) -> None:
    if syntax in PLAIN:
        return
    name = getattr(syntax, "name", "") or "not stated"
    packed = "deflated" if syntax == DeflatedExplicitVRLittleEndian else "compressed"
    raise HeaderError(
        Reason.UNSUPPORTED,
        f"The plate in this DICOM file is {packed} ({name}). Plates are read without compression: "
        "export it again as Explicit VR Little Endian, or as a 16-bit TIFF.",
    )


def _demand_grey(facts: Mapping[str, Any]) -> None:
    bits, stored, high = facts["BitsAllocated"], facts["BitsStored"], facts["HighBit"]
    kind = facts["PhotometricInterpretation"]
    if facts["SamplesPerPixel"] != 1 or kind not in POLARITIES:
        raise HeaderError(
            Reason.UNSUPPORTED,
            f"This DICOM file holds a picture of the kind {kind or 'not stated'}; plates are read "
            "as MONOCHROME1 or MONOCHROME2. Export it as one of these, or as a 16-bit TIFF.",
        )
    if bits not in (8, 16):
        raise HeaderError(
            Reason.UNSUPPORTED,
            f"The plate in this DICOM file has {bits} bits for each level; 8 and 16 can be read. "
            "Export it again with 16 bits.",
        )
    if not 1 <= stored <= bits or not stored - 1 <= high < bits:
        raise damaged(f"it says that {stored} of {bits} bits up to bit {high} carry the level")
    if facts["Rows"] < 1 or facts["Columns"] < 1:
        raise damaged("its header gives the picture no width or no height")


def _pixel_data(source: ByteSource, at: int, is_implicit: bool, is_little: bool) -> tuple[int, int]:
    """Return where the levels begin and how long their data element is."""
    order = "<" if is_little else ">"
    head = source.read(at, 12, "the picture data")
    if struct.unpack(order + "HH", head[:4]) != PIXEL_DATA:
        raise HeaderError(
            Reason.UNSUPPORTED,
            "The header of this DICOM file is longer than a megabyte, or it holds no picture data. "
            "Export the plate again without additional data.",
        )
    if is_implicit:
        (length,) = struct.unpack(order + "I", head[4:8])
        start = at + 8
    else:
        if head[4:6] not in LONG_VR:
            raise damaged("its picture data have a kind that pictures do not have")
        (length,) = struct.unpack(order + "I", head[8:12])
        start = at + 12
    if length == UNDEFINED:
        raise HeaderError(
            Reason.UNSUPPORTED,
            "The plate in this DICOM file is cut into packed pieces. Export it again without "
            "compression, or as a 16-bit TIFF.",
        )
    return start, length
