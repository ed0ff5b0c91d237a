"""Boards that touch or lie on each other, drawn: how many, where, which lies on top, and what is no board."""

import cv2
import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.regions import Board
from grader.regions.boards import board_under, find_boards
from tests.drawn_boards import box

K = 6.0  # px per mm
SCALE = Scale("length", UniformPlane(K), K, ())
SHAPE = (780, 1080)
TABLE, CHIP, LABEL = (150, 148, 146), (35, 35, 38), (230, 228, 222)
GREEN, RED, BLUE = (30, 92, 52), (120, 30, 34), (28, 50, 110)
Drawn = tuple[np.ndarray, tuple[int, int, int]]


def scene(boards: list[Drawn], extra: list[Drawn] = [], seam: bool = True) -> tuple[np.ndarray, np.ndarray]:  # noqa: B006
    """Photo and mask; the boards, in mm, each over the ones before it, with the bare edge that laminate shows."""
    rgb = np.full((*SHAPE, 3), TABLE, np.uint8)
    mask = np.zeros(SHAPE, np.uint8)
    for corners, colour in [*boards, *extra]:
        points = np.round((corners * K) * 16).astype(np.int32)
        cv2.fillPoly(rgb, [points], colour, cv2.LINE_AA, 4)
        if seam and colour not in (CHIP, LABEL):
            cv2.polylines(rgb, [points], True, (120, 112, 80), 2, cv2.LINE_AA, 4)
        cv2.fillPoly(mask, [points], 1, cv2.LINE_8, 4)
    noise = np.random.default_rng(1).normal(0, 3, rgb.shape)
    rgb = np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)
    return rgb, mask > 0


def found(boards: list[Drawn], extra: list[Drawn] = [], seam: bool = True) -> tuple[Board, ...]:  # noqa: B006
    rgb, mask = scene(boards, extra, seam)
    return find_boards(mask, SCALE, mask, rgb)


def iou(board: Board, corners: np.ndarray) -> float:
    drawn = []
    for points in (board.outline_px, corners * K):
        one = np.zeros(SHAPE, np.uint8)
        cv2.fillPoly(one, [np.round(points).astype(np.int32)], 1)
        drawn.append(one > 0)
    return float((drawn[0] & drawn[1]).sum() / (drawn[0] | drawn[1]).sum())


@pytest.mark.parametrize("colours", [(GREEN, GREEN, GREEN), (GREEN, RED, BLUE)])
@pytest.mark.parametrize("angle", [0.0, 20.0])
def test_boards_laid_side_by_side_without_a_gap(colours: tuple[tuple[int, int, int], ...], angle: float) -> None:
    a = np.radians(angle)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    places = [(box((90.0, y), 110.0, 26.0) - [90, 65]) @ turn + [90, 65] for y in (39.0, 65.0, 91.0)]
    boards = found(list(zip(places, colours, strict=True)))
    assert len(boards) == 3
    assert not any(b.hidden for b in boards)
    for place in places:
        best = max(boards, key=lambda b: iou(b, place))
        assert iou(best, place) > 0.93
        assert best.area == pytest.approx(110 * 26, rel=0.06)


def test_boards_of_two_colours_need_no_seam() -> None:
    places = [box((60.0, 60.0), 60.0, 80.0), box((110.0, 60.0), 40.0, 80.0)]
    boards = found([(places[0], GREEN), (places[1], BLUE)], seam=False)
    assert [b.area for b in boards] == pytest.approx([4800, 3200], rel=0.04)


@pytest.mark.parametrize("angle", [40.0, 55.0, 90.0])
def test_of_two_boards_across_each_other_the_lower_one_is_partly_hidden(angle: float) -> None:
    lower, upper = box((90.0, 65.0), 130.0, 40.0), box((90.0, 65.0), 110.0, 22.0, angle)
    boards = found([(lower, GREEN), (upper, RED)])
    top = max(boards, key=lambda b: iou(b, upper))
    assert iou(top, upper) > 0.9
    assert not top.hidden
    below = [b for b in boards if b.hidden]
    assert len(below) == 1
    assert below[0].area == pytest.approx(130 * 40 - 22 * 40 / np.sin(np.radians(angle)), rel=0.06)


def test_each_place_belongs_to_the_board_that_is_seen_there() -> None:
    lower, upper = box((90.0, 65.0), 130.0, 40.0), box((90.0, 65.0), 110.0, 22.0, 90.0)
    boards = found([(lower, GREEN), (upper, RED)])
    top = boards.index(max(boards, key=lambda b: iou(b, upper)))
    for place in ((90.0, 20.0), (90.0, 65.0), (90.0, 110.0)):
        assert board_under(np.array(place) * K, boards) == top
    assert board_under(np.array([40.0, 65.0]) * K, boards) not in (None, top)


def test_chips_labels_and_the_tab_of_contacts_are_no_boards() -> None:
    card, tab = box((90.0, 55.0), 150.0, 70.0), box((80.0, 94.0), 60.0, 9.0)
    things = [
        (box((50.0, 45.0), 25.0, 25.0), CHIP),
        (box((110.0, 40.0), 45.0, 15.0), LABEL),
        (box((120.0, 70.0), 14.0, 14.0), CHIP),
    ]
    rgb, mask = scene([(card, GREEN), (tab, GREEN)], things, seam=False)
    (board,) = find_boards(mask, SCALE, None, rgb)
    assert board.area == pytest.approx(150 * 70 + 60 * 8.5, rel=0.02)
    assert not board.hidden


@pytest.mark.parametrize("share", [0.4, 0.62])
@pytest.mark.parametrize("angle", [0.0, 20.0, 90.0])
def test_a_line_all_across_one_board_does_not_part_it(share: float, angle: float) -> None:
    card, upper = box((0.0, 0.0), 110.0, 70.0), box((0.0, 35.0 * (share - 1)), 110.0, 70.0 * share)
    a = np.radians(angle)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    (board,) = found([(places @ turn + [90, 65], GREEN) for places in (card, upper)])
    assert board.area == pytest.approx(110 * 70, rel=0.02)


def test_an_outline_alone_parts_boards_that_meet_at_an_angle() -> None:
    one, other = box((80.0, 40.0), 120.0, 25.0), box((86.0, 70.0), 120.0, 25.0, 5.0)
    _, mask = scene([(one, GREEN), (other, GREEN)])
    boards = find_boards(mask, SCALE)
    assert len(boards) == 2
    assert min(max(iou(b, place) for b in boards) for place in (one, other)) > 0.9


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_photo_turns_the_boards(turns: int) -> None:
    lower, upper = box((90.0, 65.0), 130.0, 40.0), box((90.0, 65.0), 110.0, 22.0, 55.0)
    rgb, mask = scene([(lower, GREEN), (upper, RED)])
    upright = find_boards(mask, SCALE, None, rgb)
    turned = find_boards(np.rot90(mask, turns).copy(), SCALE, None, np.rot90(rgb, turns).copy())
    upright, turned = (sorted(boards, key=lambda b: b.area) for boards in (upright, turned))
    assert [b.hidden for b in turned] == [b.hidden for b in upright]
    for a, b in zip(turned, upright, strict=True):
        assert a.area == pytest.approx(b.area, rel=0.04)


def test_without_scale_what_touches_is_one() -> None:
    places = [box((60.0, 60.0), 60.0, 80.0), box((110.0, 60.0), 40.0, 80.0)]
    rgb, mask = scene([(places[0], GREEN), (places[1], BLUE)])
    assert len(find_boards(mask, None, None, rgb)) == 1
