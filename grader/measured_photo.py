"""The measurement of one photo for notebook users: figures with ranges, picture, tables, file."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibration.errors import DataFileError, GraderError, PhotoError, ScaleError, UsageError
from calibration.files import write_whole
from calibration.notices import Notice, notice
from calibration.reading import read_bytes
from grader.board_count import BoardCount
from grader.correct.measured import correct
from grader.corrections import CORRECTIONS_FILE, Corrections, parse_corrections
from grader.figures import Figure, data_frame
from grader.measured import Measured, MeasuredBoard, usable
from grader.model import FINISHES, Finish, ProductModel, Range
from grader.pipeline import Measurement
from grader.report.blocks import Caveat, Picture, Text
from grader.report.blocks_html import blocks_html
from grader.report.overlay import overlay_rgb
from grader.report.plating import picture_jpeg
from grader.report.words import finish_rows
from grader.table import Table
from grader.units import format_share

if TYPE_CHECKING:
    from PIL.Image import Image

    from grader.report.lot_report import ReportedPhoto

_NOTEBOOK_PX = 720
_FILE_FIX = "Measure the photo again."


@dataclass(frozen=True)
class VisiblePlating:
    """Visible plating of one finish.

    Attributes:
        area: mm².
        gold: mg.
    """

    area: Figure
    gold: Figure


class MeasuredPhoto:
    """The result for one photo, made by ``grader.measure`` or read from a file by ``grader.load_measurement``.

    It counts only visible plating: no gold inside packages, and none on hidden faces.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> done = grader.measure(samples_folder() / "memory-modules.jpg")
        >>> done
        <MeasuredPhoto memory-modules.jpg: ... mm² (...) plated, ... mg (...) gold>
        >>> done.board_count.value
        4
        >>> [row["board"] for row in done.rows()]
        [1, 2, 3, 4]
        >>> done.overlay().save("seen.png")
        >>> done.save("boards.json")
        >>> grader.load_measurement("boards.json").gold == done.gold
        True
    """

    def __init__(self, found: Measurement | Measured) -> None:
        """Wrap a measurement, or its record, which holds no pixels."""
        self._measurement = found if isinstance(found, Measurement) else None
        self._record = found if isinstance(found, Measured) else None

    @staticmethod
    def from_dict(document: Mapping[str, Any]) -> MeasuredPhoto:
        """The inverse of ``to_dict``, without the photo's pixels.

        Raises:
            DataFileError: ``measurement-invalid`` or another for a document that was damaged or edited.
        """
        record = Measured.from_dict(document)
        if record.has_gold:
            usable([("the measurement", record)])
        return MeasuredPhoto(record)

    @cached_property
    def record(self) -> Measured:
        """The record of the measurement: everything that is saved."""
        return self._record if self._record is not None else Measured.of(self.measurement)

    @property
    def measurement(self) -> Measurement:
        """The full measurement: scale, coverage, regions, models.

        Raises:
            UsageError: ``photo-not-at-hand``: the measurement was read from a file, which holds no pixels.
        """
        if self._measurement is None:
            raise UsageError(
                "photo-not-at-hand",
                f"The measurement of {self.name} was read from a file, which does not hold the photo.",
                "Measure the photo again with grader.measure.",
            )
        return self._measurement

    @property
    def name(self) -> str:
        """Name of the photo's file."""
        return self.record.photo

    @property
    def area(self) -> Figure:
        """Visible plated area, mm².

        Raises:
            RefusedError: there is no scale; the error says why, and what to do.
        """
        return self._known(self.record.plated_area_mm2, "mm²")

    @property
    def gold(self) -> Figure:
        """Gold in that plating, mg; with thickness learned from yields, the gold that your process recovers.

        Raises:
            RefusedError: as ``area``.
        """
        return self._known(self.record.gold_mg, "mg")

    @property
    def by_finish(self) -> Mapping[Finish, VisiblePlating]:
        """Area and gold of each finish.

        Raises:
            RefusedError: as ``area``.
        """
        found = self.record.by_finish.items()
        return {
            f: VisiblePlating(self._known(each.area_mm2, "mm²"), self._known(each.gold_mg, "mg")) for f, each in found
        }

    @property
    def refused(self) -> GraderError | None:
        """Why area and gold are unknown; None if they are known."""
        record = self.record
        if record.gold_mg is not None:
            return None
        if record.error is not None:
            return PhotoError.of(record.error)
        why = record.refused if record.refused is not None else notice("no-scale")
        return ScaleError.of(why)

    @property
    def plated_share(self) -> float:
        """Plated share of the frame, 0..1; known without a scale too.

        Raises:
            PhotoError: the record is of a photo that could not be measured.
        """
        share = self.record.plated_share_of_frame
        if share is None:
            raise self.refused or self._incomplete("plated share")
        return share

    @property
    def px_per_mm(self) -> float | None:
        """Scale at the boards; None if there is none."""
        return None if self.record.scale is None else self.record.scale.px_per_mm

    @property
    def board_count(self) -> BoardCount | None:
        """Number of boards by their outlines; None if unknown."""
        return self.record.board_count

    @property
    def notices(self) -> tuple[Notice, ...]:
        """Warnings: what deserves less trust and what to do about it, each with a stable code."""
        return self.record.warnings

    def corrected(self, corrections: Corrections | str | Path) -> MeasuredPhoto:
        """Apply corrections by hand in place of earlier ones; without any, return to what was found.

        Args:
            corrections: the corrections, the file saved by the page, or a measurement that contains them.

        Raises:
            UsageError: ``corrections-other-photo``, or as ``measurement``.
            DataFileError: the file cannot be read, or holds no corrections.
        """
        if not isinstance(corrections, Corrections):
            corrections = parse_corrections(read_bytes(Path(corrections), CORRECTIONS_FILE))
        return MeasuredPhoto(correct(self.measurement, corrections))

    def overlay(self, max_side_px: int = 1600) -> Image:
        """The photo with plating coloured by finish and boards outlined. Jupyter shows it; ``save`` writes it.

        Args:
            max_side_px: of the longer side.

        Raises:
            UsageError: as ``measurement``.
        """
        from PIL import Image

        return Image.fromarray(overlay_rgb(self.measurement, max_side_px))

    def reported(self) -> ReportedPhoto:
        """The photo for the report of a lot, without its picture if the pixels are not available."""
        from grader.report.lot_report import ReportedPhoto, reported_picture

        if self._measurement is None:
            return ReportedPhoto(self.record)
        return ReportedPhoto(self.record, reported_picture(self.record, self._measurement.photo.rgb))

    def rows(self) -> list[dict[str, Any]]:
        """One row per board: area of its outline, plating by finish, gold with its range, contacts.

        Areas are in mm² (medians for plating), gold in mg; both are None without a scale.
        """
        return [
            {"photo": self.name, "board": number, **self._board(board)}
            for number, board in enumerate(self.record.boards, 1)
        ]

    def to_frame(self) -> Any:
        """The rows as a pandas DataFrame.

        Raises:
            UsageError: ``pandas-missing``.
        """
        return data_frame(self.rows())

    def to_dict(self) -> dict[str, Any]:
        """The measurement as the JSON document used by the command line and the log."""
        return self.record.to_dict()

    def save(self, path: str | Path) -> None:
        """Save as a JSON file for ``grader.load_measurement`` and the command line.

        Raises:
            UsageError: ``cannot-write``.
        """
        text = json.dumps(self.to_dict(), ensure_ascii=False, allow_nan=False) + "\n"
        write_whole(Path(path), text.encode("utf-8", "backslashreplace"))

    def _board(self, board: MeasuredBoard) -> dict[str, Any]:
        by_finish, gold = board.by_finish or {}, self._gold_of(board)
        plated = {f: None if f not in by_finish else by_finish[f].area_mm2 for f in FINISHES}
        return {
            "area_mm2": None if board.area_mm2 is None else board.area_mm2.value,
            **{f"{f}_mm2": None if area is None else area.value for f, area in plated.items()},
            "gold_mg": None if gold is None else gold.value,
            "gold_low_mg": None if gold is None else gold.low,
            "gold_high_mg": None if gold is None else gold.high,
            "contacts": sum(row.count for row in board.contacts),
            "partly_hidden": board.partly_hidden,
        }

    def _gold_of(self, board: MeasuredBoard) -> Range | None:
        if self.record.model is None or board.gold_terms is None:
            return None
        model = ProductModel(board.gold_terms, self.record.gold.inputs)
        return Range.of(model.draws()) if model.terms else Range(0.0, 0.0, 0.0)

    def _known(self, value: Range | None, unit: str) -> Figure:
        refused = self.refused
        if refused is not None:
            raise refused
        if value is None:
            raise self._incomplete(f"figure in {unit}")
        return Figure.of(value, unit)

    def _incomplete(self, what: str) -> DataFileError:
        return DataFileError("measurement-invalid", f"The measurement of {self.name} holds no {what}.", _FILE_FIX)

    def __repr__(self) -> str:
        if self.refused is not None:
            return f"<MeasuredPhoto {self.name}: no area and no gold ({self.refused.code})>"
        return f"<MeasuredPhoto {self.name}: {self.area} plated, {self.gold} gold>"

    def _repr_html_(self) -> str:
        """HTML for Jupyter: the picture, the figures, the warnings."""
        return blocks_html(self._blocks())

    def _blocks(self) -> Iterator[Text | Table | Picture | Caveat]:
        yield Text(self.name, is_strong=True)
        if self._measurement is not None:
            drawn = overlay_rgb(self._measurement, _NOTEBOOK_PX)
            yield Picture(picture_jpeg(drawn), drawn.shape[1], drawn.shape[0], f"{self.name} with what was found")
        if self.refused is None:
            yield Table(("Finish", "Plated area", "Gold"), tuple(finish_rows(self.record)))
        elif self.record.plated_share_of_frame is not None:
            yield Text(f"{format_share(self.plated_share)} of the frame is plated; no scale, so no area and no gold.")
        yield from (Caveat(n.message, n.advice) for n in self.notices)
        yield Text(self.record.statement)
