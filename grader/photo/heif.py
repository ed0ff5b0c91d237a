"""Checks for HEIF only: its decoder makes some picture of almost any bytes, so the coded bytes are checked first.

HEVC never holds two zero bytes followed by a byte below three inside a NAL unit: its coder writes a three in between
(ITU-T H.265, 7.4.2). A stretch of zeros, as left by a lost disk block or a broken copy, breaks that rule.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from typing import NamedTuple

_NEVER_IN_A_NAL_UNIT = re.compile(rb"\x00\x00[\x00-\x02]")
_LENGTH_BYTES_AT = 21  # in an hvcC box's content; the low two bits (ISO/IEC 14496-15, 8.3.3.1)


class _Box(NamedTuple):
    kind: bytes
    start: int
    end: int


def check_heif(data: bytes) -> None:
    """Refuse coded pictures that no HEVC coder can have written.

    A file whose boxes cannot be followed is not checked: its decoder judges it.

    Raises:
        ValueError: a NAL unit holds bytes that it cannot hold, or reaches beyond its item.
    """
    try:
        items = list(_coded_items(data))
    except (struct.error, IndexError, ValueError):
        return
    for item, length_bytes in items:
        _check_units(item, length_bytes)


def _check_units(item: bytes, length_bytes: int) -> None:
    at = 0
    while at + length_bytes <= len(item):
        size = int.from_bytes(item[at : at + length_bytes], "big")
        at += length_bytes
        if at + size > len(item) or _NEVER_IN_A_NAL_UNIT.search(item, at, at + size):
            raise ValueError("a coded picture is damaged")
        at += size


def _coded_items(data: bytes) -> Iterator[tuple[bytes, int]]:
    """The bytes of each HEVC picture in the file, and the number of bytes that a NAL unit's length takes in them."""
    inside = {b.kind: b for b in _boxes(data, *_meta(data))}
    kinds = _kinds(data, inside[b"iinf"]) if b"iinf" in inside and b"iloc" in inside else {}
    coded = {number for number, kind in kinds.items() if kind == b"hvc1"}
    if not coded:
        return
    length_bytes = _length_bytes(data, inside[b"iprp"]) if b"iprp" in inside else 4
    for number, extents in _places(data, inside[b"iloc"]):
        if number in coded:
            yield b"".join(data[start : start + size] for start, size in extents), length_bytes


def _boxes(data: bytes, at: int, end: int) -> Iterator[_Box]:
    """The boxes between two places (ISO/IEC 14496-12, 4.2)."""
    while at + 8 <= end:
        size, kind = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", data, at + 8)
            head = 16
        elif size == 0:
            size = end - at
        if size < head:
            raise ValueError(kind)
        yield _Box(kind, at + head, min(at + size, end))
        at += size


def _meta(data: bytes) -> tuple[int, int]:
    """Start and end of the content of the box that describes the pictures; empty if there is no such box."""
    return next(((b.start + 4, b.end) for b in _boxes(data, 0, len(data)) if b.kind == b"meta"), (0, 0))


def _kinds(data: bytes, box: _Box) -> dict[int, bytes]:
    """The kind of each item by its number."""
    wide = data[box.start] > 0
    kinds = {}
    for entry in _boxes(data, box.start + (8 if wide else 6), box.end):
        version = data[entry.start]
        if version in (2, 3):
            number, _, kind = struct.unpack_from(">HH4s" if version == 2 else ">IH4s", data, entry.start + 4)
            kinds[number] = kind
    return kinds


def _places(data: bytes, box: _Box) -> Iterator[tuple[int, list[tuple[int, int]]]]:
    """Number of each item and the places of its bytes in the file: start and size of each piece."""
    version, sizes, at = data[box.start], data[box.start + 4 : box.start + 6], box.start + 6

    def take(n: int) -> int:
        nonlocal at
        if at + n > box.end:
            raise ValueError("too short")
        at += n
        return int.from_bytes(data[at - n : at], "big")

    offset_bytes, size_bytes, base_bytes = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4
    index_bytes = sizes[1] & 15 if version else 0
    wide = 4 if version == 2 else 2
    for _ in range(take(wide)):
        number = take(wide)
        method = take(2) & 15 if version else 0
        take(2)
        base, extents = take(base_bytes), []
        for _ in range(take(2)):
            take(index_bytes)
            extents.append((base + take(offset_bytes), take(size_bytes)))
        if method == 0:  # in the file itself, not in a box of its own
            yield number, extents


def _length_bytes(data: bytes, properties: _Box) -> int:
    for container in _boxes(data, properties.start, properties.end):
        if container.kind == b"ipco":
            for box in _boxes(data, container.start, container.end):
                if box.kind == b"hvcC":
                    return (data[box.start + _LENGTH_BYTES_AT] & 3) + 1
    return 4
