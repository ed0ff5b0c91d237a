"""Another segmenter than the usual one, in every command and on the page, for as long as a test runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count

from grader.coverage import Segmenter
from grader.coverage.choose import forget_segmenter, register_segmenter

_NUMBERS = count(1)


@contextmanager
def default_segmenter(make: Callable[[], Segmenter]) -> Iterator[str]:
    """The usual one until the end of the block; yields the name that it can be chosen by."""
    name = f"test-{next(_NUMBERS)}"
    register_segmenter(name, make, as_default=True)
    try:
        yield name
    finally:
        forget_segmenter(name)
