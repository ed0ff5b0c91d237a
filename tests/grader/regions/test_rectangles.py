"""Which lines are tried together as the sides of rectangles: each direction once, however many lines share it."""

from __future__ import annotations

import numpy as np

from grader.regions.rectangles import _right_angled


def lines(direction_deg: float, count: int, spread_deg: float = 0.2) -> np.ndarray:
    """Angles of lines along and across a direction, radians, 0..π."""
    off = np.linspace(-spread_deg, spread_deg, count)
    return np.radians(np.concatenate([direction_deg + off, direction_deg + 90 + off])) % np.pi


def test_lines_of_one_direction_make_one_pair_of_sets() -> None:
    for direction in (0.0, 30.0, 89.9, 135.0):
        ((one, other),) = _right_angled(lines(direction, 7))
        assert sorted([*one.tolist(), *other.tolist()]) == list(range(14))


def test_each_further_direction_makes_a_pair_of_its_own() -> None:
    angle = np.concatenate([lines(10.0, 5), lines(40.0, 6), lines(70.0, 4)])
    pairs = _right_angled(angle)
    assert sorted(len(one) for one, _ in pairs) == [4, 5, 6]
    for one, other in pairs:
        apart = np.degrees(np.abs((angle[one][:, None] - angle[other][None] + np.pi / 2) % np.pi - np.pi / 2))
        assert apart.min() > 89


def test_lines_without_others_across_them_make_none() -> None:
    assert _right_angled(np.radians(np.linspace(20, 21, 6))) == []
