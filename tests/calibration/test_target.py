"""The description of a target: what is read, what is refused."""

import json
from typing import Any

import numpy as np
import pytest

from calibration.errors import DataFileError, UsageError
from calibration.target import TargetDescription, own_target, parse_target

GOOD: dict[str, Any] = {
    "dictionary": "DICT_5X5_100",
    "squares_x": 7,
    "squares_y": 5,
    "square_mm": 12.0,
    "marker_mm": 9.0,
    "legacy_pattern": False,
    "grey_patches": [{"reflectance": 0.18, "x0_mm": 1, "y0_mm": 2, "x1_mm": 11, "y1_mm": 12}],
    "charuco_origin_in_sheet_mm": [6.0, 6.0],
    "sheet_mm": [100.0, 90.0],
}


def test_reads_what_the_contract_says() -> None:
    target = parse_target(json.dumps(GOOD))
    assert (target.dictionary, target.squares_x, target.squares_y) == ("DICT_5X5_100", 7, 5)
    assert (target.square_mm, target.marker_mm, target.legacy_pattern) == (12.0, 9.0, False)
    assert target.origin_mm == (6.0, 6.0)
    assert target.sheet_mm == (100.0, 90.0)
    assert target.grey_patches[0].reflectance == 0.18
    assert target.corner_count == 24
    assert not target.is_own
    np.testing.assert_allclose(target.corners_mm(np.array([0, 5, 6])), [[18, 18], [78, 18], [18, 30]])


@pytest.mark.parametrize("key", ["legacy_pattern", "grey_patches", "charuco_origin_in_sheet_mm", "sheet_mm"])
def test_optional_fields_may_be_left_out(key: str) -> None:
    target = parse_target(json.dumps({k: v for k, v in GOOD.items() if k != key}))
    assert (target.dictionary, target.squares_x, target.squares_y) == (
        GOOD["dictionary"],
        GOOD["squares_x"],
        GOOD["squares_y"],
    )
    assert (target.square_mm, target.marker_mm) == (GOOD["square_mm"], GOOD["marker_mm"])


def test_outline_without_sheet_size_holds_all_that_is_printed() -> None:
    target = parse_target(json.dumps({k: v for k, v in GOOD.items() if k != "sheet_mm"}))
    np.testing.assert_allclose(target.outline_mm(), [[1, 2], [90, 2], [90, 66], [1, 66]])


@pytest.mark.parametrize("key", ["dictionary", "squares_x", "squares_y", "square_mm", "marker_mm"])
def test_a_missing_field_is_named(key: str) -> None:
    with pytest.raises(DataFileError, match=key):
        parse_target(json.dumps({k: v for k, v in GOOD.items() if k != key}))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("dictionary", "DICT_NONE"),
        ("dictionary", "DetectorParameters"),
        ("dictionary", 5),
        ("squares_x", 1),
        ("squares_x", -7),
        ("squares_x", 7.5),
        ("squares_x", "7"),
        ("squares_x", True),
        ("squares_y", 10**6),
        ("squares_x", 10**400),
        ("square_mm", 0),
        ("square_mm", -12.0),
        ("square_mm", float("nan")),
        ("square_mm", float("inf")),
        ("marker_mm", 12.0),
        ("marker_mm", 13.0),
        ("marker_mm", 0),
        ("marker_mm", None),
        ("legacy_pattern", "no"),
        ("charuco_origin_in_sheet_mm", [1.0]),
        ("charuco_origin_in_sheet_mm", ["a", "b"]),
        ("sheet_mm", [0, 10]),
        ("sheet_mm", "A4"),
        ("grey_patches", {"reflectance": 1}),
        ("grey_patches", [3]),
        ("grey_patches", [{"reflectance": 1.5, "x0_mm": 0, "y0_mm": 0, "x1_mm": 1, "y1_mm": 1}]),
        ("grey_patches", [{"reflectance": 0.5, "x0_mm": 2, "y0_mm": 0, "x1_mm": 1, "y1_mm": 1}]),
        ("grey_patches", [{"reflectance": 0.5, "x0_mm": 2, "y0_mm": 0, "x1_mm": 3}]),
    ],
)
def test_a_wrong_field_is_refused(key: str, value: object) -> None:
    with pytest.raises(DataFileError):
        parse_target(json.dumps({**GOOD, key: value}))


@pytest.mark.parametrize("text", ["", "{", "[]", "3", "null", b"\xff\xfe\x00", "[" * 100_000])
def test_what_is_no_json_object_is_refused(text: str | bytes) -> None:
    with pytest.raises(DataFileError):
        parse_target(text)


def test_a_board_with_more_markers_than_the_dictionary_is_refused() -> None:
    with pytest.raises(DataFileError, match="markers"):
        TargetDescription("DICT_4X4_50", 20, 20, 10.0, 7.0)


def test_same_geometry_same_name_other_geometry_other_name() -> None:
    first, second = parse_target(json.dumps(GOOD)), parse_target(json.dumps(GOOD))
    assert first.name == second.name
    assert parse_target(json.dumps({**GOOD, "square_mm": 12.1})).name != first.name


def test_our_papers_have_no_marker_in_common() -> None:
    ranges = [set(range(t.first_id, t.first_id + t.marker_count)) for t in (own_target("a4"), own_target("letter"))]
    assert not ranges[0] & ranges[1]
    assert own_target("a4").is_own


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(UsageError):
        own_target("a5")  # type: ignore[arg-type]
