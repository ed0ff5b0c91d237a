"""Common objects of known size, by name: cards, sheets, boards of a standard outline, coins.

They are in ``calibration/data/standard_objects.toml``, each with its source and tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any, Literal

from calibration.errors import DataFileError, UsageError
from calibration.sourced import load_figures, tables

ObjectKind = Literal["rectangle", "length", "coin"]
_KINDS: tuple[ObjectKind, ...] = ("rectangle", "length", "coin")
_OUTLINES = ("round", "flower", "flats")
# a size that lies evenly within its tolerance
_UNIFORM = math.sqrt(3)


@dataclass(frozen=True)
class StandardObject:
    """One such object.

    Attributes:
        name: for people.
        kind: rectangle, length or coin.
        sizes_mm: two sides, longer first; or one length; or a diameter.
        size_sd_mm: standard deviation of each.
        outline: of a coin: round, flower (round with notches), flats; empty for others.
        thickness_mm: of a coin; None for others.
        note: a caution.
        source: of the size.
        how_known: as in ``calibration.sourced``.
    """

    name: str
    kind: ObjectKind
    sizes_mm: tuple[float, ...]
    size_sd_mm: float
    outline: str
    thickness_mm: float | None
    note: str
    source: str
    how_known: str


@cache
def standard_objects() -> Mapping[str, StandardObject]:
    """All standard objects, by name.

    Raises:
        DataFileError: an entry of the data file is invalid.
    """
    return MappingProxyType({name: _object(name, t) for name, t in tables("standard_objects").items()})


def object_named(name: str, *kinds: ObjectKind) -> StandardObject:
    """The object of that name, in any case.

    Args:
        name: of the object.
        kinds: the kinds wanted.

    Raises:
        UsageError: there is no such object of these kinds.
    """
    wanted = " ".join(name.casefold().split())
    fitting = [o for o in standard_objects().values() if o.kind in kinds]
    for known in fitting:
        if known.name.casefold() == wanted:
            return known
    raise UsageError(
        "object-unknown",
        f"Nothing of known size is called '{name.strip()}'.",
        "Give the size itself, or one of: " + "; ".join(o.name for o in fitting) + ".",
    )


def sides_in_order(sizes_mm: tuple[float, ...], corners_px: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """A rectangle's sides in the order of its marked corners: the longer side is the one that is longer in the photo.

    Args:
        sizes_mm: longer side first.
        corners_px: four corners, going round.

    Returns:
        The side from the first corner to the second, and the other.
    """
    long, short = sizes_mm
    first, second = (
        math.dist(corners_px[i], corners_px[i + 1]) + math.dist(corners_px[i + 2], corners_px[i - 1]) for i in (0, 1)
    )
    return (long, short) if first >= second else (short, long)


def _object(name: str, t: Mapping[str, Any]) -> StandardObject:
    kind = t.get("kind")
    if kind not in _KINDS:
        raise _invalid(f"standard_objects: {name} must have one of these kinds: {', '.join(_KINDS)}.")
    try:
        given = {"rectangle": "sides_mm", "length": "length_mm", "coin": "diameter_mm"}[kind]
        sizes = tuple(float(s) for s in (t[given] if kind == "rectangle" else [t[given]]))
        sd = (
            load_figures("scale_figures")["coin_diameter_sd"].value
            if kind == "coin"
            else t["tolerance_mm"] / _UNIFORM
        )
        outline = str(t["outline"]) if kind == "coin" else ""
        found = StandardObject(
            name,
            kind,
            sizes,
            float(sd),
            outline,
            float(t["thickness_mm"]) if kind == "coin" else None,
            str(t.get("note", "")),
            str(t["source"]),
            str(t["how_known"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _invalid(f"standard_objects: {name} lacks a size, tolerance, outline or source.") from error
    if (kind == "coin" and outline not in _OUTLINES) or min(sizes) <= 0 or list(sizes) != sorted(sizes, reverse=True):
        raise _invalid(f"standard_objects: {name} has an impossible size or outline.")
    return found


def _invalid(message: str) -> DataFileError:
    return DataFileError("data-file-invalid", message, "Install the program again.")
