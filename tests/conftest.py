"""What all tests may share."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from typing import Any

import pytest

from grader.coverage import Coverage
from grader.coverage.choose import LEARNED, segmenter_named, segmenter_names
from tests.left_out import pytest_ignore_collect, pytest_terminal_summary
from tests.segmenters import default_segmenter

__all__ = ["pytest_ignore_collect", "pytest_terminal_summary"]


class Remembering:
    """The usual segmenter, which does not search the same photo twice at the same scale."""

    name = segmenter_named(LEARNED).name
    found: dict[tuple[str, bytes], Coverage] = {}  # noqa: RUF012 - shared by all tests on purpose

    def segment(self, photo: Any, scale: Any) -> Coverage:
        key = photo.sha256, pickle.dumps(scale)
        if key not in self.found:
            self.found[key] = segmenter_named(LEARNED).segment(photo, scale)
        return self.found[key]


@pytest.fixture(scope="session")
def remembering() -> type[Remembering]:
    """For tests of what comes before and after the search for plating, on photos as they lie in their files."""
    return Remembering


@pytest.fixture
def search_once(remembering: type[Remembering]) -> Iterator[None]:
    """Each photo is searched once in all tests that take this; a segmenter that a test brought of its own stays."""
    if segmenter_names()[0] != LEARNED:
        yield
        return
    with default_segmenter(remembering):
        yield
