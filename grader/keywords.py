"""What a Python user passes, checked: names of keywords, texts, points, and the one way to scale that they choose."""

from __future__ import annotations

import difflib
import inspect
import math
from collections.abc import Callable, Iterable
from functools import wraps
from numbers import Integral, Real
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

from calibration.errors import KeywordError, UsageError
from grader.scale_choice import Automatic, Point, ScaleChoice, WithoutScale
from grader.scale_texts import by_coin, by_length, by_pitch, by_rectangle, by_target

Points = Iterable[Iterable[float]]

_P = ParamSpec("_P")
_R = TypeVar("_R")

_WAYS = "Use one of target=, length= with between=, rectangle= with corners=, coin= with rim=, pitch=, no_scale=True."


def checks_call(function: Callable[_P, _R]) -> Callable[_P, _R]:
    """Let a wrong call fail with an error of ours that says what was meant; its type stays the function's.

    Raises:
        KeywordError: ``keyword-unknown`` or ``call-invalid``, when it is called.
    """
    signature = inspect.signature(function)
    name = function.__name__

    @wraps(function)
    def checked(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        for unknown in kwargs.keys() - signature.parameters.keys():
            close = difflib.get_close_matches(unknown, signature.parameters, n=1)
            known = ", ".join(p.name for p in signature.parameters.values() if p.kind is p.KEYWORD_ONLY)
            raise KeywordError(
                "keyword-unknown",
                f"{name}() has no keyword '{unknown}'.",
                f"Did you mean {close[0]}=?" if close else f"It has {known}.",
            )
        try:
            signature.bind(*args, **kwargs)
        except TypeError as error:
            raise KeywordError(
                "call-invalid",
                f"{name}() cannot be called like this: {error}.",
                f"Give the first argument by itself, the others by keyword; help(grader.{name}) shows them.",
            ) from error
        return function(*args, **kwargs)

    return checked


def typed(name: str, given: object) -> str | None:
    """A quantity as text, for the parsers; None if nothing was given.

    A bare number becomes text too: the parser then says which unit it lacks.

    Raises:
        UsageError: ``keyword-not-text`` for anything else.
    """
    if given is None or isinstance(given, str):
        return given
    if isinstance(given, bool) or not isinstance(given, Real):  # numpy's numbers are real numbers too
        raise UsageError(
            "keyword-not-text",
            f"{name}= takes a text, not a {type(given).__name__}.",
            f"Write it as a person would, with its unit, such as {name}='…'.",
        )
    return str(given)


def each_typed(name: str, given: str | Iterable[str] | None) -> list[str]:
    """Texts, from one or several; none if nothing was given.

    Raises:
        UsageError: as ``typed``.
    """
    several = [given] if given is None or isinstance(given, str) or not isinstance(given, Iterable) else list(given)
    return [text for text in (typed(name, one) for one in several) if text is not None]


def whole_numbers(name: str, given: int | Iterable[int] | None) -> tuple[int, ...]:
    """Numbers of boards, from one or several; none if nothing was given.

    Raises:
        UsageError: ``boards-invalid``.
    """
    several: tuple[Any, ...] = () if given is None else tuple(given) if isinstance(given, Iterable) else (given,)
    if not all(isinstance(n, Integral) and not isinstance(n, bool) for n in several):
        raise UsageError(
            "boards-invalid", f"{name}={given!r} is not a number of boards.", f"Give {name}=4, or {name}=[4, 3]."
        )
    return tuple(map(int, several))


def scale_choice(
    *,
    target: str | Path | None = None,
    length: str | None = None,
    between: Points | None = None,
    rectangle: str | None = None,
    corners: Points | None = None,
    coin: str | None = None,
    rim: Points | None = None,
    pitch: str | None = None,
    no_scale: bool = False,
) -> ScaleChoice:
    """The one way to scale that keywords choose.

    Raises:
        UsageError: ``scale-twice`` for several; points without what they mark, or the other way round; a text that
            cannot be read.
    """
    if sum(x is not None for x in (target, length, rectangle, coin, pitch)) + bool(no_scale) > 1:
        raise UsageError("scale-twice", "Several ways to scale were given.", _WAYS)
    if between is not None and length is None:
        raise UsageError("length-missing", "between= belongs to length=.", "Add length='133.35 mm'.")
    if corners is not None and rectangle is None:
        raise UsageError("rectangle-missing", "corners= belong to rectangle=.", "Add rectangle='85.6 x 53.98 mm'.")
    if rim is not None and coin is None:
        raise UsageError("coin-missing", "rim= belongs to coin=.", "Add coin='2 euro'.")
    if target is not None:
        return by_target(Path(target))
    if length is not None:
        if between is None:
            raise UsageError(
                "points-missing", "A known length needs its two ends.", "Add between=((x, y), (x, y)) in pixels."
            )
        start, end = _points("between", between, 2)
        return by_length(_text("length", length), start, end)
    if rectangle is not None:
        if corners is None:
            raise UsageError(
                "corners-missing", "A known rectangle needs its four corners.", "Add corners=[(x, y), …] in pixels."
            )
        a, b, c, d = _points("corners", corners, 4)
        return by_rectangle(_text("rectangle", rectangle), (a, b, c, d))
    if coin is not None:
        return by_coin(_text("coin", coin), _points("rim", () if rim is None else rim))
    if pitch is not None:
        return by_pitch(_text("pitch", pitch))
    return WithoutScale() if no_scale else Automatic()


def _text(name: str, given: str) -> str:
    return typed(name, given) or ""


def _points(name: str, given: Points, count: int | None = None) -> tuple[Point, ...]:
    """Points in pixels, as many as there must be; None for any number."""
    try:
        points = tuple((float(x), float(y)) for x, y in given)
    except (TypeError, ValueError) as error:
        raise _not_points(name, given, count) from error
    if count not in (None, len(points)) or not all(math.isfinite(v) for point in points for v in point):
        raise _not_points(name, given, count)
    return points


def _not_points(name: str, given: object, count: int | None) -> UsageError:
    many = "a point" if count is None else f"{count} points"
    return UsageError(
        "point-invalid",
        f"{name}={given!r} cannot be read as {many}.",
        f"Give pairs of pixels of the upright photo: {name}=[(1548.2, 1352.8), …].",
    )
