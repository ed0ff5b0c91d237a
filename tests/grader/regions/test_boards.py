"""Outlines of boards, their areas, and how far places are from their edges."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.regions.boards import board_under, edge_distance, find_boards, in_reading_order, polygon_area
from grader.regions.model import Board
from tests.drawn_boards import box, polygon_share, union_share

SHAPE = (300, 400)


def scale(px_per_mm: float) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, ())


@given(st.floats(1, 500), st.floats(1, 500), st.floats(0, 360), st.floats(-100, 100))
@settings(max_examples=40, deadline=None)
def test_area_of_a_turned_rectangle(along: float, across: float, angle: float, shift: float) -> None:
    corners = box((shift, -shift), along, across, angle)
    assert polygon_area(corners) == pytest.approx(along * across, rel=1e-9)
    assert polygon_area(corners[::-1]) == pytest.approx(along * across, rel=1e-9)


def test_area_of_an_l_shape() -> None:
    corners = np.array([[0, 0], [4, 0], [4, 1], [1, 1], [1, 3], [0, 3]], np.float64)
    assert polygon_area(corners) == pytest.approx(4 + 2)


@pytest.mark.parametrize("angle", [0.0, 12.0, 45.0])
def test_a_boards_outline_and_area(angle: float) -> None:
    mask = polygon_share(box((200.0, 150.0), 240.0, 120.0, angle), SHAPE) > 0.5
    [board] = find_boards(mask, scale(4.0))
    assert board.area == pytest.approx(60 * 30, rel=0.015)
    [without] = find_boards(mask, None)
    assert without.area == pytest.approx(240 * 120, rel=0.015)
    assert np.all(np.abs(board.outline_px.mean(axis=0) - [200, 150]) < 4)


def test_crumbs_are_left_out() -> None:
    boards = [box((90.0, 150.0), 100.0, 100.0), box((280.0, 150.0), 160.0, 140.0), box((180.0, 30.0), 20.0, 20.0)]
    mask = union_share(boards, SHAPE) > 0.5
    assert len(find_boards(mask, scale(4.0))) == 2
    assert len(find_boards(mask, scale(1.0))) == 3


def test_boards_are_numbered_from_left_to_right_whatever_their_size() -> None:
    """A staggered row, as boards laid down by hand are."""
    boards = [box((50.0, 150.0), 40.0, 160.0), box((130.0, 120.0), 60.0, 190.0), box((230.0, 170.0), 90.0, 120.0)]
    found = find_boards(union_share(boards, SHAPE) > 0.5, scale(4.0))
    assert [round(float(b.outline_px[:, 0].mean()) / 10) for b in found] == [5, 13, 23]


def test_rows_of_boards_are_numbered_from_the_top() -> None:
    places = [(60.0, 60.0), (190.0, 70.0), (320.0, 55.0), (70.0, 220.0), (200.0, 230.0), (310.0, 215.0)]
    found = find_boards(union_share([box(at, 90.0, 80.0) for at in places], SHAPE) > 0.5, scale(4.0))
    middles = [(b.outline_px.min(axis=0) + b.outline_px.max(axis=0)) / 2 for b in found]
    assert [min(range(6), key=lambda n: float(np.hypot(*(at - places[n])))) for at in middles] == [0, 1, 2, 3, 4, 5]


@given(st.permutations(range(5)))
def test_the_order_does_not_hang_on_how_boards_were_found(order: list[int]) -> None:
    places = [(40.0, 60.0), (120.0, 80.0), (220.0, 50.0), (60.0, 220.0), (180.0, 240.0)]
    boards = [Board(box(at, 60.0, 70.0), 100.0 * n) for n, at in enumerate(places)]
    assert list(in_reading_order([boards[n] for n in order])) == boards


def test_nothing_there_gives_no_board() -> None:
    assert find_boards(np.zeros(SHAPE, bool), None) == ()
    speck = np.zeros(SHAPE, bool)
    speck[10, 10] = True
    assert find_boards(speck, scale(0.01)) == ()


def test_the_smallest_board_holds_a_place() -> None:
    large = Board(box((100.0, 100.0), 180.0, 180.0), 180.0**2)
    small = Board(box((60.0, 60.0), 40.0, 40.0), 1600.0)
    assert board_under(np.array([60.0, 60.0]), (large, small)) == 1
    assert board_under(np.array([150.0, 150.0]), (large, small)) == 0
    assert board_under(np.array([250.0, 10.0]), (large, small)) is None
    assert board_under(np.array([60.0, 60.0]), ()) is None


def test_distance_from_the_edge_in_pixels() -> None:
    mask = polygon_share(box((199.5, 149.5), 240.0, 120.0), SHAPE) > 0.5
    distance = edge_distance(mask, np.array([[199.0, 150.0], [199.0, 95.0], [10.0, 10.0]]))
    assert distance is not None
    assert distance == pytest.approx([60, 6, 0], abs=1)
    assert distance[2] == 0


@pytest.mark.parametrize("odd", [(0, 0), (1, 0), (0, 1), (1, 1)])
def test_distances_in_a_large_photo_are_those_from_all_four_edges(odd: tuple[int, int]) -> None:
    mask = np.zeros((3000, 4000), bool)
    top, bottom, left, right = 301, 2700 + odd[0], 401, 3600 + odd[1]
    mask[top:bottom, left:right] = True
    places = np.array([[2000, top + 40], [2000, bottom - 40], [left + 40, 1500], [right - 40, 1500]], np.float64)
    distance = edge_distance(mask, places)
    assert distance == pytest.approx([40] * 4, abs=4)


def test_the_frames_border_is_no_edge_of_a_board() -> None:
    mask = np.zeros(SHAPE, bool)
    mask[:, :200] = True
    distance = edge_distance(mask, np.array([[100.0, 0.0]]))
    assert distance == pytest.approx([100], abs=1)


def test_without_outlines_there_is_no_distance() -> None:
    assert edge_distance(np.ones(SHAPE, bool), np.ones((1, 2))) is None
    assert edge_distance(np.zeros(SHAPE, bool), np.ones((1, 2))) is None


def test_print_on_the_target_is_no_board_but_a_plated_board_on_it_is() -> None:
    mask = polygon_share(box((200.0, 150.0), 120.0, 60.0, 0.0), SHAPE) > 0.5
    sheet = np.array([[100, 80], [300, 80], [300, 220], [100, 220]], np.float64)
    on_sheet = replace(scale(4.0), target_px=(sheet,))
    assert len(find_boards(mask, scale(4.0))) == 1
    assert find_boards(mask, on_sheet) == ()
    plated = np.zeros(SHAPE, bool)
    plated[150, 200] = True
    assert len(find_boards(mask, on_sheet, plated)) == 1


def test_a_printed_line_is_no_board() -> None:
    line = polygon_share(box((200.0, 150.0), 240.0, 12.0, 0.0), SHAPE) > 0.5
    assert find_boards(line, scale(4.0)) == ()
    assert len(find_boards(line, scale(1.0))) == 1
