"""Measurements as ``grader measure --json`` writes them, read back for valuation."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from calibration.errors import DataFileError, UsageError
from calibration.notices import Notice
from calibration.reading import FileKind, json_of, read_text
from grader.board_count import BoardCount
from grader.model import FINISHES, Finish, ProductModel
from grader.regions.count import by_outlines
from grader.valuation.contradictions import check_shown

_FIX = "Measure the photo again."
_FILE = FileKind(code="measurement", what="measurements", most_bytes=200_000_000, fix=_FIX)
_invalid = _FILE.invalid
_LARGEST_PX = 1e6  # no photo is larger


@dataclass(frozen=True)
class Outline:
    """One outline in a photo: a board, or several that touch.

    Attributes:
        area_mm2: inside the outline, mm².
        gold_mg: in the plating on it, mg; to compare outlines of one photo with each other.
        slenderness: longer ÷ shorter side of the smallest rectangle round it; None where its shape is not known.
    """

    area_mm2: float
    gold_mg: float
    slenderness: float | None = None


@dataclass(frozen=True)
class Measured:
    """One photo's measurement.

    Attributes:
        photo: its name.
        sha256: of the photo's file.
        gold_mg: gold in the plating that was seen, mg.
        area_mm2: plated area by finish, mm².
        notices: what the measurement warned of.
        outlines: of boards.
        scale_inputs: names of the factors that act alike on every area in the photo.
        told_count: how many boards the photo shows, as measured; None where an older version measured.
    """

    photo: str
    sha256: str
    gold_mg: ProductModel
    area_mm2: Mapping[Finish, ProductModel]
    notices: tuple[Notice, ...] = ()
    outlines: tuple[Outline, ...] = ()
    scale_inputs: tuple[str, ...] = ()
    told_count: BoardCount | None = None

    @property
    def board_count(self) -> BoardCount:
        """How many boards the photo shows; from the number of its outlines alone where nothing better is known."""
        return self.told_count if self.told_count is not None else by_outlines(len(self.outlines))


def read_measurements(paths: Sequence[Path]) -> list[Measured]:
    """The measurements of some files, each one JSON object, a JSON array or JSON Lines.

    Raises:
        UsageError: as ``measurements_of``.
        DataFileError: a file cannot be read or holds no measurement.
    """
    return measurements_of((path.name, document) for path in paths for document in documents_in(path))


def measurements_of(documents: Iterable[tuple[str, Mapping[str, Any]]]) -> list[Measured]:
    """Measurements from parsed documents.

    Args:
        documents: where each comes from (for messages), and the object itself.

    Raises:
        UsageError: ``measurement-refused`` or ``measurement-without-scale`` for a photo that gave no gold;
            ``photo-twice`` for the same photo given twice; ``measurements-none`` for none at all.
        DataFileError: ``measurement-invalid``; ``measurement-absurd`` or ``measurement-contradicts`` for one that was
            damaged or edited.
    """
    found: list[Measured] = []
    seen: dict[str, str] = {}
    for source, document in documents:
        measured = _measured(source, document)
        if measured.sha256 in seen:
            raise UsageError(
                "photo-twice",
                f"{source}: the photo {measured.photo} was already given ({seen[measured.sha256]}).",
                "Give each photo once. For boards without a photo, give the number of boards in the lot.",
                remedy="photo-once",
            )
        seen[measured.sha256] = f"{measured.photo} in {source}"
        found.append(measured)
    if not found:
        raise UsageError("measurements-none", "There is no measurement to value.", _FIX)
    return found


def documents_in(path: Path) -> list[Mapping[str, Any]]:
    """The JSON objects of a file: one object, an array of them, or JSON Lines. What they mean is not looked at.

    Raises:
        DataFileError: the file cannot be read or holds no such objects.
    """
    text = read_text(path, _FILE)
    try:
        try:
            whole = json_of(text)
            found = whole if isinstance(whole, list) else [whole]
        except json.JSONDecodeError:
            found = [json_of(line) for line in text.splitlines() if line.strip()]
    except ValueError as error:  # not JSON, or a number that is none
        raise _invalid(path.name, "no JSON") from error
    if not found or not all(isinstance(d, dict) for d in found):
        raise _invalid(path.name, "no measurement")
    return found


def _measured(source: str, document: Mapping[str, Any]) -> Measured:
    photo = document.get("photo")
    if document.get("schema") != 1 or not isinstance(photo, str):
        raise _invalid(source, "no measurement that this version can read")
    _refuse_if_without_gold(source, photo, document)
    where = f"{source}, photo {photo}"
    sha256, model = document.get("sha256"), document.get("model")
    if not isinstance(sha256, str) or not sha256:
        raise _invalid(where, "without the photo's sha256")
    if not isinstance(model, dict) or not isinstance(model.get("gold_mg"), dict):
        raise _invalid(where, "without the model that a valuation needs")
    areas = model.get("area_mm2", {})
    if not isinstance(areas, dict) or not set(areas) <= set(FINISHES):
        raise _invalid(where, "with areas that cannot be read")
    try:
        gold = _model(model["gold_mg"])
        by_finish = {f: _model(areas[f]) for f in FINISHES if f in areas}
        notices = tuple(
            Notice(str(w["code"]), str(w["message"]), str(w["advice"])) for w in document.get("warnings", [])
        )
        outlines = tuple(_outline(board) for board in document.get("boards", []))
        shared = tuple(str(name) for name in model.get("scale_inputs", []))
        told = document.get("board_count")
        count = None if told is None else BoardCount.from_json(told)
        check_shown(where, document, gold, by_finish)
    except DataFileError as error:
        message = error.message if error.message.startswith(where) else f"{where}: {error.message}"
        raise DataFileError.of(error, message) from error
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _invalid(where, "with parts that cannot be read") from error
    return Measured(photo, sha256, gold, by_finish, notices, outlines, shared, count)


def _outline(board: Mapping[str, Any]) -> Outline:
    gold = sum(float(finish["gold_mg"]["value"]) for finish in board["by_finish"].values())
    area = float(board["area_mm2"]["value"])
    if not (math.isfinite(gold) and 0 < area < math.inf):
        raise ValueError(area, gold)
    return Outline(area, gold, _slenderness(board.get("outline_px", [])))


def _slenderness(outline_px: Sequence[Sequence[float]]) -> float | None:
    if len(outline_px) < 3:
        return None
    points = np.asarray(outline_px, np.float64).reshape(-1, 2)
    if not (np.abs(points) < _LARGEST_PX).all():
        raise ValueError(outline_px)
    _, sides, _ = cv2.minAreaRect(points.astype(np.float32))
    short, long = sorted(float(side) for side in sides)
    return long / short if short > 0 else None


def _model(data: Mapping[str, Any]) -> ProductModel:
    model = ProductModel.from_json(data)
    if not all(math.isfinite(t.coefficient) for t in model.terms):
        raise DataFileError("model-invalid", "The measurement's model holds a number that is not finite.", _FIX)
    return model


def _refuse_if_without_gold(source: str, photo: str, document: Mapping[str, Any]) -> None:
    for key in ("refused", "error"):
        why = document.get(key)
        if isinstance(why, dict):
            raise UsageError(
                "measurement-refused",
                f"{source}: the photo {photo} was not measured: {why.get('message', 'no reason given')}",
                str(why.get("advice") or "Take the photo again, or leave it out."),
                remedy=str(why.get("code") or ""),
            )
    scale = document.get("scale")
    if not isinstance(scale, dict) or scale.get("method") in (None, "none"):
        raise UsageError(
            "measurement-without-scale",
            f"{source}: the photo {photo} has no scale, so its gold is not known.",
            "Measure it again with the printed target, a known length or a known rectangle, or leave it out.",
        )
