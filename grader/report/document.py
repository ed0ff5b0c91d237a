"""A measurement as a JSON document: the contract that scripts, the log and the valuation read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.notices import Notice
from grader import __version__
from grader.area import region_sums
from grader.budget import budget
from grader.correct.record import corrections_record
from grader.gold import GoldEstimate
from grader.model import FINISHES, Finish, ProductModel, Range
from grader.photo_advice import Check, advise_on
from grader.pipeline import Measurement
from grader.regions import Board
from grader.regions.count import count_boards
from grader.report.plating import plating_rings

SCHEMA = 1
VISIBLE_ONLY = "Visible plating only: gold inside packages, and on faces that the photo does not show, is not in it."
_NOTHING = Range(0.0, 0.0, 0.0)


def measurement_document(measurement: Measurement) -> dict[str, Any]:
    """The document of one photo.

    Beside the contract's keys it holds ``sha256``, ``statement`` and ``model`` (area and gold as models whose inputs
    stay shared, so that later stages draw the very same numbers).
    """
    photo, scale = measurement.photo, measurement.scale
    checks, plated_px = advise_on(measurement), _plated_px_by_board(measurement)
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "program": f"grader {__version__}",
        "photo": photo.name,
        "sha256": photo.sha256,
        "taken_at": photo.taken_at.isoformat() if photo.taken_at else None,
        "width_px": photo.width_px,
        "height_px": photo.height_px,
        "segmenter": measurement.coverage.segmenter,
        "scale": {"method": "none", "px_per_mm": None, "relative_uncertainty": None},
        "statement": VISIBLE_ONLY,
        "plated_share_of_frame": float(measurement.coverage.share.mean() / 255),
        "plated_area_mm2": None,
        "by_finish": {f: {"area_mm2": None, "gold_mg": None} for f in FINISHES},
        "gold_mg": None,
        "photo_checks": [check.as_json() for check in checks],
        "boards": _boards(measurement, plated_px),
        # by their outlines; boards that touch are told apart with a scale only
        "board_count": None if scale is None else count_boards(measurement.regions.boards).as_json(),
        "loose_contacts": [
            _contacts(measurement, number) for number, row in enumerate(measurement.regions.rows) if row.board is None
        ],
        "plating_px": plating_rings(measurement),
        "budget": [],
        "corrections": corrections_record(measurement),
        "warnings": _warnings(measurement, checks),
        "model": None,
    }
    if measurement.refused is not None:
        document["refused"] = document["warnings"][0]
    if scale is not None and measurement.area is not None and measurement.gold is not None:
        area, gold = measurement.area, measurement.gold
        document["scale"] = {
            "method": "length" if scale.method in ("rectangle", "coin") else scale.method,
            "known": scale.method,
            "px_per_mm": _px_per_mm(measurement, plated_px),
            "relative_uncertainty": scale.relative_uncertainty(),
            "tilt_deg": scale.tilt_deg,
        }
        document["plated_area_mm2"] = _range(area.total)
        document["by_finish"] = _by_finish(area.by_finish, gold)
        document["gold_mg"] = _range(gold.total)
        document["budget"] = [line.as_json() for line in budget(gold.total)]
        document["model"] = {
            "area_mm2": {f: model.as_json() for f, model in area.by_finish.items()},
            "gold_mg": gold.total.as_json(),
            # the factors that outlines of boards share with the gold: they cancel in gold per board area
            "scale_inputs": [i.name for i in scale.area_inputs],
        }
    return document


def _warnings(measurement: Measurement, checks: tuple[Check, ...]) -> list[dict[str, str]]:
    """Why it was refused, what the measurement warned of, and what the checks of the photo add to that."""
    refused = measurement.refused
    reason = [] if refused is None else [Notice.of(refused)]
    told = [*reason, *measurement.notices]
    codes = {n.code for n in told}
    return [n.as_json() for n in (*told, *(n for check in checks for n in check.notices if n.code not in codes))]


def _px_per_mm(measurement: Measurement, plated_px: NDArray[np.float64]) -> float:
    """Linear scale of the boards' faces: of each board over its outline, their mean weighted by plating.

    If none of the plating lies on an outlined board, the scale where it lies; if there is no plating, that at the
    middle of what gave it.
    """
    scale = measurement.scale
    assert scale is not None  # noqa: S101 - callers hold a scale
    if plated_px.any():
        each = np.array([_board_px_per_mm(board) for board in measurement.regions.boards])
        return float(np.average(each, weights=plated_px / each**2))
    ys, xs = np.nonzero(measurement.coverage.share > 127)
    if not len(ys):
        return scale.px_per_mm
    some = np.linspace(0, len(ys) - 1, min(2000, len(ys))).astype(int)
    return scale.px_per_mm_at(np.column_stack([xs[some], ys[some]]).astype(np.float64))


def _plated_px_by_board(measurement: Measurement) -> NDArray[np.float64]:
    """Sum of the plated shares on each board, px²."""
    regions = measurement.regions
    plated_px = region_sums(measurement.coverage.share, regions.labels, None)
    by_board = np.zeros(len(regions.boards))
    for region in regions.regions:
        if region.board is not None:
            by_board[region.board] += plated_px[region.number]
    return by_board


def _board_px_per_mm(board: Board) -> float:
    """Square root of a board's area in px² over the same in mm²."""
    outlines = (board.outline_px, *board.more_px)
    area_px = sum(cv2.contourArea(outline.astype(np.float32)) for outline in outlines)
    return math.sqrt(area_px / board.area)


def _range(model: ProductModel) -> dict[str, float]:
    return (Range.of(model.draws()) if model.terms else _NOTHING).as_json()


def _by_finish(areas: Mapping[Finish, ProductModel], gold: GoldEstimate) -> dict[str, Any]:
    return {
        f: {
            "area_mm2": _range(areas[f]) if f in areas else _NOTHING.as_json(),
            "gold_mg": _range(gold.by_finish[f]) if f in gold.by_finish else _NOTHING.as_json(),
        }
        for f in FINISHES
    }


def _boards(measurement: Measurement, plated_px: NDArray[np.float64]) -> list[dict[str, Any]]:
    regions, area, scale = measurement.regions, measurement.area, measurement.scale
    out: list[dict[str, Any]] = []
    for number, board in enumerate(regions.boards):
        rows = [i for i, row in enumerate(regions.rows) if row.board == number]
        entry: dict[str, Any] = {
            "outline_px": [[round(float(x), 1), round(float(y), 1)] for x, y in board.outline_px],
            "partly_hidden": board.hidden,
            "contacts": [_contacts(measurement, i) for i in rows],
        }
        if scale is None or area is None:
            entry |= {"area_mm2": None, "by_finish": None, "plated_share": float(plated_px[number] / board.area)}
        else:
            models = area.by_board[number]
            outline = ProductModel.of(board.area, scale.area_inputs)
            gold = measurement.gold_by_board[number]
            entry |= {
                "area_mm2": _range(outline),
                "by_finish": _by_finish(models, gold),
                # of inputs that the photo's model holds
                "gold_terms": gold.total.as_json()["terms"],
            }
        out.append(entry)
    return out


def _contacts(measurement: Measurement, number: int) -> dict[str, Any]:
    row = measurement.regions.rows[number]
    with_scale = measurement.scale is not None
    reading = next((r for r in measurement.readings if r.row == number), None)
    return {
        "count": row.count if reading is None else reading.count,
        "missing": 0 if reading is None else reading.missing,
        "outline": None if reading is None else reading.family,
        "pitch_mm": row.pitch if with_scale else None,
        "length_mm": row.contact_length if with_scale else None,
        "width_mm": row.contact_width if with_scale else None,
        "at_edge": row.at_edge,
        "face": "seen",
    }
