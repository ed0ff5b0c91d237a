"""The kind of a file, from its bytes alone: names and MIME types can be wrong, and phones send neither correctly."""

from __future__ import annotations

import struct
from typing import Literal

from calibration.errors import PhotoError

Format = Literal["JPEG", "PNG", "WEBP", "TIFF", "HEIF"]

# Brands of ISO base media files (ISO/IEC 14496-12, 23008-12) that mean a still picture coded with HEVC.
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})

_OTHER_PICTURES: tuple[tuple[bytes, str], ...] = (
    (b"GIF8", "a GIF"),
    (b"BM", "a BMP"),
    (b"8BPS", "a layered picture of an image editor"),
    (b"\xff\x0a", "a JPEG XL"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000"),
)
# Camera raw files that a TIFF reader would open without complaint, showing a small preview instead of the photo.
_RAW_MARKS: tuple[tuple[int, bytes], ...] = ((8, b"CR"), (0, b"FUJIFILMCCD-RAW"), (0, b"II\x55\x00"), (0, b"IIRO"))
_PDF_MARK_WITHIN = 1024  # readers accept a PDF's header anywhere in its first 1024 bytes (ISO 32000-1, annex H)

_SEND_PHOTO = "Send the photo itself, as JPEG, PNG, WebP, TIFF or HEIC."


def sniff(data: bytes) -> Format:
    """The format that the first bytes announce.

    Raises:
        PhotoError: the file is empty or of another kind; the message names the kind if it is a common one.
    """
    if not data:
        raise PhotoError(
            "photo-empty", "The file is empty (0 bytes).", "Copy it again from the phone or camera; the copy failed."
        )
    raise_if_raw(any(data.startswith(mark, at) for at, mark in _RAW_MARKS))
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "WEBP"
    if data[:4] in (b"II*\x00", b"MM\x00*"):
        return "TIFF"
    if data[4:8] == b"ftyp":
        return _sniff_media(data)
    for mark, what in _OTHER_PICTURES:
        if data.startswith(mark):
            raise _other_picture(what)
    if b"%PDF-" in data[:_PDF_MARK_WITHIN]:
        raise PhotoError(
            "photo-is-pdf",
            "This is a PDF document, not a photo.",
            "Send the photo itself, as the camera saved it; a PDF has often shrunk the pictures inside it.",
        )
    raise PhotoError("photo-not-a-picture", "This file is not a picture of any kind known here.", _SEND_PHOTO)


def raise_if_raw(is_raw: bool) -> None:
    """Refuse a camera raw file.

    Raises:
        PhotoError: it is a raw file.
    """
    if is_raw:
        raise PhotoError(
            "photo-is-raw",
            "This is a camera raw file.",
            "Develop it with the camera's own settings and send the result as JPEG, or shoot JPEG beside raw.",
        )


def is_cut_short(data: bytes, kind: Format) -> bool:
    """True if the file's own structure says that its end is missing.

    Exact for WebP and HEIF, whose boxes state their sizes; for other formats a guess that chooses between two
    messages.
    """
    match kind:
        case "JPEG":
            return data.rfind(b"\xff\xd9") < data.rfind(b"\xff\xda") or b"\xff\xda" not in data
        case "PNG":
            return b"IEND" not in data
        case "WEBP":
            return len(data) < 12 or len(data) < 8 + struct.unpack_from("<I", data, 4)[0]
        case "HEIF":
            return _end_of_boxes(data) > len(data)
        case "TIFF":
            return False


def _sniff_media(data: bytes) -> Format:
    """Distinguish still HEIC from AVIF, raw files and films: all are ISO base media files."""
    size = min(max(struct.unpack_from(">I", data)[0], 16), 256)
    brands = {data[8:12], *(data[i : i + 4] for i in range(16, size, 4))}
    if data[8:12] in (b"avif", b"avis") or (b"avif" in brands and b"heic" not in brands):
        raise _other_picture("an AVIF")
    raise_if_raw(data[8:12] == b"crx ")
    if brands & _HEIF_BRANDS:
        return "HEIF"
    raise PhotoError("photo-is-film", "This is a film, not a photo.", "Take a still photo and send that.")


def _other_picture(what: str) -> PhotoError:
    return PhotoError("photo-other-format", f"This is {what} file, which this program does not read.", _SEND_PHOTO)


def _end_of_boxes(data: bytes) -> int:
    """End of the last top-level box of an ISO base media file, as stated by the box."""
    at = 0
    while at + 8 <= len(data):
        size = int(struct.unpack_from(">I", data, at)[0])
        if size == 0:  # "to the end of the file"
            return len(data)
        if size == 1 and at + 16 <= len(data):
            size = int(struct.unpack_from(">Q", data, at + 8)[0])
        if size < 8:
            return len(data)
        at += size
    return at
