"""One photo's measurement as a notebook user holds it: figures with ranges, the picture, tables, a file."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calibration.errors import DataFileError, RefusedError, ScaleError, UsageError
from calibration.files import write_whole
from calibration.notices import Notice, notice
from calibration.reading import read_bytes
from grader.board_count import BoardCount
from grader.correct import Corrections, parse_corrections
from grader.correct.measured import correct
from grader.corrections import CORRECTIONS_FILE
from grader.figures import Figure, data_frame
from grader.model import FINISHES, Finish, ProductModel, Range
from grader.pipeline import Measurement, Request
from grader.report import measurement_document
from grader.report.blocks import Caveat, Picture, Table, Text
from grader.report.blocks_html import blocks_html
from grader.report.overlay import overlay_rgb
from grader.report.plating import picture_jpeg
from grader.report.words import finish_rows
from grader.units import format_share
from grader.valuation import measurements_of

if TYPE_CHECKING:
    from PIL.Image import Image

_NOTEBOOK_PX = 720
_FILE_FIX = "Measure the photo again."


@dataclass(frozen=True)
class Plating:
    """Visible plating of one finish.

    Attributes:
        area: mm².
        gold: mg.
    """

    area: Figure
    gold: Figure


class MeasuredPhoto:
    """What one photo gave: made by ``grader.measure``, or read from a file by ``grader.load_measurement``.

    Only plating that the photo shows is in it: no gold inside packages, or on faces that it does not show.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> done = grader.measure(samples_folder() / "memory-modules.jpg")
        >>> done
        <MeasuredPhoto memory-modules.jpg: 1370 mm² (1270 to 1460 mm², 90 % sure) plated, ... mg gold ...>
        >>> done.board_count.words()
        '4 boards'
        >>> done.to_frame()[["board", "contacts"]].to_dict("list")
        {'board': [1, 2, 3, 4], 'contacts': [168, 168, 168, 168]}
        >>> done.overlay().save("seen.png")
        >>> done.save("boards.json")
        >>> grader.load_measurement("boards.json").gold == done.gold
        True
    """

    def __init__(
        self,
        document: Mapping[str, Any] | None = None,
        measurement: Measurement | None = None,
        request: Request | None = None,
    ) -> None:
        """From what was measured, or from a document of it; ``grader.measure`` and ``from_dict`` call it.

        Args:
            document: as ``to_dict`` gives it; None to make it of the measurement when it is first needed.
            measurement: with photo and coverage; None where only the document is known.
            request: how it was measured.
        """
        self._given, self._measurement, self._request = document, measurement, request

    @staticmethod
    def from_dict(document: Mapping[str, Any]) -> MeasuredPhoto:
        """The inverse of ``to_dict``, without the photo's pixels.

        Raises:
            DataFileError: ``measurement-invalid`` or another for a document that was damaged or edited.
        """
        done = MeasuredPhoto(document)
        if document.get("gold_mg") is not None:
            measurements_of([("measurement", document)])
        elif document.get("schema") != 1 or not isinstance(document.get("photo"), str):
            raise DataFileError(
                "measurement-invalid", "This is not a measurement that this version can read.", _FILE_FIX
            )
        return done

    @cached_property
    def _document(self) -> Mapping[str, Any]:
        return self._given if self._given is not None else measurement_document(self.measurement)

    @property
    def measurement(self) -> Measurement:
        """Everything that was found: scale, coverage, regions, models.

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
        return self._measurement.photo.name if self._measurement is not None else str(self._document["photo"])

    @property
    def sha256(self) -> str:
        """Of the photo's file, hex."""
        return str(self._document["sha256"])

    @property
    def area(self) -> Figure:
        """Visible plated area, mm².

        Raises:
            RefusedError: there is no scale; the error says why, and what to do.
        """
        return self._figure("plated_area_mm2", "mm²")

    @property
    def gold(self) -> Figure:
        """Gold in that plating, mg. With thickness that a log's yields taught: what your process recovers of it.

        Raises:
            RefusedError: as ``area``.
        """
        return self._figure("gold_mg", "mg")

    @property
    def by_finish(self) -> Mapping[Finish, Plating]:
        """Area and gold of each finish.

        Raises:
            RefusedError: as ``area``.
        """
        self._check_scale()
        found = self._document["by_finish"]
        return {
            f: Plating(_figure(found[f]["area_mm2"], "mm²"), _figure(found[f]["gold_mg"], "mg")) for f in FINISHES
        }

    @property
    def refused(self) -> RefusedError | None:
        """Why there is no area and no gold; None where there are both."""
        if self._document["gold_mg"] is not None:
            return None
        why = self._document.get("refused")
        if why is None:
            return ScaleError.of(notice("no-scale"))
        return ScaleError(str(why["code"]), str(why["message"]), str(why["advice"]))

    @property
    def plated_share(self) -> float:
        """Plated share of the frame, 0..1; known without a scale too."""
        return float(self._document["plated_share_of_frame"])

    @property
    def px_per_mm(self) -> float | None:
        """Scale at the boards; None where there is none."""
        scale = self._document["scale"]["px_per_mm"]
        return None if scale is None else float(scale)

    @property
    def board_count(self) -> BoardCount | None:
        """How many boards the photo shows by their outlines; None where nothing tells."""
        count = self._document.get("board_count")
        return None if count is None else BoardCount.from_json(count)

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What deserves less trust and what to do about it, each with a stable code."""
        found = self._document["warnings"]
        return tuple(Notice(str(w["code"]), str(w["message"]), str(w["advice"])) for w in found)

    def corrected(self, corrections: Corrections | str | Path) -> MeasuredPhoto:
        """The same with corrections by hand, which take the place of any that it has; none gives what was found.

        Args:
            corrections: themselves, or the file that the page saved or that holds a measurement with them.

        Raises:
            UsageError: ``corrections-other-photo``, or as ``measurement``.
            DataFileError: the file cannot be read, or holds no corrections.
        """
        if not isinstance(corrections, Corrections):
            corrections = parse_corrections(read_bytes(Path(corrections), CORRECTIONS_FILE))
        return MeasuredPhoto(None, correct(self.measurement, corrections), self._request)

    def overlay(self, max_side_px: int = 1600) -> Image:
        """The photo with plating coloured by finish and boards outlined. Jupyter shows it; ``save`` writes it.

        Args:
            max_side_px: of the longer side.

        Raises:
            UsageError: as ``measurement``.
        """
        from PIL import Image

        return Image.fromarray(overlay_rgb(self.measurement, max_side_px))

    def rows(self) -> list[dict[str, Any]]:
        """A row for each board: area of its outline, plating by finish, gold with its range, contacts.

        Areas in mm² (of plating the medians), gold in mg; those are None where there is no scale.
        """
        return [
            {"photo": self.name, "board": number, **self._board(board)}
            for number, board in enumerate(self._document["boards"], 1)
        ]

    def to_frame(self) -> Any:
        """The rows as a pandas DataFrame.

        Raises:
            UsageError: ``pandas-missing``.
        """
        return data_frame(self.rows())

    def to_dict(self) -> dict[str, Any]:
        """The measurement as the JSON document that the command line and the log keep."""
        return dict(self._document)

    def save(self, path: str | Path) -> None:
        """Write it as a JSON file, which ``grader.load_measurement`` and the command line read.

        Raises:
            UsageError: ``cannot-write``.
        """
        text = json.dumps(self._document, ensure_ascii=False, allow_nan=False) + "\n"
        write_whole(Path(path), text.encode("utf-8", "backslashreplace"))

    def _board(self, board: Mapping[str, Any]) -> dict[str, Any]:
        has_scale = board["area_mm2"] is not None
        gold = _board_gold(board, self._document["model"]["gold_mg"]["inputs"]) if has_scale else None
        return {
            "area_mm2": board["area_mm2"]["value"] if has_scale else None,
            **{f"{f}_mm2": board["by_finish"][f]["area_mm2"]["value"] if has_scale else None for f in FINISHES},
            "gold_mg": None if gold is None else gold.value,
            "gold_low_mg": None if gold is None else gold.low,
            "gold_high_mg": None if gold is None else gold.high,
            "contacts": sum(row["count"] for row in board["contacts"]),
            "partly_hidden": board["partly_hidden"],
        }

    def _figure(self, key: str, unit: str) -> Figure:
        self._check_scale()
        return _figure(self._document[key], unit)

    def _check_scale(self) -> None:
        refused = self.refused
        if refused is not None:
            raise refused

    def __repr__(self) -> str:
        if self.refused is not None:
            return f"<MeasuredPhoto {self.name}: no scale, {format_share(self.plated_share)} of the frame plated>"
        return f"<MeasuredPhoto {self.name}: {self.area} plated, {self.gold} gold>"

    def _repr_html_(self) -> str:
        """How Jupyter shows it: the picture, the figures, what to mind."""
        return blocks_html(self._blocks())

    def _blocks(self) -> Iterator[Text | Table | Picture | Caveat]:
        yield Text(self.name, is_strong=True)
        if self._measurement is not None:
            drawn = overlay_rgb(self._measurement, _NOTEBOOK_PX)
            yield Picture(picture_jpeg(drawn), drawn.shape[1], drawn.shape[0], f"{self.name} with what was found")
        if self.refused is None:
            yield Table(("Finish", "Plated area", "Gold"), tuple(finish_rows(self._document)))
        else:
            yield Text(f"{format_share(self.plated_share)} of the frame is plated; no scale, so no area and no gold.")
        yield from (Caveat(n.message, n.advice) for n in self.notices)
        yield Text(str(self._document["statement"]))


def _figure(value: Mapping[str, float], unit: str) -> Figure:
    return Figure(value["value"], value["low"], value["high"], unit, value["level"])


def _board_gold(board: Mapping[str, Any], inputs: list[dict[str, Any]]) -> Range:
    model = ProductModel.from_json({"terms": board["gold_terms"], "inputs": inputs})
    return Range.of(model.draws()) if model.terms else Range(0.0, 0.0, 0.0)
