"""The scale options, from text to a choice."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path

from calibration.errors import UsageError
from calibration.families import family_named
from calibration.reading import FileKind, read_bytes
from calibration.standard_objects import Kind, StandardObject, object_named, sides_in_order
from calibration.target import TargetDescription, parse_target
from grader.pipeline import (
    Automatic,
    ByCoin,
    ByLength,
    ByPitch,
    ByRectangle,
    ByTarget,
    Point,
    ScaleChoice,
    WithoutScale,
)
from grader.units import parse_length_mm, parse_pair_mm

_TARGET = FileKind(
    code="target-file",
    what="a target's description",
    most_bytes=1_000_000,
    fix="Give the JSON file that describes the sheet.",
)
_NUMBER = re.compile(r"\s*[-+.,]?\d")
_WAYS = (
    "Use one of --target, --length with --from and --to, --rectangle with --corners, --coin with --rim, --pitch, "
    "--no-scale."
)


def choose_scale(
    *,
    target: Path | None,
    length: str | None,
    start: str | None,
    end: str | None,
    rectangle: str | None,
    corners: tuple[str, str, str, str] | None,
    pitch: str | None,
    no_scale: bool,
    coin: str | None = None,
    rim: Sequence[str] | None = None,
) -> ScaleChoice:
    """The one choice that the options make.

    Raises:
        UsageError: several, or one that lacks its points, or a value that cannot be read.
    """
    given = [target is not None, length is not None, rectangle is not None, coin is not None, pitch is not None]
    if sum(given) + no_scale > 1:
        raise UsageError("scale-twice", "Several ways to scale were given.", _WAYS)
    if (start is not None or end is not None) and length is None:
        raise UsageError("length-missing", "--from and --to belong to --length.", 'Add --length "133.35 mm".')
    if corners is not None and rectangle is None:
        raise UsageError(
            "rectangle-missing", "--corners belong to --rectangle.", 'Add --rectangle "85.6 x 53.98 mm".'
        )
    if rim and coin is None:
        raise UsageError("coin-missing", "--rim belongs to --coin.", 'Add --coin "2 euro".')
    if target is not None:
        return ByTarget(read_target(target))
    if length is not None:
        if start is None or end is None:
            raise UsageError(
                "points-missing", "A known length needs its two ends.", "Add --from X,Y and --to X,Y in pixels."
            )
        length_mm, sd_mm = _known_length(length)
        return ByLength(length_mm, parse_point(start), parse_point(end), sd_mm)
    if rectangle is not None:
        if corners is None:
            raise UsageError(
                "corners-missing", "A known rectangle needs its four corners.", "Add --corners X,Y X,Y X,Y X,Y."
            )
        a, b, c, d = (parse_point(text) for text in corners)
        sides_mm, sd_mm = _known_rectangle(rectangle, (a, b, c, d))
        return ByRectangle(sides_mm, (a, b, c, d), sd_mm)
    if coin is not None:
        return _known_coin(coin, tuple(parse_point(p) for text in rim or () for p in text.split()))
    if pitch is not None:
        return ByPitch(_known_pitch(pitch))
    return WithoutScale() if no_scale else Automatic()


def _named(text: str, *kinds: Kind) -> StandardObject | None:
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


def _known_length(text: str) -> tuple[float, float | None]:
    """A length in mm and its standard deviation, None for the usual one."""
    known = _named(text, "length", "coin")
    return (parse_length_mm(text), None) if known is None else (known.sizes_mm[0], known.size_sd_mm)


def _known_rectangle(
    text: str, corners: tuple[Point, Point, Point, Point]
) -> tuple[tuple[float, float], float | None]:
    """Two sides in mm, in the order of the corners, and their standard deviation; None for the usual one."""
    known = _named(text, "rectangle")
    if known is None:
        return parse_pair_mm(text), None
    return sides_in_order(known.sizes_mm, corners), known.size_sd_mm


def _known_coin(text: str, rim: tuple[Point, ...]) -> ByCoin:
    """A coin of that name with points on its rim, or a disc of that diameter that is not thick."""
    known = _named(text, "coin")
    if known is None:
        return ByCoin(parse_length_mm(text), 0.0, rim)
    if known.outline == "flats":
        raise UsageError(
            "coin-not-round",
            f"The {known.name} is not round ({known.note}): its rim is not a circle.",
            "Use a round coin, or give a known length (--length).",
        )
    return ByCoin(known.sizes_mm[0], known.thickness_mm or 0.0, rim, known.size_sd_mm)


def _known_pitch(text: str) -> float:
    return parse_length_mm(text) if _NUMBER.match(text) else family_named(text).pitch_mm


def parse_point(text: str) -> Point:
    """Two numbers with a comma between, in pixels.

    Raises:
        UsageError: anything else.
    """
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise UsageError("point-invalid", f"'{text}' is not a point.", "Write it as X,Y in pixels: 1548.2,1352.8.")
    return x, y


def read_target(path: Path) -> TargetDescription:
    """A target's description from its file.

    Raises:
        DataFileError: the file cannot be read, or does not describe a target.
    """
    return parse_target(read_bytes(path, _TARGET))
