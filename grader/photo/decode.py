"""Strict decoding: all pixels, or an error."""

from __future__ import annotations

import io
from collections.abc import Callable
from contextlib import nullcontext

import cv2
import numpy as np
import simplejpeg
from PIL import Image

from calibration.arrays import RgbArray
from calibration.errors import PhotoError
from grader.photo.header import damaged, decoder_errors
from grader.photo.own_lines import lines_held_back
from grader.photo.sniff import Format

# EXIF orientation -> operation that makes the stored picture upright (EXIF 2.3, 4.6.4, tag 274).
_TO_UPRIGHT: dict[int, Callable[[RgbArray], RgbArray]] = {
    2: lambda a: cv2.flip(a, 1),
    3: lambda a: cv2.rotate(a, cv2.ROTATE_180),
    4: lambda a: cv2.flip(a, 0),
    5: cv2.transpose,
    6: lambda a: cv2.rotate(a, cv2.ROTATE_90_CLOCKWISE),
    7: lambda a: cv2.rotate(cv2.transpose(a), cv2.ROTATE_180),
    8: lambda a: cv2.rotate(a, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


def decode(data: bytes, kind: Format, picture: Image.Image) -> RgbArray:
    """Decode a picture that has passed the header gate.

    Limits of strictness. A file that is cut short is found in every format. PNG and deflate TIFF carry checksums, so
    any damage to their pixels is found. A JPEG carries no checksum: damage is found where it breaks the coded stream.
    In trials on baseline, progressive and restart-marked files, stretches of 2000 random bytes and of 4096 zeros (a
    lost disk block) always broke it, 64 random bytes in 94 of 100 cases, a single changed byte in 40. A HEIC with a
    stretch of zeros is refused (``grader.photo.heif``), and so is a TIFF whose strips differ in length from their
    rows (``grader.photo.tiff``). Apart from that, WebP, HEIC and uncompressed TIFF carry no checksum, and their
    decoders make some picture of almost any bytes: ``grader.photo.damage`` checks it and warns. The binding of
    libheif in use offers neither its strict mode nor the decoder's warnings. A changed stream that is still valid is
    a valid, different picture, and no decoder can detect it.

    Args:
        data: the whole file.
        kind: its format.
        picture: as ``open_checked`` gave it; its pixels are used up, its metadata stays.

    Returns:
        uint8 (height, width, 3), C-contiguous, writable, as stored (orientation not applied, except by the decoders
        of TIFF and HEIF, which always do).

    Raises:
        PhotoError: damaged, truncated, or partly transparent.
    """
    stored_size = picture.size
    with decoder_errors(data, kind):
        if kind == "JPEG":
            picture.close()
            rgb: RgbArray = simplejpeg.decode_jpeg(data, colorspace="RGB", strict=True)
        else:
            rgb = _decode_with_pillow(data, kind, picture)
    if sorted(rgb.shape[:2]) != sorted(stored_size):
        raise damaged(data, kind)
    return rgb


def turned_upright(rgb: RgbArray, orientation: int) -> RgbArray:
    """Apply an EXIF orientation (1..8): the same array for 1, otherwise a new one, C-contiguous."""
    turn = _TO_UPRIGHT.get(orientation)
    return rgb if turn is None else np.ascontiguousarray(turn(rgb))


def _decode_with_pillow(data: bytes, kind: Format, picture: Image.Image) -> RgbArray:
    if kind == "PNG":
        # Pillow skips the checksums of pixel data when it decodes. Verifying uses a picture up, so open another.
        Image.open(io.BytesIO(data), formats=[kind]).verify()
    with lines_held_back() if kind == "TIFF" else nullcontext():
        picture.load()
    if picture.mode == "RGBA":
        if picture.getchannel("A").getextrema()[0] != 255:
            raise PhotoError(
                "photo-transparent",
                "Parts of the picture are transparent: something was cut out of a photo.",
                "Send the photo as it was before it was cut out.",
            )
        picture = picture.convert("RGB")
    return np.array(picture)
