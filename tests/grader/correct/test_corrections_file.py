"""Corrections as they are kept: what is read is what was written, and what is none is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import DataFileError
from grader.correct import Correction, Corrections, parse_corrections
from grader.corrections import MOST_POINTS


@given(st.lists(st.from_type(Correction), max_size=6), st.sampled_from(["", "ab" * 32]))
@settings(deadline=None)
def test_corrections_survive_json(items: list[Correction], sha256: str) -> None:
    given_ = Corrections(tuple(items), sha256)
    text = json.dumps(given_.as_json())
    assert parse_corrections(text.encode()) == given_
    assert parse_corrections(json.dumps({"photo": "a.jpg", "corrections": json.loads(text)}).encode()) == given_


STROKE: dict[str, Any] = {"kind": "paint_out", "path_px": [[1, 2]], "radius_px": 3}


@pytest.mark.parametrize(
    "item",
    [
        {"kind": "erase"},
        {},
        5,
        {"kind": "leave_out"},
        {"kind": "leave_out", "at_px": [1]},
        {"kind": "leave_out", "at_px": [1, float("nan")]},
        {"kind": "leave_out", "at_px": [1, 1e9]},
        {"kind": "finish", "at_px": [1, 2], "finish": "gold"},
        {**STROKE, "path_px": []},
        {**STROKE, "path_px": [[0, 0]] * (MOST_POINTS + 1)},
        {**STROKE, "path_px": 5},
        {**STROKE, "radius_px": 0},
        {**STROKE, "radius_px": -1},
        {**STROKE, "radius_px": float("inf")},
        {**STROKE, "radius_px": "wide"},
        {**STROKE, "kind": "paint_in"},
        {"kind": "leave_out", "at_px": [10**400, 1]},
        {**STROKE, "path_px": [[1, -(10**400)]]},
        {**STROKE, "radius_px": 10**400},
        {"kind": "leave_out", "at_px": [1, 2], "also_px": [[1]]},
        {"kind": "leave_out", "at_px": [1, 2], "also_px": 5},
        {"kind": "fill_out", "corners_px": [[1, 2], [3, 4]]},
        {"kind": "fill_out", "corners_px": [[1, 2], [3, 4], [5, 1e9]]},
        {"kind": "fill_out", "corners_px": [[1, 2], [3, 4], [5, 1]], "px_per_screen_px": 0},
        {"kind": "fill_in", "corners_px": [[1, 2], [3, 4], [5, 1]]},
    ],
)
def test_what_is_no_correction_is_refused(item: object) -> None:
    with pytest.raises(DataFileError) as error:
        Corrections.from_json({"schema": 1, "corrections": [STROKE, item]})
    assert error.value.code == "corrections-invalid"


@pytest.mark.parametrize(
    "text", [b"", b"{", b"[]", b"7", b"\xff\xfe", b'{"schema": 2, "corrections": []}', b"[" * 9999]
)
def test_what_is_no_list_of_corrections_is_refused(text: bytes) -> None:
    with pytest.raises(DataFileError):
        parse_corrections(text)
