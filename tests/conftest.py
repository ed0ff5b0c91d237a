"""What all tests may share."""

from __future__ import annotations

import pickle
from typing import Any

import pytest

import grader.pipeline
from grader.coverage import Coverage
from grader.coverage.choose import default_segmenter


class Remembering:
    """The usual segmenter, which does not search the same photo twice at the same scale."""

    name = default_segmenter().name
    found: dict[tuple[str, bytes], Coverage] = {}  # noqa: RUF012 - shared by all tests on purpose

    def segment(self, photo: Any, scale: Any) -> Coverage:
        key = photo.sha256, pickle.dumps(scale)
        if key not in self.found:
            self.found[key] = default_segmenter().segment(photo, scale)
        return self.found[key]


@pytest.fixture(scope="session")
def remembering() -> type[Remembering]:
    """For tests of what comes before and after the search for plating, on photos as they lie in their files."""
    return Remembering


@pytest.fixture
def search_once(remembering: type[Remembering], monkeypatch: pytest.MonkeyPatch) -> None:
    """Each photo is searched once in all tests that take this; a segmenter that a test brought of its own stays."""
    if grader.pipeline.default_segmenter is default_segmenter:
        monkeypatch.setattr("grader.pipeline.default_segmenter", remembering)
