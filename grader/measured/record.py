"""The record of one photo's measurement: what is shown, logged, valued and reported.

The JSON that the program writes is this record; ``measurement.schema.json`` describes it. Attributes have
the names of its keys.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import ConfigDict, Field, ValidationError

from calibration.errors import DataFileError, GraderError, UsageError
from calibration.notices import Notice
from calibration.reading import FileKind
from grader.board_count import BoardCount
from grader.corrections import NO_CORRECTIONS, Corrections
from grader.measured.fields import BoardCountField, FinishKey, NoticeField, Record
from grader.measured.parts import (
    BudgetShare,
    MadeCorrections,
    MeasuredBoard,
    MeasuredFinish,
    MeasuredModel,
    MeasuredRow,
    MeasuredScale,
    PhotoCheck,
    Ring,
    Unsure,
)
from grader.model import Finish, ProductModel, Range
from grader.regions.count import by_outlines

if TYPE_CHECKING:
    from grader.pipeline import Measurement

SCHEMA: Literal[1] = 1
VISIBLE_ONLY = "Visible plating only: gold inside packages, and on faces that the photo does not show, is not in it."
FIX = "Measure the photo again."
FILE = FileKind(code="measurement", what="measurements", most_bytes=200_000_000, fix=FIX)


class Measured(Record):
    """The measurement of one photo.

    Ranges are those of the time of measurement; without a scale they are None. If the photo could not be measured
    at all, ``error`` says why, and only its name is known.

    Attributes:
        program: name and version of the program that measured.
        photo: the photo's name.
        sha256: of the photo's file; empty if it could not be read.
        taken_at: by the camera's own clock, ISO 8601.
        width_px: of the upright photo.
        height_px: likewise.
        segmenter: name and version of the segmenter.
        scale: of the photo.
        statement: what the figures leave out.
        plated_share_of_frame: 0..1.
        plated_area_mm2: visible plated area.
        by_finish: the same, and gold, by finish.
        gold_mg: gold in the visible plating.
        photo_checks: whether the photo should be taken again.
        boards: outlines.
        board_count: how many boards they stand for; None without scale, or in records of older versions.
        loose_contacts: rows that lie on no outlined board.
        plating_px: outlines of what is at least half plated, by finish; a ring within a ring is a hole.
        unsure: plating that may be none, the most of it first; empty in records of older versions.
        budget: contributions to the range of the gold, largest first.
        corrections: made by hand and included in all figures; None if there are none.
        warnings: about this measurement.
        model: area and gold as models; None without scale.
        refused: why there is no scale, if one was asked for.
        error: why the photo could not be measured.
    """

    model_config = ConfigDict(title="Measurement of one photo")

    schema_: Literal[1] = Field(default=SCHEMA, alias="schema")
    program: str = ""
    photo: str
    sha256: Annotated[str, Field(min_length=1)] = ""
    taken_at: str | None = None
    width_px: int | None = None
    height_px: int | None = None
    segmenter: str | None = None
    scale: MeasuredScale | None = None
    statement: str = VISIBLE_ONLY
    plated_share_of_frame: float | None = None
    plated_area_mm2: Range | None = None
    by_finish: Mapping[FinishKey, MeasuredFinish] = Field(default_factory=dict)
    gold_mg: Range | None = None
    photo_checks: tuple[PhotoCheck, ...] = ()
    boards: tuple[MeasuredBoard, ...] = ()
    board_count: BoardCountField | None = None
    loose_contacts: tuple[MeasuredRow, ...] = ()
    plating_px: Mapping[FinishKey, tuple[Ring, ...]] = Field(default_factory=dict)
    unsure: tuple[Unsure, ...] = ()
    budget: tuple[BudgetShare, ...] = ()
    corrections: MadeCorrections | None = None
    warnings: tuple[NoticeField, ...] = ()
    model: MeasuredModel | None = None
    refused: NoticeField | None = None
    error: NoticeField | None = None

    @staticmethod
    def of(measurement: Measurement) -> Measured:
        """The record of a measurement."""
        from grader.measured.of_measurement import measured_of  # brings everything that measures photos

        return measured_of(measurement)

    @staticmethod
    def failed(photo: str, error: GraderError) -> Measured:
        """The record of a photo that could not be measured."""
        reason = Notice.of(error)
        return Measured(photo=photo, error=reason, warnings=(reason,))

    def to_dict(self) -> dict[str, Any]:
        """A JSON object that ``from_dict`` reads back to an equal record; unset fields are omitted."""
        return {"schema": SCHEMA, **self.model_dump(mode="json", by_alias=True, exclude_unset=True)}

    @staticmethod
    def from_dict(data: Mapping[str, Any], source: str = "") -> Measured:
        """The inverse of ``to_dict``; checks the object against the schema.

        Args:
            data: a JSON object, of this version or an older one; unknown keys are kept.
            source: where it comes from, for messages.

        Raises:
            DataFileError: ``measurement-invalid`` for an object that is not a measurement; ``model-invalid``,
                ``input-conflict`` or the like for a model that cannot be read.
        """
        photo = data.get("photo")
        if data.get("schema") != SCHEMA or not isinstance(photo, str):
            raise FILE.invalid(source or "the measurement", "no measurement that this version can read")
        where = f"{source}, photo {photo}" if source else f"photo {photo}"
        try:
            return Measured.model_validate_json(json.dumps(data, allow_nan=False), strict=True)
        except ValidationError as error:
            raise _data_file_error(where, error) from error
        except (TypeError, ValueError, RecursionError) as error:  # not what JSON can be
            raise FILE.invalid(where, "with parts that cannot be read") from error

    @property
    def has_gold(self) -> bool:
        """Whether there is an estimate to value and to log."""
        return self.model is not None and self.error is None and self.refused is None

    @property
    def has_scale(self) -> bool:
        """Whether the photo has a scale."""
        return self.scale is not None and self.scale.method != "none"

    @property
    def gold(self) -> ProductModel:
        """Gold in the visible plating, mg.

        Raises:
            UsageError: ``measurement-without-scale``, ``measurement-refused``: the gold is unknown.
        """
        return self._known().gold_mg

    @property
    def areas(self) -> Mapping[Finish, ProductModel]:
        """Plated area by finish, mm².

        Raises:
            UsageError: as ``gold``.
        """
        return self._known().area_mm2

    @property
    def scale_inputs(self) -> tuple[str, ...]:
        """Names of the factors common to every area in the photo."""
        return () if self.model is None else self.model.scale_inputs

    @property
    def made_by_hand(self) -> Corrections:
        """Corrections included in the figures; empty if none were made."""
        return NO_CORRECTIONS if self.corrections is None else self.corrections.made

    @cached_property
    def likely_boards(self) -> BoardCount:
        """How many boards the photo shows; the number of its outlines if nothing better is known."""
        return self.board_count if self.board_count is not None else by_outlines(len(self.boards))

    def with_gold(self, gold_mg: ProductModel) -> Measured:
        """The same photo with another model of its gold; the ranges of gold shown before are dropped."""
        model = self._known().model_copy(update={"gold_mg": gold_mg})
        return self.model_copy(update={"model": model, "gold_mg": None, "by_finish": {}, "budget": ()})

    def without_gold(self, source: str = "") -> UsageError | None:
        """Why there is no gold to value; None if there is.

        Args:
            source: where the record comes from, for the message.
        """
        name = f"{source}: the photo {self.photo}" if source else f"The photo {self.photo}"
        for why in (self.refused, self.error):
            if why is not None:
                advice = why.advice or "Take the photo again, or leave it out."
                return UsageError(
                    "measurement-refused",
                    f"{name} was not measured: {why.message}",
                    advice,
                    remedy=why.remedy or why.code,
                    values=why.values,
                )
        if not self.has_scale:
            return UsageError(
                "measurement-without-scale",
                f"{name} has no scale, so its gold is not known.",
                "Measure it again with the printed target, a known length or a known rectangle, or leave it out.",
            )
        return None

    def _known(self) -> MeasuredModel:
        if self.model is None:
            why = self.without_gold()
            raise why if why is not None else FILE.invalid(self.photo, "without the model that a valuation needs")
        return self.model


def _data_file_error(where: str, error: ValidationError) -> DataFileError:
    """The first fault, as one sentence; one of our own errors keeps its code."""
    first = error.errors(include_url=False)[0]
    own = first.get("ctx", {}).get("error")
    if isinstance(own, GraderError):
        message = own.message if own.message.startswith(where) else f"{where}: {own.message}"
        return DataFileError.of(own, message)
    place = ".".join(str(part) for part in first["loc"])
    return FILE.invalid(where, f"with parts that cannot be read ({place}: {first['msg']})")


def schema_json() -> str:
    """The JSON Schema of ``Measured.to_dict``, as the file ``data/measurement.schema.json`` holds it."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **Measured.model_json_schema()}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"
