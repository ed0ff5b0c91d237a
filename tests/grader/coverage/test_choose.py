"""Segmenters are chosen by name, whoever brought them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import DataFileError, UsageError
from grader.coverage import choose
from grader.coverage.choose import (
    LEARNED,
    forget_segmenter,
    register_segmenter,
    segmenter_named,
    segmenter_names,
)
from grader.coverage.error import centre_of, error_inputs
from grader.coverage.learned import LearnedSegmenter
from grader.photo import Photo
from grader.pipeline import measure
from grader.request import Request
from tests.drawn_boards import KnownCoverage
from tests.segmenters import default_segmenter

SHAPE = (60, 80)
PLUGIN = """
import numpy as np
from grader.coverage import Coverage

class Blind:
    name = "blind-1"

    def segment(self, photo, scale):
        shape = photo.rgb.shape[:2]
        return Coverage(np.zeros(shape, np.uint8), np.zeros(shape, bool), self.name, ())
"""

SHIPPED = segmenter_names()


def blank(name: str = "own") -> KnownCoverage:
    return KnownCoverage(np.zeros(SHAPE), np.ones(SHAPE, bool), name=name)


def photo() -> Photo:
    return Photo("a.png", "ab" * 32, np.zeros((*SHAPE, 3), np.uint8), "PNG")


def test_the_learned_one_is_the_usual_one_and_made_once() -> None:
    assert segmenter_names()[0] == LEARNED
    assert isinstance(segmenter_named(), LearnedSegmenter)
    assert segmenter_named() is segmenter_named(LEARNED)


def test_one_that_is_registered_is_used_when_asked_for_or_as_the_default() -> None:
    register_segmenter("own", blank)
    try:
        assert segmenter_names() == (*SHIPPED, "own")
        assert measure(photo(), Request(segmenter="own")).coverage.segmenter == "own"
        with pytest.raises(ValueError, match="own"):
            register_segmenter("own", blank)
    finally:
        forget_segmenter("own")
    with default_segmenter(lambda: blank("usual")) as name:
        assert segmenter_names()[0] == name
        assert measure(photo()).coverage.segmenter == "usual"
        assert measure(photo(), Request(segmenter=blank("mine"))).coverage.segmenter == "mine"
    assert segmenter_names() == SHIPPED


def test_an_unknown_name_is_told_with_those_that_there_are() -> None:
    with pytest.raises(UsageError) as caught:
        measure(photo(), Request(segmenter="guess"))
    assert caught.value.code == "segmenter-unknown"
    assert LEARNED in caught.value.advice


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A package of somebody else's, as pip lays it down."""
    (tmp_path / "blind_finder.py").write_text(PLUGIN, "utf-8")
    info = tmp_path / "blind_finder-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: blind-finder\nVersion: 1.0\n", "utf-8")
    (info / "entry_points.txt").write_text("[grader.segmenters]\nblind = blind_finder:Blind\n", "utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    choose._installed.cache_clear()
    yield
    choose._installed.cache_clear()


@pytest.mark.usefixtures("installed")
def test_an_installed_package_brings_one() -> None:
    assert segmenter_names() == (*SHIPPED, "blind")
    assert measure(photo(), Request(segmenter="blind")).coverage.segmenter == "blind-1"


def test_without_a_measured_error_it_says_what_is_missing() -> None:
    share = np.full(SHAPE, 255, np.uint8)
    for ask in (lambda: error_inputs("own", "p", None, share), lambda: centre_of("own", 5.0)):
        with pytest.raises(DataFileError) as caught:
            ask()
        assert caught.value.code == "segmenter-unmeasured"
        assert "[own]" in caught.value.advice
        assert "error.toml" in caught.value.advice
