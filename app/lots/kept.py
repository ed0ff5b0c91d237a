"""The photos in a lot's folder: measured, waiting, or in conflict."""

from __future__ import annotations

from dataclasses import dataclass, field

from grader.measured import Measured
from grader.request import Request


@dataclass(frozen=True)
class Kept:
    """One measured photo.

    Attributes:
        name: of the photo.
        sha256: of its file.
        request: how it was measured.
        measured: the findings.
        overlay: PNG of at most 1600 px.
        is_sample: whether it is one of the demo's photos.
        stamp: of this measurement, or of the one it was made from; None if there was none.
    """

    name: str
    sha256: str
    request: Request
    measured: Measured
    overlay: bytes
    is_sample: bool
    stamp: str | None = field(default=None, compare=False)

    @property
    def has_gold(self) -> bool:
        """Whether there is an estimate to value and to log."""
        return self.measured.gold_mg is not None


@dataclass(frozen=True)
class PhotoClash:
    """A photo measured or corrected by two windows unaware of each other.

    Attributes:
        now: the current result.
        others: further results.
    """

    now: Kept
    others: tuple[Kept, ...]


@dataclass(frozen=True)
class Waiting:
    """A photo that was added, but not measured yet."""

    name: str
    sha256: str
    is_sample: bool = False
