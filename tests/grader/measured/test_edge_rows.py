"""What a measurement says of rows at edges, where some of their contacts ran together."""

from __future__ import annotations

import pytest

from grader.measured.parts import EdgeRow, MeasuredBoard, MeasuredRow

CLEAR = MeasuredRow(count=140, pitch_mm=0.85, length_mm=3.5, width_mm=0.64, at_edge=True)
RAN_TOGETHER = MeasuredRow(count=3, pitch_mm=None, length_mm=3.4, width_mm=1.6, at_edge=True)


def test_contacts_that_ran_together_leave_the_clear_row_known() -> None:
    rows = MeasuredBoard(contacts=(CLEAR, RAN_TOGETHER)).edge_rows
    assert rows is not None
    assert [row.length_mm for row in rows] == pytest.approx([140 * 0.85, 3 * 1.6])
    assert [row.depth_mm for row in rows] == [3.5, 3.4]


def test_rows_away_from_edges_are_not_cut_off() -> None:
    assert MeasuredBoard(contacts=(RAN_TOGETHER.model_copy(update={"at_edge": False}),)).edge_rows == ()


def test_without_scale_and_in_older_records_rows_are_not_known() -> None:
    assert MeasuredBoard(contacts=(MeasuredRow(count=3, at_edge=True),)).edge_rows is None
    assert MeasuredBoard().edge_rows is None
    assert MeasuredBoard(contacts=(CLEAR,)).edge_rows == (EdgeRow(140 * 0.85, 3.5),)
