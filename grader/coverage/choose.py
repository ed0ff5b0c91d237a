"""Which segmenter is used when nobody asks for one."""

from __future__ import annotations

import functools

from grader.coverage.learned import LearnedSegmenter
from grader.coverage.model import Segmenter


@functools.cache
def default_segmenter() -> Segmenter:
    """The best one that there is, made ready once."""
    return LearnedSegmenter()
