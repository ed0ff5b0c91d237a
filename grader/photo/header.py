"""The gate before decoding: the header is checked against stated limits, at almost no cost."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from PIL import Image, UnidentifiedImageError

from calibration.errors import PhotoError
from grader.photo.heif import check_heif
from grader.photo.sniff import Format, is_cut_short
from grader.photo.tiff import bits_per_channel, check_tiff

# Above the 48 and 50 megapixels of large phone sensors; its pixels take 180 MB, which a laptop has to spare.
MAX_PIXELS = 60_000_000
# An uncompressed TIFF of MAX_PIXELS (3 bytes a pixel) with room for its metadata. No photo needs to be larger.
MAX_FILE_BYTES = 200_000_000
# At 3 px/mm, where the narrowest contacts stop being measurable, 32 px are 11 mm: less than any board's edge.
MIN_SIDE_PX = 32
# A JPEG of one flat colour spends about 0.02 byte on each pixel (two Huffman codes for each 8 × 8 block), real photos
# 0.1 to 1. A huge picture in far fewer bytes was built to fill memory.
BOMB_BYTES_PER_PIXEL = 0.01

_HDR_TRANSFERS = {16: "PQ", 18: "HLG"}  # ITU-T H.273, table 3
_SEND_ORIGINAL = "Send the camera's original file."


def check_file_size(n_bytes: int) -> None:
    """Refuse a file that is larger than any photo.

    Raises:
        PhotoError: more than ``MAX_FILE_BYTES``.
    """
    if n_bytes > MAX_FILE_BYTES:
        raise PhotoError(
            "photo-file-too-large",
            f"The file has more than {MAX_FILE_BYTES / 1e6:.0f} MB.",
            "Send the photo as JPEG or HEIC, as the camera saved it.",
        )


def damaged(data: bytes, kind: Format, cut_short: bool = False) -> PhotoError:
    """The error for bytes that start as a photo but do not continue as one."""
    again = "Copy the file again from the phone or camera, and compare the sizes."
    if cut_short or is_cut_short(data, kind):
        return PhotoError("photo-truncated", f"The {kind} file is cut short: its end is missing.", again)
    return PhotoError("photo-damaged", f"The {kind} file is damaged inside.", again)


# Pillow logs some damage, and without a handler its log goes to the terminal; our error reports the damage already.
logging.getLogger("PIL").addHandler(logging.NullHandler())


@contextmanager
def decoder_errors(data: bytes, kind: Format) -> Iterator[None]:
    """Turn whatever a decoder raises on bad bytes into one ``PhotoError``.

    Decoders raise OSError, SyntaxError, ValueError, struct.error, KeyError, TypeError, zlib.error and more on hostile
    bytes; no list of them stays complete, so all are caught.
    """
    try:
        yield
    except PhotoError:
        raise
    except Exception as error:
        text = str(error).lower()
        cut_short = "truncated" in text or "premature end of jpeg" in text or "not enough" in text
        raise damaged(data, kind, cut_short) from error


def open_checked(data: bytes, kind: Format) -> Image.Image:
    """Open with Pillow, read the header only, and pass it through the gate.

    Returns:
        The picture, not yet decoded, mode RGB or RGBA, one frame, 8 bits per channel (HEIF may store more; its
        decoder brings them to 8).

    Raises:
        PhotoError: damaged header; a size, frame count, colour mode or bit depth that is not fit for measuring.
    """
    if kind in ("WEBP", "HEIF") and is_cut_short(data, kind):
        # Their decoders accept incomplete files: a HEIC of tiles (as phones write) decodes with half of them missing.
        raise damaged(data, kind)
    with decoder_errors(data, kind):
        picture = _open(data, kind)
        _check_pixels(picture.width, picture.height, len(data))
        _check_frames(picture, kind)
        _check_depth(picture, data, kind)
        _check_mode(picture)
        if kind == "TIFF":
            check_tiff(picture, data)
        elif kind == "HEIF":
            check_heif(data)
    return picture


def _open(data: bytes, kind: Format) -> Image.Image:
    try:
        # pillow-heif's plugin class is used directly: registering it would change Pillow for the whole process.
        if kind == "HEIF":
            from pillow_heif import HeifImageFile

            return cast("Image.Image", HeifImageFile(io.BytesIO(data)))  # type: ignore[no-untyped-call]
        return Image.open(io.BytesIO(data), formats=[kind])
    except UnidentifiedImageError as error:
        raise damaged(data, kind) from error
    except Image.DecompressionBombError as error:
        raise _too_many_pixels("Far", len(data) < BOMB_BYTES_PER_PIXEL * 2 * (Image.MAX_IMAGE_PIXELS or 0)) from error


def _too_many_pixels(how_many: str, is_bomb: bool) -> PhotoError:
    if is_bomb:
        return PhotoError(
            "photo-bomb",
            "The file would unpack to a picture out of all proportion to its size; no camera writes such files.",
            "Do not open this file elsewhere either, and " + _SEND_ORIGINAL.lower(),
        )
    return PhotoError(
        "photo-too-many-pixels",
        f"{how_many} more than {MAX_PIXELS / 1e6:.0f} megapixels.",
        "Set the camera to 12 to 50 megapixels, or crop the photo to the boards and the scale target.",
    )


def _check_pixels(width: int, height: int, n_bytes: int) -> None:
    pixels = width * height
    if pixels > MAX_PIXELS:
        raise _too_many_pixels(f"The photo has {width} × {height} pixels:", n_bytes < BOMB_BYTES_PER_PIXEL * pixels)
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            "photo-too-small",
            f"The picture is only {width} × {height} pixels: an icon or a thumbnail.",
            _SEND_ORIGINAL,
        )


def _check_frames(picture: Image.Image, kind: Format) -> None:
    # Phones append a second JPEG (a gain map or a preview) behind the photo (CIPA DC-007, "multi-picture format"):
    # the first one is the photo.
    frames = 1 if kind == "JPEG" else int(getattr(picture, "n_frames", 1))
    if frames == 1:
        return
    if kind in ("PNG", "WEBP"):
        raise PhotoError("photo-animated", f"The file is an animation of {frames} frames.", "Send a still photo.")
    raise PhotoError(
        "photo-several-pictures",
        f"The file holds {frames} pictures, and it is not clear which one is meant.",
        "Send one file for each photo.",
    )


def _check_depth(picture: Image.Image, data: bytes, kind: Format) -> None:
    bits = 8
    if kind == "PNG":
        bits = data[24]  # IHDR's bit depth; Pillow would silently drop the lower half of 16 bits
    elif kind == "TIFF":
        bits = bits_per_channel(picture)
    if bits > 8:
        raise PhotoError(
            "photo-bit-depth",
            f"The picture has {bits} bits per channel, and how bright its values are meant to be is not certain.",
            "Save it as a JPEG or as 8 bits per channel, or send the camera's JPEG.",
        )
    if kind == "HEIF":
        transfer = (picture.info.get("nclx_profile") or {}).get("transfer_characteristics")
        if transfer in _HDR_TRANSFERS:
            raise PhotoError(
                "photo-hdr",
                f"The photo is coded for high dynamic range ({_HDR_TRANSFERS[transfer]}), so its colours would be "
                "read wrong.",
                "Switch HDR photos off in the camera's settings, or export the photo as JPEG.",
            )


def _check_mode(picture: Image.Image) -> None:
    mode = picture.mode
    if mode in ("RGB", "RGBA"):
        return
    if mode == "CMYK":
        raise PhotoError(
            "photo-cmyk",
            "The picture is coded in printing inks (CMYK), not as a camera saves it; its colours cannot be trusted.",
            _SEND_ORIGINAL,
        )
    if mode in ("P", "PA"):
        raise PhotoError(
            "photo-palette",
            "The picture was reduced to a palette of at most 256 colours; gold cannot be recognised in it.",
            _SEND_ORIGINAL,
        )
    if mode in ("1", "L", "LA", "La") or mode.startswith(("I", "F")):
        raise PhotoError(
            "photo-no-colour", "The picture has no colour; gold cannot be recognised in it.", "Send a colour photo."
        )
    raise PhotoError(
        "photo-colour-mode", f"The picture's colour coding ({mode}) is not that of a camera.", _SEND_ORIGINAL
    )
