"""Sides of boards lie where the photo shows them; labels at their edges are part of them."""

import itertools
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.regions.boards import find_boards, polygon_area
from grader.regions.straight import straightened
from tests.drawn_boards import box

K = 6.0  # px per mm
SHAPE = (600, 840)
FINE = 8  # parts of a pixel's side
TABLE, LABEL = (150, 148, 146), (230, 228, 222)
GREEN = (30, 92, 52)
Colour = tuple[int, int, int]


def scale(px_per_mm: float = K) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, ())


def share(corners: np.ndarray) -> np.ndarray:
    """Share of each pixel inside an outline in mm, float32; OpenCV's own smooth fill spreads it by half a pixel."""
    fine = np.zeros((SHAPE[0] * FINE, SHAPE[1] * FINE), np.uint8)
    cv2.fillPoly(fine, [np.round(((corners * K + 0.5) * FINE - 0.5) * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return cv2.resize(fine.astype(np.float32), SHAPE[::-1], interpolation=cv2.INTER_AREA)


def photo(*things: tuple[np.ndarray, Colour]) -> np.ndarray:
    """Outlines in mm, each painted over the ones before it."""
    rgb = np.full((*SHAPE, 3), TABLE, np.float32)
    for corners, colour in things:
        inside = share(corners)[..., None]
        rgb = rgb * (1 - inside) + np.array(colour) * inside
    noise = np.random.default_rng(1).normal(0, 3, rgb.shape)
    return np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)


def filled(*outlines: np.ndarray) -> np.ndarray:
    return np.any([share(corners) > 0.5 for corners in outlines], axis=0)


def ragged(mask: np.ndarray, seed: int = 0) -> np.ndarray:
    """A mask whose outline wavers by some tenths of a millimetre, as one from a coarse map does."""
    waver = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, SHAPE), (0, 0), 0.7 * K)
    inward = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    outward = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(inward - outward + waver / waver.std() * 0.3 * K > 0)


def worst_mm(outline_px: np.ndarray, corners: np.ndarray) -> float:
    """Largest distance of an outline's places from the true one."""
    true = (corners * K).astype(np.float32).reshape(-1, 1, 2)
    closed = np.concatenate([outline_px, outline_px[:1]])
    places = np.concatenate([np.linspace(a, b, 40) for a, b in itertools.pairwise(closed)])
    return max(abs(cv2.pointPolygonTest(true, (float(x), float(y)), measureDist=True)) for x, y in places) / K


@given(st.floats(0, 180), st.floats(40, 70), st.floats(15, 40), st.integers(0, 1000))
@settings(max_examples=15, deadline=None)
def test_a_ragged_outline_is_laid_on_the_boards_sides(angle: float, along: float, across: float, seed: int) -> None:
    corners = box((70.0, 50.0), along, across, angle)
    wavering = ragged(filled(corners), seed)
    (board,) = find_boards(wavering, scale(), None, photo((corners, GREEN)))
    assert abs(board.area - along * across) < 0.1 * 2 * (along + across)  # 0.1 mm all round
    outlines, _ = cv2.findContours(wavering.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    coarse = max(outlines, key=len)[:, 0]
    assert worst_mm(board.outline_px, corners) < worst_mm(coarse, corners) + 1 / K  # a pixel
    assert polygon_area(board.outline_px) / K**2 == pytest.approx(board.area, rel=0.01)


def card() -> np.ndarray:
    """A card with a tab of contacts and a notch in it."""
    x = [0, 90, 90, 70, 70, 50, 50, 47, 47, 20, 20, 0]
    y = [0, 0, 45, 45, 53, 53, 46, 46, 53, 53, 45, 45]
    return np.column_stack([x, y]) + np.array([22.0, 20.0])


def test_a_tab_and_a_notch_stay() -> None:
    corners = card()
    (board,) = find_boards(ragged(filled(corners)), scale(), None, photo((corners, GREEN)))
    assert board.area == pytest.approx(polygon_area(corners), rel=0.01)
    outline = board.outline_px.astype(np.float32).reshape(-1, 1, 2)
    for place, inside in (((60.0, 71.0), True), ((52.0, 71.0), True), ((70.5, 71.5), False), ((100.0, 71.0), False)):
        at = np.array(place) * K
        assert (cv2.pointPolygonTest(outline, (float(at[0]), float(at[1])), measureDist=False) > 0) == inside, place


@pytest.mark.parametrize(
    "change", [lambda a: np.rot90(a), lambda a: a[::-1, ::-1], lambda a: a[:, ::-1], lambda a: a[::-1]]
)
def test_turned_and_mirrored_photos_keep_the_area(change: Any) -> None:
    corners = card()
    mask, rgb = ragged(filled(corners)), photo((corners, GREEN))
    (usual,) = find_boards(mask, scale(), None, rgb)
    (other,) = find_boards(change(mask), scale(), None, np.ascontiguousarray(change(rgb)))
    assert other.area == pytest.approx(usual.area, rel=0.005)


@pytest.mark.parametrize("factor", [0.5, 0.75, 1.5])
def test_photos_of_other_sizes_keep_the_area(factor: float) -> None:
    corners = card()
    mask, rgb = ragged(filled(corners)), photo((corners, GREEN))
    (usual,) = find_boards(mask, scale(), None, rgb)
    size = (round(SHAPE[1] * factor), round(SHAPE[0] * factor))
    resized = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)
    smaller = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    (other,) = find_boards(smaller, scale(K * factor), None, resized)
    assert other.area == pytest.approx(usual.area, rel=0.012)


@pytest.mark.parametrize("radius", [12.0, 20.0, 30.0, 45.0])
def test_a_round_board_stays_round(radius: float) -> None:
    turn = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    circle = np.array([70.0, 50.0]) + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    (board,) = find_boards(filled(circle), scale(), None, photo((circle, GREEN)))
    assert board.area == pytest.approx(np.pi * radius**2, rel=0.02)
    assert worst_mm(board.outline_px, circle) < 0.7


def test_a_board_that_goes_on_beyond_the_photo_still_reaches_its_border() -> None:
    corners = box((70.0, 20.0), 80.0, 60.0)
    (board,) = find_boards(ragged(filled(corners)), scale(), None, photo((corners, GREEN)))
    assert board.outline_px[:, 1].min() < 1  # as grader.cut.outlines tells such boards
    assert board.area == pytest.approx(80 * 50, rel=0.015)


def test_where_the_photo_shows_no_edge_sides_stay_where_they_are() -> None:
    corners = box((60, 45), 70, 40)
    found = straightened(corners, UniformPlane(K), np.full((*SHAPE, 3), 90, np.uint8))
    assert polygon_area(found) == pytest.approx(polygon_area(corners), rel=1e-3)


def test_without_a_long_side_the_outline_is_as_it_was() -> None:
    small = box((20.0, 20.0), 7.0, 7.0, 10.0)
    assert straightened(small, UniformPlane(K), photo((small, GREEN))) is small


def test_a_label_at_a_boards_edge_is_part_of_the_board_and_a_notch_is_not() -> None:
    corners, label = box((70.0, 50.0), 90.0, 30.0), box((60.0, 50.0), 30.0, 14.0)
    thin, notch = box((60.0, 37.0), 1.5, 16.0), box((90.0, 36.5), 2.5, 6.0)
    mask = filled(corners) & ~filled(label, thin) & ~filled(notch)
    (board,) = find_boards(mask, scale(), None, photo((corners, GREEN), (label, LABEL), (notch, TABLE)))
    outline = board.outline_px.astype(np.float32).reshape(-1, 1, 2)
    assert cv2.pointPolygonTest(outline, (60.0 * K, 50.0 * K), measureDist=False) > 0
    assert cv2.pointPolygonTest(outline, (90.0 * K, 37.0 * K), measureDist=False) < 0
    assert board.area == pytest.approx(90 * 30, rel=0.02)
