"""Corrections by hand: as data, and laid over what was found."""

from grader.correct.apply import apply_corrections, region_at
from grader.corrections import (
    Confirmed,
    Correction,
    Corrections,
    FilledIn,
    FilledOut,
    FinishChanged,
    LeftOut,
    PaintedIn,
    PaintedOut,
    Stroke,
    parse_corrections,
)

__all__ = [
    "Confirmed",
    "Correction",
    "Corrections",
    "FilledIn",
    "FilledOut",
    "FinishChanged",
    "LeftOut",
    "PaintedIn",
    "PaintedOut",
    "Stroke",
    "apply_corrections",
    "parse_corrections",
    "region_at",
]
