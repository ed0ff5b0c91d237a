"""The parts of a measurement's record: scale, finishes, boards, rows of contacts, checks, corrections, models."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import cv2
import numpy as np
from pydantic import Field

from grader.corrections import MOST_ITEMS, Corrections
from grader.measured.fields import CorrectionField, FinishKey, ModelField, PointPx, Record, TermsField
from grader.model import Range
from grader.photo_advice.model import CheckName

Ring = tuple[PointPx, ...]


class MeasuredScale(Record):
    """The source of the scale, and the size of things in the photo.

    Attributes:
        method: ``none`` without a scale; ``length`` for any length given by a person.
        known: the same, with rectangles and coins distinguished; None in records of older versions.
        px_per_mm: on the boards' faces.
        relative_uncertainty: standard uncertainty of lengths, as a share of them.
        tilt_deg: of the camera from straight down, if the scale reveals it.
    """

    method: str
    known: str | None = None
    px_per_mm: float | None = None
    relative_uncertainty: float | None = None
    tilt_deg: float | None = None

    @property
    def given_by(self) -> str:
        """Its source, as exactly as known."""
        return self.known if self.known is not None else self.method


class MeasuredFinish(Record):
    """Plated area and gold of one finish; None without scale."""

    area_mm2: Range | None = None
    gold_mg: Range | None = None


class MeasuredRow(Record):
    """A row of contacts.

    Attributes:
        count: of contacts.
        missing: places in it without a contact.
        outline: matching published outline.
        pitch_mm: centre to centre; None without scale, or if contacts merged.
        length_mm: of a contact.
        width_mm: of a contact.
        at_edge: whether it lies along its board's edge; None if no outline is known.
        face: of the board.
    """

    count: int
    missing: int = 0
    outline: str | None = None
    pitch_mm: float | None = None
    length_mm: float | None = None
    width_mm: float | None = None
    at_edge: bool | None = None
    face: str = "seen"


@dataclass(frozen=True)
class EdgeRow:
    """A plated row of contacts at an edge.

    Attributes:
        length_mm: along the edge.
        depth_mm: of its contacts, from the edge inwards.
    """

    length_mm: float
    depth_mm: float


class MeasuredBoard(Record):
    """An outline in the photo: a board, or several that touch.

    Attributes:
        outline_px: its corners.
        partly_hidden: whether another board covers part of it.
        contacts: rows on it.
        area_mm2: inside the outline; None without scale.
        by_finish: the plating on it; None without scale.
        plated_share: of the outline's pixels; only without scale.
        gold_terms: of its gold in mg, in the inputs of the photo's model; None in records of older versions.
    """

    outline_px: tuple[PointPx, ...] = ()
    partly_hidden: bool = False
    contacts: tuple[MeasuredRow, ...] = ()
    area_mm2: Range | None = None
    by_finish: Mapping[FinishKey, MeasuredFinish] | None = None
    plated_share: float | None = None
    gold_terms: TermsField | None = None

    @property
    def size_mm2(self) -> float:
        """Area inside the outline; 0 without scale."""
        return 0.0 if self.area_mm2 is None else self.area_mm2.value

    @property
    def slenderness(self) -> float | None:
        """Longer ÷ shorter side of the smallest rectangle around the outline; None if its shape is unknown."""
        if len(self.outline_px) < 3:
            return None
        _, sides, _ = cv2.minAreaRect(np.asarray(self.outline_px, np.float32))
        short, long = sorted(float(side) for side in sides)
        return long / short if short > 0 else None

    @property
    def edge_rows(self) -> tuple[EdgeRow, ...] | None:
        """Rows at the edges of the visible face; None if the measurement does not say."""
        if "contacts" not in self.model_fields_set:
            return None
        found = []
        for row in self.contacts:
            # contacts that ran together have no pitch, but lie side by side: a few such beside a clear row must not
            # make the work on all boards unknown
            step = row.width_mm if row.pitch_mm is None else row.pitch_mm
            if step is None or row.length_mm is None:
                return None
            if row.at_edge:
                found.append(EdgeRow((row.count + row.missing) * step, row.length_mm))
        return tuple(found)

    @property
    def gold_value_mg(self) -> float:
        """Gold in its plating, for comparing outlines within one photo."""
        found = (self.by_finish or {}).values()
        return sum(finish.gold_mg.value for finish in found if finish.gold_mg is not None)


class PhotoCheck(Record):
    """One check of the photo: see ``grader.photo_advice.Check``; ``codes`` are those of its warnings."""

    check: CheckName
    title: str
    value: float | None = None
    unit: str = ""
    limit: float | None = None
    is_good: bool | None = None
    sentence: str
    advice: str
    codes: tuple[str, ...] = ()


class BudgetShare(Record):
    """The share of the gold's variance due to one input, or to several together."""

    input: str
    title: str
    share_of_variance: float


class Change(Record):
    """A quantity before corrections by hand, and their effect on it."""

    found: Range
    change: Range


class Unsure(Record):
    """Plating that may be none, worth a person's look.

    Attributes:
        at_px: a place inside each of its regions.
        box_px: left, top, right and bottom of what shows it with its surroundings.
        share: of all plating that was found.
    """

    at_px: tuple[PointPx, ...]
    box_px: tuple[int, int, int, int]
    share: float


class MadeCorrections(Record):
    """Corrections by hand and their effect; None without scale."""

    schema_: Literal[1] = Field(default=1, alias="schema")
    sha256: str = ""
    corrections: Annotated[tuple[CorrectionField, ...], Field(max_length=MOST_ITEMS)] = ()
    plated_share_of_frame_found: float | None = None
    plated_area_mm2: Change | None = None
    gold_mg: Change | None = None

    @property
    def made(self) -> Corrections:
        """The corrections themselves."""
        return Corrections(self.corrections, self.sha256)


class MeasuredModel(Record):
    """Area and gold as models with shared inputs, so that later stages draw the same numbers.

    Attributes:
        area_mm2: plated area by finish, mm².
        gold_mg: gold in the plating that was seen, mg.
        scale_inputs: names of the factors common to every area in the photo.
    """

    area_mm2: Mapping[FinishKey, ModelField] = Field(default_factory=dict)
    gold_mg: ModelField
    scale_inputs: tuple[str, ...] = ()
