"""Coverage: which share of each pixel is plated."""

from grader.coverage.model import Coverage, Segmenter

__all__ = ["Coverage", "Segmenter"]
