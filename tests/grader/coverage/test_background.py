"""Where the boards are: what lies on the table, whatever the table."""

import cv2
import numpy as np
import pytest

from grader.coverage.background import board_mask
from grader.synthetic import GREEN_MASK, TABLE, Rgb, box, paint, polygon_share, union_share

SHAPE = (300, 400)
WHOLE = np.ones(SHAPE)
BOARD = box((190.0, 150.0), 220.0, 130.0, 12.0)
WOOD: Rgb = (0.35, 0.20, 0.09)
BLUE_MASK: Rgb = (0.02, 0.05, 0.25)


def iou(found: np.ndarray, truth: np.ndarray) -> float:
    return float((found & truth).sum() / (found | truth).sum())


def scene(board: Rgb, table: Rgb, noise: float = 3.0) -> np.ndarray:
    return paint([(WHOLE, table), (polygon_share(BOARD, SHAPE), board)], blur_px=0.7, noise=noise)


@pytest.mark.parametrize("board", [GREEN_MASK, BLUE_MASK])
@pytest.mark.parametrize("table", [TABLE, WOOD, (0.8, 0.8, 0.8), (0.02, 0.02, 0.02)])
def test_a_board_on_a_plain_table(board: Rgb, table: Rgb) -> None:
    assert iou(board_mask(scene(board, table)), polygon_share(BOARD, SHAPE) > 0.5) > 0.95


def test_a_board_on_a_table_of_two_colours() -> None:
    stripes = (np.arange(SHAPE[1]) // 20 % 2 == 0) * np.ones(SHAPE)
    board = polygon_share(BOARD, SHAPE)
    rgb = paint([(WHOLE, WOOD), (stripes, (0.5, 0.33, 0.18)), (board, GREEN_MASK)], blur_px=0.7, noise=2.0)
    assert iou(board_mask(rgb), board > 0.5) > 0.93


def test_two_boards_are_two_pieces() -> None:
    boards = [box((110.0, 150.0), 130.0, 180.0), box((290.0, 150.0), 130.0, 180.0)]
    rgb = paint([(WHOLE, TABLE), (union_share(boards, SHAPE), GREEN_MASK)], blur_px=0.7, noise=2.0)
    mask = board_mask(rgb)
    assert cv2.connectedComponents(mask.astype(np.uint8))[0] - 1 == 2
    assert iou(mask, union_share(boards, SHAPE) > 0.5) > 0.96


def test_parts_of_the_tables_colour_inside_a_board_belong_to_it() -> None:
    label = polygon_share(box((190.0, 150.0), 40.0, 30.0), SHAPE)
    rgb = paint([(WHOLE, TABLE), (polygon_share(BOARD, SHAPE), GREEN_MASK), (label, TABLE)], blur_px=0.7)
    assert board_mask(rgb)[150, 190]


def test_the_target_is_no_board() -> None:
    sheet = polygon_share(box((330.0, 70.0), 100.0, 90.0), SHAPE)
    rgb = paint([(WHOLE, TABLE), (polygon_share(BOARD, SHAPE), GREEN_MASK), (sheet, (0.8, 0.8, 0.8))], blur_px=0.7)
    hidden = (sheet > 0).astype(np.uint8)
    mask = board_mask(rgb, hidden)
    assert not mask[hidden > 0].any()
    assert mask[150, 150]


def test_an_empty_table_shows_no_board() -> None:
    assert board_mask(paint([(WHOLE, WOOD)], noise=4.0)).mean() < 0.01


def test_specks_are_no_boards() -> None:
    crumb = polygon_share(box((200.0, 100.0), 14.0, 12.0), SHAPE)
    assert not board_mask(paint([(WHOLE, TABLE), (crumb, GREEN_MASK)], noise=2.0)).any()


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_photo_turns_the_mask(turns: int) -> None:
    rgb = scene(GREEN_MASK, WOOD)
    turned = board_mask(np.ascontiguousarray(np.rot90(rgb, turns)))
    assert iou(np.rot90(turned, -turns), board_mask(rgb)) > 0.98


def test_the_same_photo_gives_the_same_mask() -> None:
    rgb = scene(BLUE_MASK, WOOD)
    assert np.array_equal(board_mask(rgb), board_mask(rgb))


def test_a_photo_larger_than_the_working_size() -> None:
    rgb = cv2.resize(scene(GREEN_MASK, TABLE), None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR)
    mask = board_mask(rgb)
    assert mask.shape == rgb.shape[:2]
    truth = cv2.resize((polygon_share(BOARD, SHAPE) > 0.5).astype(np.uint8), None, fx=4, fy=4) > 0
    assert iou(mask, truth) > 0.96


def test_where_the_border_is_all_hidden_everything_may_be_board() -> None:
    assert board_mask(scene(GREEN_MASK, TABLE), np.ones(SHAPE, np.uint8)).sum() == 0
