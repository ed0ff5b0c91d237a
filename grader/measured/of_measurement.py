"""From a measurement to its record."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finishes import UNDETERMINED
from calibration.notices import Notice
from grader.area import AreaEstimate, region_sums
from grader.gold import GoldEstimate
from grader.measured.figures import figures_of, finishes_of, range_of
from grader.measured.parts import (
    Change,
    MadeCorrections,
    MeasuredBoard,
    MeasuredFinish,
    MeasuredRow,
    MeasuredScale,
    PhotoCheck,
    Ring,
    Unsure,
)
from grader.measured.record import SCHEMA, VISIBLE_ONLY, Measured
from grader.model import FINISHES, Finish, ProductModel, Range
from grader.photo_advice.advise import advise_on
from grader.photo_advice.model import Check
from grader.pipeline import Measurement
from grader.regions import Board
from grader.regions.count import count_boards
from grader.regions.unsure import unsure_places
from grader.version import __version__

_SIMPLE_PX = 1.0


def measured_of(measurement: Measurement) -> Measured:
    """The record of a measurement."""
    photo, scale, area, gold = measurement.photo, measurement.scale, measurement.area, measurement.gold
    checks, plated_px = advise_on(measurement), _plated_px_by_board(measurement)
    warnings = tuple(_warnings(measurement, checks))
    measured = Measured(
        schema=SCHEMA,
        program=f"grader {__version__}",
        photo=photo.name,
        sha256=photo.sha256,
        taken_at=photo.taken_at.isoformat() if photo.taken_at else None,
        width_px=photo.width_px,
        height_px=photo.height_px,
        segmenter=measurement.coverage.segmenter,
        scale=MeasuredScale(method="none", px_per_mm=None, relative_uncertainty=None),
        statement=VISIBLE_ONLY,
        plated_share_of_frame=float(measurement.coverage.share.mean() / 255),
        plated_area_mm2=None,
        by_finish={f: MeasuredFinish(area_mm2=None, gold_mg=None) for f in FINISHES},
        gold_mg=None,
        photo_checks=tuple(PhotoCheck(**check.as_json()) for check in checks),
        boards=tuple(_board(measurement, n, plated_px[n]) for n in range(len(measurement.regions.boards))),
        # by their outlines; boards that touch are told apart with a scale only
        board_count=None if scale is None else count_boards(measurement.regions.boards).rounded(),
        loose_contacts=_rows(measurement, None),
        plating_px=_rings(measurement),
        unsure=tuple(
            Unsure(at_px=place.at_px, box_px=place.box_px, share=place.share)
            for place in unsure_places(measurement.coverage, measurement.regions)
        ),
        budget=(),
        corrections=corrections_of(measurement),
        warnings=warnings,
        model=None,
        **({} if measurement.refused is None else {"refused": warnings[0]}),
    )
    if scale is None or area is None or gold is None:
        return measured
    found = {
        "scale": MeasuredScale(
            method="length" if scale.method in ("rectangle", "coin") else scale.method,
            known=scale.method,
            px_per_mm=_px_per_mm(measurement, plated_px),
            relative_uncertainty=scale.relative_uncertainty(),
            tilt_deg=scale.tilt_deg,
        ),
        **figures_of(area.by_finish, area.total, gold, [i.name for i in scale.area_inputs]),
    }
    return measured.model_copy(update=found)


def corrections_of(measurement: Measurement) -> MadeCorrections | None:
    """The corrections in a record; None if nothing was corrected.

    Besides the list: plated area and gold as found, and their change. Both are drawn together, so that an
    error common to both does not widen the change.
    """
    found = measurement.found
    if found is None:
        return None
    return MadeCorrections(
        schema=1,
        sha256=measurement.corrections.photo_sha256,
        corrections=measurement.corrections.items,
        plated_share_of_frame_found=float(found.coverage.share.mean() / 255),
        plated_area_mm2=_change(found.area, measurement.area),
        gold_mg=_change(found.gold, measurement.gold),
    )


def _change(before: AreaEstimate | GoldEstimate | None, after: AreaEstimate | GoldEstimate | None) -> Change | None:
    if before is None or after is None:
        return None
    before_draws, after_draws = (estimate.total.draws() for estimate in (before, after))
    return Change(found=Range.of(before_draws), change=Range.of(after_draws - before_draws))


def _warnings(measurement: Measurement, checks: Sequence[Check]) -> Iterable[Notice]:
    """Why it was refused, the warnings of the measurement, and those added by the checks of the photo."""
    refused = measurement.refused
    reason = [] if refused is None else [Notice.of(refused)]
    told = [*reason, *measurement.notices]
    codes = {n.code for n in told}
    return (*told, *(n for check in checks for n in check.notices if n.code not in codes))


def _px_per_mm(measurement: Measurement, plated_px: NDArray[np.float64]) -> float:
    """Linear scale at the boards' faces: that of each board's outline, averaged by plating.

    If the plating lies on no outlined board, the scale at the plating; if there is no plating, the scale at the
    middle of the object that gave it.
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


def _board(measurement: Measurement, number: int, plated_px: float) -> MeasuredBoard:
    board, area, scale = measurement.regions.boards[number], measurement.area, measurement.scale
    seen = MeasuredBoard(
        outline_px=tuple((round(float(x), 1), round(float(y), 1)) for x, y in board.outline_px),
        partly_hidden=board.hidden,
        contacts=_rows(measurement, number),
        area_mm2=None,
        by_finish=None,
    )
    if scale is None or area is None:
        return seen.model_copy(update={"plated_share": float(plated_px / board.area)})
    gold = measurement.gold_by_board[number]
    return seen.model_copy(
        update={
            "area_mm2": range_of(ProductModel.of(board.area, scale.area_inputs)),
            "by_finish": finishes_of(area.by_board[number], gold),
            "gold_terms": gold.total.terms,
        }
    )


def _rows(measurement: Measurement, board: int | None) -> tuple[MeasuredRow, ...]:
    """The rows of contacts on a board, or on none."""
    rows = measurement.regions.rows
    return tuple(_row(measurement, number) for number, row in enumerate(rows) if row.board == board)


def _row(measurement: Measurement, number: int) -> MeasuredRow:
    row = measurement.regions.rows[number]
    with_scale = measurement.scale is not None
    reading = next((r for r in measurement.readings if r.row == number), None)
    return MeasuredRow(
        count=row.count if reading is None else reading.count,
        missing=0 if reading is None else reading.missing,
        outline=None if reading is None else reading.family,
        pitch_mm=row.pitch if with_scale else None,
        length_mm=row.contact_length if with_scale else None,
        width_mm=row.contact_width if with_scale else None,
        at_edge=row.at_edge,
        face="seen",
    )


def _rings(measurement: Measurement) -> dict[Finish, tuple[Ring, ...]]:
    """Outlines of what is at least half plated, by finish, in px of the photo; a ring within a ring is a hole.

    They serve pictures and finding a place again; areas come from coverage, never from rings.
    """
    regions = measurement.regions
    finish_of = np.zeros(len(regions.regions) + 1, np.uint8)
    finish_of[0] = FINISHES.index(UNDETERMINED)
    for region in regions.regions:
        finish_of[region.number] = FINISHES.index(region.finish)
    plated = measurement.coverage.share > 127
    kinds = finish_of[regions.labels]
    found: dict[Finish, tuple[Ring, ...]] = {}
    for number, finish in enumerate(FINISHES):
        mask = (plated & (kinds == number)).astype(np.uint8)
        rings = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]
        simple = (cv2.approxPolyDP(ring, _SIMPLE_PX, closed=True).reshape(-1, 2) for ring in rings)
        found[finish] = tuple(tuple((x, y) for x, y in ring.tolist()) for ring in simple if len(ring) >= 3)
    return found
