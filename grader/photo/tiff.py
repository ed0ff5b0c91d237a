"""What only TIFF needs: the container holds anything, and its reader passes over damage that it has noticed."""

from __future__ import annotations

import zlib
from typing import Any

from PIL import Image

from calibration.errors import PhotoError
from grader.photo.sniff import raise_if_raw

_NEW_SUBFILE_TYPE, _BITS_PER_SAMPLE, _COMPRESSION, _PHOTOMETRIC, _DNG_VERSION = 254, 258, 259, 262, 50706
_STRIPS, _TILES = (273, 279), (324, 325)  # offsets, byte counts
_FILTER_ARRAY = 32803
_DEFLATE = (8, 32946)
# None, LZW, deflate, PackBits (TIFF 6.0 and its supplement 2). JPEG inside TIFF is left out: its reader makes some
# picture of a damaged stream.
_COMPRESSIONS = (1, 5, *_DEFLATE, 32773)


def bits_per_channel(picture: Image.Image) -> int:
    """The largest number of bits of any channel."""
    stated = _tags(picture).get(_BITS_PER_SAMPLE, 8)
    return max(stated) if isinstance(stated, tuple) else int(stated)


def check_tiff(picture: Image.Image, data: bytes) -> None:
    """Refuse camera raw files, odd compressions, and strips whose checksum fails.

    Raises:
        PhotoError: raw, or a compression that cannot be read strictly.
        zlib.error, ValueError: a deflate strip is damaged or cut short.
    """
    tags = _tags(picture)
    # NewSubfileType's bit 0: a reduced picture of another one in the file, as raw files have in front.
    is_preview = bool(int(tags.get(_NEW_SUBFILE_TYPE, 0)) & 1)
    raise_if_raw(is_preview or _DNG_VERSION in tags or tags.get(_PHOTOMETRIC) == _FILTER_ARRAY)
    compression = tags.get(_COMPRESSION, 1)
    if compression not in _COMPRESSIONS:
        raise PhotoError(
            "photo-tiff-compression",
            f"The TIFF's compression (number {compression}) is not one that can be checked for damage.",
            "Save it as PNG, or as TIFF without compression, or send the camera's JPEG.",
        )
    if compression in _DEFLATE:
        for offsets, counts in (_STRIPS, _TILES):
            for offset, count in zip(tags.get(offsets, ()), tags.get(counts, ()), strict=True):
                _inflate_to_end(data[offset : offset + count], at_most=4 * picture.width * picture.height)


def _inflate_to_end(piece: bytes, at_most: int) -> None:
    inflater = zlib.decompressobj()
    inflater.decompress(piece, at_most)  # checks the checksum at its end
    if not inflater.eof:
        raise ValueError("a strip is not complete")


def _tags(picture: Image.Image) -> Any:
    return getattr(picture, "tag_v2", {})
