"""The brush covers what a round brush covers, to a fraction of a pixel."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.correct import FilledOut, PaintedOut
from grader.correct.brush import FINE, patches
from grader.corrections import Stroke

SHAPE = (240, 320)


def brushed(stroke: Stroke, shape: tuple[int, int] = SHAPE) -> np.ndarray:
    """Share of each pixel that a stroke covers, 0..1."""
    bits = np.zeros(shape, np.uint16)
    for patch in patches(stroke, shape):
        bits[patch.where] |= patch.bits
    return np.bitwise_count(bits) / FINE**2


@given(st.floats(2, 60), st.floats(0, 1), st.floats(0, 1))
@settings(deadline=None)
def test_a_dab_has_the_area_of_its_circle(radius: float, dx: float, dy: float) -> None:
    share = brushed(PaintedOut(((100 + dx, 120 + dy),), radius))
    # points of a grid in a circle of R steps miss its area by about R^(2/3) of them (Gauss's circle problem)
    assert share.sum() == pytest.approx(math.pi * radius**2, abs=3 * (FINE * radius) ** (2 / 3) / FINE**2)
    ys, xs = np.indices(SHAPE)
    assert (share * xs).sum() / share.sum() == pytest.approx(100 + dx, abs=0.05)
    assert (share * ys).sum() / share.sum() == pytest.approx(120 + dy, abs=0.05)


@given(st.floats(2, 30), st.floats(0, 2 * math.pi), st.floats(1, 80), st.integers(1, 12))
@settings(deadline=None)
def test_a_straight_stroke_has_the_area_of_its_capsule(
    radius: float, angle: float, length: float, parts: int
) -> None:
    at = np.array([160.3, 120.6]) + np.linspace(-0.5, 0.5, parts + 1)[:, None] * length * np.array(
        [math.cos(angle), math.sin(angle)]
    )
    share = brushed(PaintedOut(tuple(map(tuple, at.tolist())), radius))
    # an edge along the grid lies up to half a step of it, an eighth of a pixel, from the true one
    edge = 2 * length + 2 * math.pi * radius
    assert share.sum() == pytest.approx(2 * radius * length + math.pi * radius**2, abs=edge / FINE / 2)


def test_a_long_stroke_is_the_same_drawn_in_one_or_in_pieces() -> None:
    shape = (900, 1400)
    whole = brushed(PaintedOut(((20.0, 30.0), (1370.0, 850.0)), 9.0), shape)
    halves = brushed(PaintedOut(((20.0, 30.0), (695.0, 440.0), (1370.0, 850.0)), 9.0), shape)
    length = math.hypot(1350, 820)
    assert whole.sum() == pytest.approx(18 * length + math.pi * 81, rel=0.005)
    assert abs(whole.sum() - halves.sum()) / whole.sum() < 0.002


@given(st.from_type(PaintedOut))
@settings(deadline=None)
def test_nothing_is_painted_beyond_the_brush(stroke: PaintedOut) -> None:
    share = brushed(stroke)
    path = np.array(stroke.path_px)
    ys, xs = np.nonzero(share)
    place = np.column_stack([xs, ys]).astype(float)
    nearest = np.full(len(place), np.inf)
    for a, b in zip(path, np.r_[path[1:], path[-1:]], strict=True):
        along = b - a
        t = np.clip((place - a) @ along / max(along @ along, 1e-9), 0, 1)
        nearest = np.minimum(nearest, np.hypot(*(place - a - t[:, None] * along).T))
    assert not len(place) or nearest.max() <= stroke.radius_px + 1.0


@given(st.lists(st.floats(15, 110), min_size=3, max_size=9), st.floats(0, 2 * math.pi))
@settings(deadline=None)
def test_a_polygon_has_the_area_of_its_corners(reaches: list[float], turn: float) -> None:
    angles = turn + 2 * math.pi * np.arange(len(reaches)) / len(reaches)
    corners = np.array([160.3, 120.6]) + np.array(reaches)[:, None] * np.column_stack(
        [np.cos(angles), np.sin(angles)]
    )
    share = brushed(FilledOut(tuple(map(tuple, corners.tolist()))))
    x, y = corners.T
    true = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2  # Gauss's area formula
    edge = float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).sum())
    assert share.sum() == pytest.approx(true, abs=edge / FINE / 2)


def test_a_large_polygon_is_whole_across_its_squares() -> None:
    shape = (1300, 1500)
    share = brushed(FilledOut(((-0.5, -0.5), (1399.5, -0.5), (1399.5, 1199.5), (-0.5, 1199.5))), shape)
    assert share[:1200, :1400].min() == 1
    assert share.sum() == 1200 * 1400


def test_where_a_polygon_crosses_itself_odd_counts() -> None:
    star = tuple(
        (160 + 90 * math.sin(4 * math.pi * i / 5), 120 - 90 * math.cos(4 * math.pi * i / 5)) for i in range(5)
    )
    share = brushed(FilledOut(star))
    assert share[120, 160] == 0
    assert share[60, 160] == 1
