"""Records of photos that were never taken: gold, outlines and the number of boards as a test wants them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from grader.board_count import BoardCount
from grader.measured import EdgeRow, Measured, MeasuredBoard, MeasuredFinish, MeasuredModel, MeasuredRow
from grader.model import Finish, ProductModel, Range
from grader.pipeline import Measurement


def exactly(value: float) -> Range:
    return Range(value, value, value)


def outlined(
    area_mm2: float, gold_mg: float, slenderness: float | None = None, rows: Sequence[EdgeRow] | None = None
) -> MeasuredBoard:
    """An outline of some size and shape, or of none that is known, with rows at its edges if that is known."""
    long = 100 * (slenderness or 0.0)
    corners = () if slenderness is None else ((0.0, 0.0), (long, 0.0), (long, 100.0), (0.0, 100.0))
    on_it: dict[Finish, MeasuredFinish] = {"undetermined": MeasuredFinish(gold_mg=exactly(gold_mg))}
    board = MeasuredBoard(outline_px=corners, area_mm2=exactly(area_mm2), by_finish=on_it)
    if rows is None:
        return board
    contacts = tuple(
        MeasuredRow(count=10, pitch_mm=r.length_mm / 10, length_mm=r.depth_mm, at_edge=True) for r in rows
    )
    return MeasuredBoard(outline_px=corners, area_mm2=exactly(area_mm2), by_finish=on_it, contacts=contacts)


def photo_with(
    name: str,
    gold_mg: ProductModel,
    area_mm2: Mapping[Finish, ProductModel] | None = None,
    *,
    sha256: str = "",
    boards: tuple[MeasuredBoard, ...] = (),
    scale_inputs: tuple[str, ...] = (),
    board_count: BoardCount | None = None,
) -> Measured:
    """A photo in which this gold was measured."""
    model = MeasuredModel(gold_mg=gold_mg, area_mm2=area_mm2 or {}, scale_inputs=scale_inputs)
    return Measured(photo=name, sha256=sha256 or name * 4, model=model, boards=boards, board_count=board_count)


def document_of(done: Measurement) -> dict[str, Any]:
    """The JSON object that a measurement is written as."""
    return Measured.of(done).to_dict()
