"""Segmenters by name, and the default one.

A separate package adds a segmenter through an entry point of the group ``grader.segmenters``. The entry point has the
segmenter's name, and its object makes the segmenter: every command and the page can then use it. A running program
adds one with ``register_segmenter``.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from importlib.metadata import EntryPoint, entry_points

from calibration.errors import UsageError
from grader.coverage.learned import LearnedSegmenter
from grader.coverage.model import Segmenter

GROUP = "grader.segmenters"
LEARNED = "learned"

Make = Callable[[], Segmenter]

_makers: dict[str, Make] = {LEARNED: LearnedSegmenter}
_defaults = [LEARNED]  # the last one counts


def register_segmenter(name: str, make: Make, *, as_default: bool = False) -> None:
    """Add a segmenter.

    Args:
        name: to choose it by.
        make: makes it ready; called once.
        as_default: whether it is used when no segmenter is asked for.

    Raises:
        ValueError: the name is taken.
    """
    if name in segmenter_names():
        raise ValueError(f"there is a segmenter {name} already")
    _makers[name] = make
    if as_default:
        _defaults.append(name)


def forget_segmenter(name: str) -> None:
    """Remove what ``register_segmenter`` added; the previous default then applies again."""
    del _makers[name]
    if name in _defaults:
        _defaults.remove(name)


def segmenter_names() -> tuple[str, ...]:
    """All names that can be chosen, the default first."""
    return tuple(dict.fromkeys((_defaults[-1], *_makers, *_installed())))


def segmenter_named(name: str | None = None) -> Segmenter:
    """A segmenter, made ready once.

    Args:
        name: None for the default.

    Raises:
        UsageError: ``segmenter-unknown``.
    """
    wanted = _defaults[-1] if name is None else name
    if wanted in _makers:
        return _ready(_makers[wanted])
    if wanted in _installed():
        return _ready(_installed()[wanted].load())
    raise UsageError(
        "segmenter-unknown", f"There is no segmenter '{wanted}'.", f"Choose one of {', '.join(segmenter_names())}."
    )


@functools.cache
def _ready(make: Make) -> Segmenter:
    return make()


@functools.cache
def _installed() -> Mapping[str, EntryPoint]:
    return {point.name: point for point in entry_points(group=GROUP)}
