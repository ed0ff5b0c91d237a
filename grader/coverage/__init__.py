"""Coverage: the share of each pixel that is plated."""

from grader.coverage.model import Coverage, Segmenter

__all__ = ["Coverage", "Segmenter"]
