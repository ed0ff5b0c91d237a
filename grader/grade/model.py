"""What is graded and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.errors import RefusedError
from grader.cut import PlannedBoard
from grader.model import ProductModel, Range

Class = Literal["process", "sell_whole", "leave"]
CLASSES: tuple[Class, ...] = ("process", "sell_whole", "leave")
Measure = Literal["gram", "minute"]


@dataclass(frozen=True, eq=False)
class Candidate:
    """One board that could be processed.

    Attributes:
        name: of the board, as it is told from the others.
        part: its kind; boards of one part are taken to be plated alike.
        gold_mg: gold in what would be processed.
        mass_g: of what would be processed; no terms where nothing can be.
        whole_g: of the whole bare board.
        cuts: that are made; None if no cuts could be planned, so that the board counts whole.
        faces: that were seen.
        why_not: why it cannot be processed; None if it can.
        picture: uint8 (h, w, 3), or None.
        planned: its cuts, or None.
        weighed: whether ``whole_g`` was weighed, so that mounted parts are in it.
    """

    name: str
    part: str
    gold_mg: ProductModel
    mass_g: ProductModel
    whole_g: ProductModel
    cuts: int | None
    faces: int = 1
    why_not: RefusedError | None = None
    picture: NDArray[np.uint8] | None = None
    planned: PlannedBoard | None = None
    weighed: bool = False


@dataclass(frozen=True, eq=False)
class Figures:
    """Money, mass and time of a board or of a part, all in one currency.

    Attributes:
        gold_mg: in what is processed.
        mass_g: of what is processed.
        value: of that gold, after recovery and what is paid of its price.
        per_gram: that value for each gram processed.
        per_minute: that value for each minute of work.
        sale: what the boards bring sold whole, by weight; None if no price is known.
    """

    gold_mg: Range
    mass_g: Range
    value: Range
    per_gram: Range
    per_minute: Range
    sale: Range | None


@dataclass(frozen=True, eq=False)
class Graded:
    """A board and its grade.

    Attributes:
        candidate: the board.
        grade: what to do with it.
        chance: that it reaches the thresholds of being processed, 0..1.
        sale_chance: that a sale reaches its own.
        figures: None if it cannot be processed.
        sale: what it brings sold whole; None if no price is known.
        sells_better: it reaches the thresholds of being processed, but more likely than not a sale brings more than
            is left of its gold's value after the cost of processing.
        before_next: chance that it really is better than the next of its grade; None for the last.
    """

    candidate: Candidate
    grade: Class
    chance: float
    sale_chance: float
    figures: Figures | None
    sale: Range | None
    sells_better: bool = False
    before_next: float | None = None


@dataclass(frozen=True, eq=False)
class GradedPart:
    """A kind of board.

    Attributes:
        name: of the part.
        boards: how many are of each grade.
        figures: of those that can be processed, together; None if none can.
        before_next: chance that it really is better than the next part; None for the last.
    """

    name: str
    boards: dict[Class, int]
    figures: Figures | None
    before_next: float | None = None


@dataclass(frozen=True, eq=False)
class Grades:
    """All boards by grade and rank.

    Attributes:
        boards: those to process first, then those to sell, each from the best on.
        parts: from the best on.
        by: what ranks.
        currency: of all amounts.
        certainty: from which an order counts as told.
    """

    boards: tuple[Graded, ...]
    parts: tuple[GradedPart, ...]
    by: Measure
    currency: str
    certainty: float
