"""Groups of the plated pixels of one photo: regions, rows and boards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.model import Finish
from grader.regions.evidence import OutlineEvidence


@dataclass(frozen=True, eq=False)
class Region:
    """One connected piece of plating.

    Attributes:
        number: its label in ``Regions.labels``.
        finish: hard gold, immersion gold or undetermined.
        box_px: float64 (4, 2), the rectangle in the photo with the same middle, direction and spread.
        length: longer side of that rectangle, mm where scale is known, otherwise px.
        width: shorter side, likewise.
        board: index of its board, or None.
        row: index of its row of contacts, or None.
        doubt: chance that it is the other of hard and immersion gold; 0 if the finish is undetermined.
        painted: whether a person painted it in; otherwise the segmenter found it.
        faint: whether none of its pixels is half covered: plating so pale or narrow that its shape is not known.
        judged: whether a person has said what it is.
    """

    number: int
    finish: Finish
    box_px: FloatArray
    length: float
    width: float
    board: int | None
    row: int | None
    doubt: float = 0.0
    painted: bool = False
    faint: bool = False
    judged: bool = False


@dataclass(frozen=True)
class ContactRow:
    """A row of alike contacts.

    Attributes:
        count: contacts found in it (worn or merged ones may be missing).
        pitch: centre to centre, mm where scale is known, otherwise px; None if contacts ran together.
        contact_length: median, in the same unit.
        contact_width: median, in the same unit.
        length_spread: median deviation of the lengths from their median, as a share of it.
        board: index of its board, or None.
        at_edge: whether it lies along the edge of its board; None if no outline is known.
        ends_px: float pairs, the centres of its first and last contact in the photo.
    """

    count: int
    pitch: float | None
    contact_length: float
    contact_width: float
    length_spread: float
    board: int | None
    at_edge: bool | None
    ends_px: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Board:
    """The visible part of one board; without scale, boards that touch are one.

    Attributes:
        outline_px: float64 (k, 2); of its largest piece where other boards divide it.
        area: of its whole visible part, mm² where scale is known, otherwise px².
        hidden: whether another board lies on part of it.
        more_px: float64 (k, 2) each, outlines of its further visible pieces.
        evidence: for its being one board; None without scale, when touching boards are not separated.
    """

    outline_px: FloatArray
    area: float
    hidden: bool = False
    more_px: tuple[FloatArray, ...] = ()
    evidence: OutlineEvidence | None = None


@dataclass(frozen=True, eq=False)
class Regions:
    """Regions, rows and boards of one photo.

    Attributes:
        labels: uint16 (height, width): the region that each pixel with any coverage belongs to; 0 = none.
        regions: label n is ``regions[n - 1]``.
        rows: of contacts.
        boards: outlines, from left to right, row by row from the top.
    """

    labels: NDArray[np.uint16]
    regions: tuple[Region, ...]
    rows: tuple[ContactRow, ...]
    boards: tuple[Board, ...]
