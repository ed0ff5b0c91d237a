"""Turn the scale options into a choice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from calibration.errors import UsageError
from grader.scale_choice import Automatic, Point, ScaleChoice, WithoutScale
from grader.scale_texts import by_coin, by_length, by_pitch, by_rectangle, by_target

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
    """The choice made by the options.

    Raises:
        UsageError: several choices, missing points, or a value that cannot be read.
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
        return by_target(target)
    if length is not None:
        if start is None or end is None:
            raise UsageError(
                "points-missing", "A known length needs its two ends.", "Add --from X,Y and --to X,Y in pixels."
            )
        return by_length(length, parse_point(start), parse_point(end))
    if rectangle is not None:
        if corners is None:
            raise UsageError(
                "corners-missing", "A known rectangle needs its four corners.", "Add --corners X,Y X,Y X,Y X,Y."
            )
        a, b, c, d = (parse_point(text) for text in corners)
        return by_rectangle(rectangle, (a, b, c, d))
    if coin is not None:
        return by_coin(coin, [parse_point(p) for text in rim or () for p in text.split()])
    if pitch is not None:
        return by_pitch(pitch)
    return WithoutScale() if no_scale else Automatic()


def parse_point(text: str) -> Point:
    """Parse two numbers separated by a comma, in pixels.

    Raises:
        UsageError: it cannot be read.
    """
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise UsageError("point-invalid", f"'{text}' is not a point.", "Write it as X,Y in pixels: 1548.2,1352.8.")
    return x, y
