"""The report of a lot: what was measured, what it is worth, where to cut, what the batch needs.

As data, and as blocks to be written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import DataFileError
from calibration.reading import as_written
from grader.batch.words import HEADING as BATCH_HEADING
from grader.cautions import documents_for
from grader.lot import LotEstimate
from grader.measured import Measured
from grader.model import Range
from grader.report.batch_blocks import batch_blocks
from grader.report.blocks import Block, Heading, Picture, Text
from grader.report.cut_blocks import cut_blocks
from grader.report.offer_blocks import offer_blocks
from grader.report.photo_blocks import photo_blocks
from grader.report.plating import measured_picture, picture_jpeg
from grader.table import Table
from grader.units import format_range
from grader.valuation import CAUTION, VISIBLE_PLATING_ONLY, Offer
from grader.valuation.words import LOT_COLUMNS, highest_words, lot_part_rows
from grader.version import __version__

Document = Mapping[str, Any]


DAMAGED = DataFileError(
    "measurement-invalid",
    "A measurement or a plan cannot be shown: it was changed or damaged after it was written.",
    "Measure the photo again, or make the plan again.",
    remedy="measurement-or-plan",
)
_LONGEST_PX = 1400
_CAPTION = "Plating coloured by finish: hard gold orange, immersion gold blue, undetermined pink; boards outlined."


def reported_picture(measured: Measured, rgb: NDArray[np.uint8]) -> Picture:
    """A photo, uint8 (height, width, 3), with what its measurement found in it."""
    drawn = measured_picture(measured, rgb, _LONGEST_PX)
    alt = f"The photo {measured.photo} with what was found"
    return Picture(picture_jpeg(drawn), drawn.shape[1], drawn.shape[0], alt, _CAPTION)


def reported_cut_picture(rgb: NDArray[np.uint8]) -> Picture:
    """A photo, uint8 (height, width, 3), on which cuts are drawn."""
    alt = "The photo with the cuts in red; what is thrown away is darkened."
    return Picture(picture_jpeg(rgb), rgb.shape[1], rgb.shape[0], alt)


@dataclass(frozen=True)
class ReportedPhoto:
    """One measured photo.

    Attributes:
        measured: what was found.
        picture: the photo with what was found; None if the photo was not at hand.
    """

    measured: Measured
    picture: Picture | None = None


@dataclass(frozen=True)
class ReportedCuts:
    """The cut plan of one photo, as ``grader cut`` wrote it, with its picture if there is one."""

    document: Document
    picture: Picture | None = None


@dataclass(frozen=True)
class LotReport:
    """Everything that a report says.

    Attributes:
        title: of the lot.
        made_on: the day.
        photos: that were measured.
        gold_mg: in the visible plating of the lot.
        parts: of the lot, as ``LotEstimate.as_json`` gives them.
        offer: what to pay; None if no gold price was given.
        cuts: plans; none if nothing was planned.
        batch: plan of the batch, as ``grader batch`` wrote it; None if there is none.
    """

    title: str
    made_on: date
    photos: tuple[ReportedPhoto, ...]
    gold_mg: Range
    parts: Sequence[Document]
    offer: Offer | None = None
    cuts: tuple[ReportedCuts, ...] = ()
    batch: Document | None = None

    @staticmethod
    def of_estimate(
        title: str,
        photos: tuple[ReportedPhoto, ...],
        estimate: LotEstimate,
        *,
        offer: Offer | None = None,
        cuts: tuple[ReportedCuts, ...] = (),
        batch: Document | None = None,
    ) -> LotReport:
        """The report, made today, of a lot that was estimated."""
        gold_mg = Range.of(estimate.gold_mg.draws()) if estimate.gold_mg.terms else Range(0.0, 0.0, 0.0)
        return LotReport(title, date.today(), photos, gold_mg, estimate.as_json(), offer, cuts, batch)

    def as_json(self) -> dict[str, Any]:
        """The report as one document; pictures are left out."""
        return {
            "schema": 1,
            "kind": "lot-report",
            "program": f"grader {__version__}",
            "title": self.title,
            "made_on": self.made_on.isoformat(),
            "statements": [VISIBLE_PLATING_ONLY, CAUTION],
            "gold_mg": self.gold_mg.as_json(),
            "lot": [dict(part) for part in self.parts],
            "photos": [photo.measured.to_dict() for photo in self.photos],
            "offer": None if self.offer is None else self.offer.as_json(),
            "cuts": [dict(plan.document) for plan in self.cuts],
            "batch": None if self.batch is None else dict(self.batch),
            "cautions": self._cautions(),
        }

    def blocks(self) -> tuple[Block, ...]:
        """The report from top to bottom, without its title.

        Raises:
            DataFileError: ``measurement-invalid``: a measurement or plan is not as it was written.
        """
        with as_written(DAMAGED):
            return tuple(self._blocks())

    def _blocks(self) -> Iterator[Block]:
        yield Text(VISIBLE_PLATING_ONLY, is_strong=True)
        if self.offer is not None:
            yield Text(f"Highest price worth paying: {highest_words(self.offer)}", is_strong=True)
        yield Text(f"Gold in the visible plating of the lot: {format_range(self.gold_mg, 'mg')}", is_strong=True)
        if self.offer is None:
            yield Table(LOT_COLUMNS, tuple(lot_part_rows(self.parts)), "The lot")
        for photo in self.photos:
            yield Heading(f"Photo {photo.measured.photo}")
            yield from photo_blocks(photo.measured, photo.picture)
        if self.offer is not None:
            yield Heading("What to pay")
            yield from offer_blocks(self.offer)
        if self.cuts:
            yield Heading("Where to cut")
            for plan in self.cuts:
                yield from cut_blocks(plan.document, plan.picture)
        if self.batch is not None:
            yield Heading(BATCH_HEADING)
            yield from batch_blocks(self.batch)
        yield Heading("Cautions")
        yield Text(CAUTION)
        for caution in self._cautions():
            yield Text(caution["text"])
        yield Heading("How this came about")
        yield Table(("", ""), tuple(self._provenance()))

    def _cautions(self) -> list[dict[str, str]]:
        """Of cutting, and of the batch where one is planned; each once."""
        told = documents_for("cut") + (documents_for("batch") if self.batch is not None else [])
        return list({caution["text"]: caution for caution in told}.values())

    def _provenance(self) -> Iterator[tuple[str, str]]:
        yield "Report made on", self.made_on.isoformat()
        yield "Program", f"grader {__version__}"
        for photo in self.photos:
            seen = photo.measured
            about = [
                f"taken {seen.taken_at.replace('T', ' ')}" if seen.taken_at else "",
                f"measured by {seen.program or 'an older program'}",
                f"plating found by {seen.segmenter or '?'}",
                f"sha256 {seen.sha256[:16] or '?'}…",
            ]
            yield seen.photo, ", ".join(filter(None, about))
