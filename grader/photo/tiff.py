"""Checks for TIFF only: the container can hold anything, and its reader ignores damage that it has noticed."""

from __future__ import annotations

import struct
import zlib
from typing import Any

from PIL import Image

from calibration.errors import PhotoError
from calibration.notices import Notice, NoticeDefinition, Notices
from grader.photo.sniff import raise_if_raw

notice = Notices(
    NoticeDefinition(
        "photo-bytes-left-over",
        "The TIFF file has {left} extra bytes after its pixels; if they were inserted further up, "
        "pixels are displaced.",
        "Look at the picture; if colours or parts of it look wrong, copy the file again.",
    )
)

_NEW_SUBFILE_TYPE, _BITS_PER_SAMPLE, _COMPRESSION, _PHOTOMETRIC, _DNG_VERSION = 254, 258, 259, 262, 50706
_STRIPS, _TILES = (273, 279), (324, 325)  # offsets, byte counts
_ROWS_PER_STRIP, _PLANAR, _SAMPLES = 278, 284, 277
_NONE, _PACKBITS = 1, 32773
# tags that point to further directories, which are not followed
_POINTERS = frozenset({330, 34665, 34853, 40965})
_TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
_PADDING_BYTES = 3
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
    """Refuse camera raw files, odd compressions, and strips whose checksum fails or whose length is wrong.

    Raises:
        PhotoError: raw, or a compression that cannot be read strictly.
        zlib.error, ValueError: a strip is damaged or cut short.
    """
    tags = _tags(picture)
    # NewSubfileType's bit 0: a reduced copy of another picture in the file, as raw files have in front.
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
    elif compression in (_NONE, _PACKBITS):
        _check_lengths(tags, data, picture.width, picture.height, is_packed=compression == _PACKBITS)


def left_over_notices(data: bytes) -> tuple[Notice, ...]:
    """A warning if a TIFF continues after everything that its directory refers to; otherwise empty."""
    left = _bytes_left_over(data)
    return (notice("photo-bytes-left-over", left=left),) if left > _PADDING_BYTES else ()


def _bytes_left_over(data: bytes) -> int:
    """Number of bytes after the pixels; 0 if these do not come last, or the first directory points to others."""
    try:
        order = "<" if data[:2] == b"II" else ">"
        (at,) = struct.unpack_from(f"{order}I", data, 4)
        (count,) = struct.unpack_from(f"{order}H", data, at)
        end = at + 2 + 12 * count + 4
        places: dict[int, list[int]] = {}
        for entry in range(at + 2, at + 2 + 12 * count, 12):
            tag, kind, many = struct.unpack_from(f"{order}HHI", data, entry)
            size = _TYPE_BYTES[kind] * many
            (start,) = struct.unpack_from(f"{order}I", data, entry + 8) if size > 4 else (entry + 8,)
            end = max(end, start + size)
            if tag in _POINTERS:
                return 0
            if tag in (*_STRIPS, *_TILES):
                places[tag] = list(struct.unpack_from(f"{order}{many}{'H' if kind == 3 else 'I'}", data, start))
    except (struct.error, KeyError):
        return 0
    ends = [
        o + n for at, of in (_STRIPS, _TILES) for o, n in zip(places.get(at, ()), places.get(of, ()), strict=False)
    ]
    return max(len(data) - max(ends), 0) if ends and max(ends) >= end else 0


def _check_lengths(tags: Any, data: bytes, width: int, height: int, *, is_packed: bool) -> None:
    """Refuse strips that are not as long as their rows. Tiles and separate channels are left to the decoder.

    Raises:
        ValueError: a strip is too short, or unpacks to another length.
    """
    offsets, counts = (tags.get(tag, ()) for tag in _STRIPS)
    if tags.get(_PLANAR, 1) != 1 or not offsets:
        return
    rows = min(int(tags.get(_ROWS_PER_STRIP, height)), height)
    for number, (offset, count) in enumerate(zip(offsets, counts, strict=True)):
        expected = min(rows, height - number * rows) * width * int(tags.get(_SAMPLES, 3))
        if offset + count > len(data):
            raise ValueError("truncated strip")
        if _unpacked_bytes(data[offset : offset + count]) != expected if is_packed else count < expected:
            raise ValueError("a strip does not hold its rows")


def _unpacked_bytes(packed: bytes) -> int:
    """Number of bytes that a strip unpacks to (TIFF 6.0, section 9); -1 if its last packet is not complete."""
    at, total, end = 0, 0, len(packed)
    while at < end:
        head = packed[at]
        if head < 128:
            at += head + 2
            total += head + 1
        elif head > 128:
            at += 2
            total += 257 - head
        else:
            at += 1
    return total if at == end else -1


def _inflate_to_end(piece: bytes, at_most: int) -> None:
    inflater = zlib.decompressobj()
    inflater.decompress(piece, at_most)  # checks the checksum at its end
    if not inflater.eof:
        raise ValueError("a strip is not complete")


def _tags(picture: Image.Image) -> Any:
    return getattr(picture, "tag_v2", {})
