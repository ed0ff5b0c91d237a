"""Scale from what people type: a size with its unit, or the name of a thing whose size is known."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from calibration.errors import UsageError
from calibration.families import family_named
from calibration.reading import FileKind, read_bytes
from calibration.standard_objects import ObjectKind, StandardObject, object_named, sides_in_order
from calibration.target import parse_target
from grader.scale_choice import ByCoin, ByLength, ByPitch, ByRectangle, ByTarget, Point
from grader.units import parse_length_mm, parse_pair_mm

_TARGET = FileKind(
    code="target-file",
    what="a target's description",
    most_bytes=1_000_000,
    fix="Give the JSON file that describes the sheet.",
)
_NUMBER = re.compile(r"\s*[-+.,]?\d")


def by_target(path: Path) -> ByTarget:
    """A printed sheet, from the file that describes it.

    Raises:
        DataFileError: the file cannot be read, or does not describe a target.
    """
    return ByTarget(parse_target(read_bytes(path, _TARGET)))


def by_length(text: str, start_px: Point, end_px: Point) -> ByLength:
    """A length such as "133.35 mm", or a thing's name such as "DIMM" or "US quarter", between two points.

    Raises:
        UsageError: it is neither.
    """
    known = _named(text, "length", "coin")
    if known is None:
        return ByLength(parse_length_mm(text), start_px, end_px)
    return ByLength(known.sizes_mm[0], start_px, end_px, known.size_sd_mm)


def by_rectangle(text: str, corners_px: tuple[Point, Point, Point, Point]) -> ByRectangle:
    """Two sides such as "85.6 x 53.98 mm", or a thing's name such as "A4 sheet", at four corners going round.

    The first edge has the first of two typed lengths. The sides of a thing are put in the order of the corners.

    Raises:
        UsageError: it is neither.
    """
    known = _named(text, "rectangle")
    if known is None:
        return ByRectangle(parse_pair_mm(text), corners_px)
    return ByRectangle(sides_in_order(known.sizes_mm, corners_px), corners_px, known.size_sd_mm)


def by_coin(text: str, rim_px: Sequence[Point]) -> ByCoin:
    """A coin's name such as "2 euro", or the diameter of a disc that is not thick, with points on its rim.

    Raises:
        UsageError: it is neither, or the coin is not round.
    """
    known, rim = _named(text, "coin"), tuple(rim_px)
    if known is None:
        return ByCoin(parse_length_mm(text), 0.0, rim)
    if known.outline == "flats":
        raise UsageError(
            "coin-not-round",
            f"The {known.name} is not round ({known.note}): points on its rim make no circle.",
            "Use a round coin, or give a known length.",
        )
    return ByCoin(known.sizes_mm[0], known.thickness_mm or 0.0, rim, known.size_sd_mm)


def by_pitch(text: str) -> ByPitch:
    """The pitch of a row of contacts such as "1.27 mm", or the name of their outline such as "PCI Express".

    Raises:
        UsageError: it is neither.
    """
    return ByPitch(parse_length_mm(text) if _NUMBER.match(text) else family_named(text).pitch_mm)


def _named(text: str, *kinds: ObjectKind) -> StandardObject | None:
    """The thing that a text names, or None for a size.

    Raises:
        UsageError: it is neither.
    """
    try:
        return object_named(text, *kinds)
    except UsageError:
        if _NUMBER.match(text):  # a size, or at least meant as one
            return None
        raise
