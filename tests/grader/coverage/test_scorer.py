"""Logistic scores: the formula, its limits and its form in a file."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.coverage.scorer import Scorer

SCORER = Scorer(
    ("a", "b"),
    mean=np.array([1.0, -2.0]),
    sd=np.array([2.0, 0.5]),
    pairs=np.array([[0, 0], [0, 1]]),
    weights=np.array([0.1, 1.0, -2.0, 0.5, 3.0]),
)


def by_hand(a: float, b: float) -> float:
    x, y = np.clip([(a - 1) / 2, (b + 2) / 0.5], -4, 4)
    return float(0.1 + x - 2 * y + 0.5 * x * x + 3 * x * y)


@given(st.floats(-50, 50), st.floats(-50, 50))
@settings(max_examples=50, deadline=None)
def test_is_the_formula(a: float, b: float) -> None:
    assert SCORER.score(np.array([[a, b]], np.float32))[0] == pytest.approx(by_hand(a, b), abs=2e-3)


def test_keeps_the_shape_of_pictures() -> None:
    rows = np.random.default_rng(0).normal(size=(7, 9, 2)).astype(np.float32)
    score = SCORER.score(rows)
    assert score.shape == (7, 9)
    assert score[3, 4] == pytest.approx(by_hand(*map(float, rows[3, 4])), abs=1e-4)


def test_no_rows_give_no_scores() -> None:
    assert SCORER.score(np.zeros((0, 2))).shape == (0,)


def test_long_tables_are_scored_alike_in_all_parts() -> None:
    row = np.array([0.3, -1.0], np.float32)
    score = SCORER.score(np.tile(row, (150_000, 1)))
    assert np.ptp(score) == 0
    assert score[0] == pytest.approx(by_hand(*map(float, row)), abs=1e-4)


def test_far_out_values_count_as_four_deviations() -> None:
    near, far = SCORER.score(np.array([[9.0, -2.0], [9000.0, -2.0]]))
    assert near == far


def test_goes_through_a_file_and_back() -> None:
    back = Scorer.from_json(json.loads(json.dumps(SCORER.as_json())))
    rows = np.random.default_rng(1).normal(size=(20, 2))
    np.testing.assert_allclose(back.score(rows), SCORER.score(rows), atol=1e-4)
    assert back.names == SCORER.names


def test_without_pairs_it_is_linear() -> None:
    plain = Scorer(("a",), np.zeros(1), np.ones(1), np.zeros((0, 2), np.int64), np.array([1.0, 2.0]))
    back = Scorer.from_json(json.loads(json.dumps(plain.as_json())))
    np.testing.assert_allclose(back.score(np.array([[0.0], [1.5]])), [1.0, 4.0])
