"""What a few boards say of the others: against an integration by another hand, by properties, by lots of our own."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from grader.lot.observed import Observed
from grader.lot.sampling import MANY, others_than
from grader.lot.unseen import spread_figures, unseen_of
from tests.lot_ranges import held


def alone(*gold: float) -> list[Observed]:
    return [Observed(g, 1, 1.0) for g in gold]


def test_the_spread_given_three_boards_is_that_of_bayes_rule() -> None:
    """y = 0, 1, 2: S = 2, k = 3, p(s | y) ~ p(s) s^-2 exp(-1 / s²); its median by quadrature over 0.04 to 2.2."""
    known = spread_figures()
    middle, factor = log(known["spread_log"].value), known["spread_log_factor"].value

    def likely(t: float) -> float:  # t = log s, so that p(s) ds is a normal density in t
        return float(norm.pdf(t, middle, factor)) * exp(-2 * t - exp(-2 * t))

    low, high = log(0.04), log(2.2)
    whole = quad(likely, low, high)[0]
    at = np.linspace(low, high, 400)
    below = np.array([quad(likely, low, t)[0] for t in at]) / whole
    median = exp(float(np.interp(0.5, below, at)))
    found = unseen_of(alone(1.0, exp(1), exp(2)), 1e6, 10.0).relative_sd
    # of three boards none of which is bare, few others are: their spread is not much more than that of gold alone
    assert exp(median**2) - 1 < found**2 < 1.5 * (exp(median**2) / (1 - 0.1) - 1)


@given(st.lists(st.floats(0.1, 10.0), min_size=2, max_size=8), st.floats(1e-3, 1e3))
@settings(max_examples=25, deadline=None)
def test_neither_the_unit_nor_the_order_matters(gold: list[float], unit: float) -> None:
    one = unseen_of(alone(*gold), 40.0, 10.0).ratio
    assert unseen_of(alone(*(g * unit for g in gold)), 40.0, 10.0).ratio == pytest.approx(one, rel=1e-6)
    assert unseen_of(alone(*reversed(gold)), 40.0, 10.0).ratio == pytest.approx(one, rel=1e-6)


def test_boards_alike_tell_more_the_more_there_are_and_boards_that_differ_widen() -> None:
    def width(*gold: float) -> float:
        low, high = np.quantile(unseen_of(alone(*gold), 40.0, 10.0).ratio, [0.05, 0.95])
        return float(high / low)

    assert width(1.0) > width(1.0, 1.01) > width(1.0, 1.01, 0.99, 1.0) > width(*[1.0, 1.01, 0.99, 1.0] * 3)
    assert width(1.0, 2.0, 0.5, 1.0) > 1.5 * width(1.0, 1.01, 0.99, 1.0)


def test_earlier_lots_tell_how_much_boards_vary_and_no_more_than_they_may() -> None:
    def width(*earlier: list[Observed]) -> float:
        ratio = unseen_of(alone(1.0, 1.1), 40.0, 10.0, earlier).ratio
        return float(np.quantile(ratio, 0.95) / np.quantile(ratio, 0.05))

    alike, varied = alone(1.0, 1.05, 0.95, 1.0, 0.9), alone(1.0, 3.0, 0.3, 1.0, 0.0)
    assert width(alike, alike) < 0.7 * width()
    assert width(varied) > 1.3 * width()
    # how rich earlier boards were is nothing to this lot
    richer = [Observed(9 * o.gold, 1, 1.0) for o in alike]
    assert width(richer) == pytest.approx(width(alike), rel=1e-6)
    # from forty boards on, more of them change nothing: at half each they count for twenty
    assert width(*[alike] * 8) == pytest.approx(width(*[alike] * 80), rel=1e-6)
    assert width(*[alike] * 4) > width(*[alike] * 8)
    # and what this lot shows of itself counts for more than what others did
    own = unseen_of(alone(1.0, 3.0, 0.3), 40.0, 10.0, [alike]).ratio
    assert np.quantile(own, 0.95) / np.quantile(own, 0.05) > width(alike)


def test_a_bare_board_among_those_seen_leaves_others_bare() -> None:
    without, with_one = (
        unseen_of(alone(*g), 1000.0, 10.0).ratio for g in ((1.0, 1.1, 0.9, 1.0), (1.0, 1.1, 0.9, 0.0))
    )
    # against the boards with gold: those seen are three quarters of that on average
    assert np.median(with_one) * 0.75 < np.median(without)
    # and a mere trace of gold is bare too
    trace = unseen_of(alone(1.0, 1.1, 0.9, 0.001), 1000.0, 10.0).ratio
    assert trace == pytest.approx(with_one, rel=2e-3)


def test_a_single_board_or_a_heap_adds_nothing_on_average() -> None:
    for seen in (alone(3.0), [Observed(12.0, 4, 4.0)]):
        assert unseen_of(seen, 50.0, 10.0).ratio.mean() == pytest.approx(1.0, abs=0.01)
    # a heap shows its mean, and that mean varies less than a board
    board, heap = (
        np.quantile(unseen_of(seen, 50.0, 10.0).ratio, 0.75) / np.quantile(unseen_of(seen, 50.0, 10.0).ratio, 0.25)
        for seen in (alone(3.0), [Observed(12.0, 4, 4.0)])
    )
    assert log(heap) < 0.8 * log(board)


def test_boards_without_gold_leave_a_factor_that_changes_nothing() -> None:
    assert np.isfinite(unseen_of(alone(0.0, 0.0), 50.0, 10.0).ratio).all()


def test_from_many_boards_on_their_own_spread_tells() -> None:
    rng = np.random.default_rng(3)
    gold = np.exp(0.3 * rng.standard_normal(MANY))
    few, many = (others_than("a", alone(*gold[:n]), 1000.0) for n in (MANY - 1, MANY))
    assert few is not None
    assert many is not None
    assert (few.factor.distribution.kind, many.factor.distribution.kind) == ("sample", "log_student_t")
    widths = [np.diff(np.quantile(o.factor.draws(50_000), [0.05, 0.95]))[0] for o in (few, many)]
    assert widths[0] == pytest.approx(widths[1], rel=0.4)


@pytest.mark.parametrize(
    ("spread", "seen", "bare", "least"),
    [(0.3, 4, 0.0, 0.85), (0.3, 10, 0.3, 0.85), (1.0, 4, 0.0, 0.85), (1.0, 10, 0.1, 0.85), (1.0, 2, 0.3, 0.80)],
)
def test_ranges_of_lots_hold_the_truth(spread: float, seen: int, bare: float, least: float) -> None:
    # 150 lots: three standard errors of a share of 0.9 are 0.07; `python -m tests.lot_ranges` shows all cases
    inside, _, _ = held(spread, seen, bare, 150, np.random.default_rng(1))
    assert inside > least - 0.07
