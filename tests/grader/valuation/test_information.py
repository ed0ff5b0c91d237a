"""What it is worth to know an input before deciding."""

from __future__ import annotations

from math import exp, log, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.valuation.information import questions, value_of_knowing

N = 100_000


def draws(name: str, kind: str, *parameters: float) -> np.ndarray:
    return Input.named(name, name, Distribution(kind, parameters), "test").draws(N)


X, Y, NOISE = draws("x", "normal", 0.0, 1.0), draws("y", "normal", 0.0, 1.0), draws("noise", "normal", 0.0, 1.0)


def test_a_lognormal_value_against_a_price_is_a_call_option() -> None:
    """profit = v - c: knowing v is worth E[max(v - c, 0)] - max(E[v] - c, 0), the closed form of Black (1976)."""
    sigma, median = 0.6, 100.0
    value = draws("v", "lognormal", median, sigma)
    mean = median * exp(sigma**2 / 2)
    for price in (60.0, mean, 200.0):
        d = (log(mean / price) + sigma**2 / 2) / sigma
        call = mean * norm.cdf(d) - price * norm.cdf(d - sigma)
        known = value_of_knowing([value - price], [value])
        assert known == pytest.approx(call - max(mean - price, 0.0), rel=0.02, abs=0.15)


def test_a_factor_among_others_is_worth_what_its_conditional_mean_says() -> None:
    """profit = v × w - c with independent v and w: given v the mean is v × E[w] - c."""
    v, w = draws("v", "lognormal", 100.0, 0.5), draws("w", "triangular", 0.5, 1.0, 1.5)
    price = 100 * exp(0.125)
    direct = np.mean(np.maximum(v * w.mean() - price, 0.0)) - max(np.mean(v) * w.mean() - price, 0.0)
    assert value_of_knowing([v * w - price], [v]) == pytest.approx(direct, rel=0.02)


def test_what_is_irrelevant_or_certain_is_worth_nothing() -> None:
    assert value_of_knowing([X], [NOISE]) == 0.0
    assert value_of_knowing([X], [np.ones(N)]) == 0.0
    assert value_of_knowing([np.zeros(N)], [X]) == 0.0
    # a loss whatever the answer
    assert value_of_knowing([np.minimum(X, 3.0) - 10.0], [X]) < 1e-3


@given(mean=st.floats(-2, 2), a=st.floats(0.1, 3), b=st.floats(0.1, 3))
@settings(max_examples=15, deadline=None)
def test_knowing_more_is_worth_more_and_never_more_than_knowing_all(mean: float, a: float, b: float) -> None:
    profit = mean + a * X + b * Y + NOISE
    one, both = value_of_knowing([profit], [X]), value_of_knowing([profit], [X, Y])
    everything = np.mean(np.maximum(profit, 0.0)) - max(profit.mean(), 0.0)
    assert 0 <= one <= both + 0.01
    assert both <= everything + 0.01
    spread = sqrt(a**2 + b**2)
    closed = spread * (norm.pdf(mean / spread) - abs(mean) / spread * norm.sf(abs(mean) / spread))
    assert both == pytest.approx(closed, abs=0.015)


def test_inputs_of_one_question_are_asked_together_and_the_dearest_first() -> None:
    def normal(name: str, title: str) -> Input:
        return Input.named(name, title, Distribution("normal", (0.0, 1.0)), "test")

    sha = "abcdef012345"
    inputs = [
        normal(f"scale-fit:{sha}", "fit"),
        normal(f"scale-tilt:{sha}", "tilt"),
        normal("other-face:cards", "face"),
        normal("cost:box", "a box"),
        normal("unheard-of", "nobody can know"),
        Input("count", "fixed", Distribution("constant", (30.0,)), "test", of=("cards",)),
    ]
    values = {i.name: i.draws(N) for i in inputs}
    profit = 3 * values["other-face:cards"] + sum(values[i.name] for i in inputs[:-1])
    lot = [{"photos": [{"front": "a.jpg", "front_sha256": sha + "9" * 52, "back": None, "back_sha256": None}]}]
    first, second, third = questions([profit], inputs, values, lot)
    assert first.inputs == ("other-face:cards",)
    assert "other face of cards" in first.text
    assert second.inputs == (f"scale-fit:{sha}", f"scale-tilt:{sha}")
    assert "a.jpg" in second.text
    assert third.text == "Get a firm figure: a box."
    assert first.worth > second.worth > third.worth > 0


@given(mean=st.floats(-2, 2), other=st.floats(-2, 2), slope=st.floats(-3, 3))
@settings(max_examples=15, deadline=None)
def test_one_more_way_never_lowers_what_is_expected_with_the_answer(mean: float, other: float, slope: float) -> None:
    strip, sell = mean + 2 * X + NOISE, other + slope * X + 0.5 * NOISE

    def with_answer(*ways: np.ndarray) -> float:
        return value_of_knowing(ways, [X]) + max(0.0, *(float(w.mean()) for w in ways))

    assert with_answer(strip, sell) >= max(with_answer(strip), with_answer(sell)) - 1e-9
    # a way that never pays changes nothing
    assert value_of_knowing([strip, sell - 100.0], [X]) == pytest.approx(value_of_knowing([strip], [X]), abs=1e-9)


def test_what_decides_nothing_any_more_is_worth_less_with_a_second_way() -> None:
    """Thickness matters to stripping alone; where selling by weight pays anyway, knowing it saves from no loss."""
    strip = 1.0 + 5.0 * X
    assert value_of_knowing([strip, np.full(N, 20.0)], [X]) < 0.01 < value_of_knowing([strip], [X])


def test_a_sales_inputs_have_questions_of_their_own() -> None:
    inputs = [
        Input(
            "price", "price by weight (trim)", Distribution("uniform", (40.0, 90.0)), "test", "USD/kg", of=("trim",)
        ),
        Input(
            "share",
            "share of the boards' mass that is sold (trim)",
            Distribution("uniform", (0, 1)),
            "test",
            of=("trim",),
        ),
        Input("hours", "own hours (trim)", Distribution("uniform", (1.0, 9.0)), "test", "h", of=("trim",)),
    ]
    values = {i.name: i.draws(N) for i in inputs}
    sell = values["price:trim"] - 65.0 + 20.0 * values["share:trim"] - 3.0 * values["hours:trim"]
    asked = {q.inputs: q.text for q in questions([np.full(N, -1.0), sell], inputs, values)}
    assert asked == {
        ("price:trim",): "Get an offer in writing: price by weight (trim).",
        ("share:trim",): "Trim and weigh a few boards: share of the boards' mass that is sold (trim).",
        ("hours:trim",): "Time yourself on a small batch.",
    }


def test_a_profit_that_bends_is_worth_what_an_integral_says() -> None:
    """profit = |x - 15| - 2.5 with x even on 10..20: no straight line explains it, knowing x is worth 0.625.

    |x - 15| is even on 0..5, so that E[max(u - 2.5, 0)] is 2.5² / 2 / 5, and the mean profit is nought.
    """
    x = draws("x", "uniform", 10.0, 20.0)
    profit = np.abs(x - 15.0) - 2.5
    assert value_of_knowing([profit + NOISE], [x]) == pytest.approx(0.625, rel=0.03)


@pytest.mark.parametrize("least", [60.0, 100.0, 150.0])
def test_a_refiners_minimum_bends_the_profit_of_gold(least: float) -> None:
    """profit = 10 g - max(g, least) - c with lognormal g: worth by numerical integration over g."""
    g = draws("g", "lognormal", 100.0, 0.5)

    def profit(gold: np.ndarray) -> np.ndarray:
        return 10 * gold - np.maximum(3 * gold, 3 * least) - 700.0

    mean = quad(lambda z: profit(100 * np.exp(0.5 * z)) * norm.pdf(z), -8, 8, limit=200)[0]
    gains = quad(lambda z: max(0.0, profit(100 * np.exp(0.5 * z))) * norm.pdf(z), -8, 8, limit=200)[0]
    found = value_of_knowing([profit(g) + 200 * NOISE], [g])
    assert found == pytest.approx(gains - max(0.0, mean), rel=0.03)


def test_the_worth_of_choosing_between_two_good_ways_does_not_depend_on_how_good_they_are() -> None:
    """strip = M + x, sell = M: knowing x is worth E[max(x, 0)] = 1 / sqrt(2 pi), whatever M."""
    for both in (0.0, 10.0, 1000.0):
        found = value_of_knowing([both + X, np.full(N, both)], [X])
        assert found == pytest.approx(1 / sqrt(2 * pi), rel=0.02)


def test_worth_grows_with_the_unit_of_money_and_not_with_that_of_the_input() -> None:
    profit = 0.3 + X + NOISE
    worth = value_of_knowing([profit], [X])
    assert value_of_knowing([1000 * profit], [X]) == pytest.approx(1000 * worth)
    assert value_of_knowing([profit], [1e-3 * X + 7.0]) == pytest.approx(worth, rel=1e-6)


def test_an_input_of_few_different_values_is_fitted_too() -> None:
    """x is 0 or 1 evenly, profit = 2 x - 1: knowing it is worth half the gain of 1."""
    x = (X > 0).astype(float)
    assert value_of_knowing([2 * x - 1.0 + NOISE], [x]) == pytest.approx(0.5, rel=0.03)


def test_what_chance_explains_is_not_taken_for_knowledge() -> None:
    """Forty unrelated inputs on few draws: a regression always finds something, and none of it is worth money."""
    few = 2000
    rng = np.random.default_rng(1)
    profit = rng.standard_normal(few)
    assert [value_of_knowing([profit], [rng.standard_normal(few)]) for _ in range(40)] == [0.0] * 40
    # and an input that explains a twentieth of the variance is noticed
    shown = rng.standard_normal(few)
    assert value_of_knowing([profit + 0.23 * shown], [shown]) > 0


@pytest.mark.parametrize(("above", "noticed"), [(-0.05, False), (0.05, True)])
def test_a_fit_must_beat_noise_by_four_standard_deviations(above: float, noticed: bool) -> None:
    """Pure noise explains a chi-squared of its degrees, here 2: mean 2, standard deviation 2, so 10 of n cases.

    Of an input that is 0 in six cases of ten and else 1, the spline has two columns.
    """
    n = 1000
    x = np.repeat([0.0, 1.0], [600, 400])
    z, noise = (x - 0.4) / sqrt(0.24), np.tile([1.0, -1.0], n // 2)  # both of mean zero, unrelated
    explained = (2 + 4 * 2) / n * (1 + above)
    profit = sqrt(explained) * z + sqrt(1 - explained) * noise
    assert (value_of_knowing([profit], [x]) > 0) is noticed


def test_the_rounding_of_sums_raises_no_question() -> None:
    """Whatever an input is, buying a lot that never loses is right: rounding must not make that worth an answer."""
    rng = np.random.default_rng(5)
    cost = Input("cost", "postage", Distribution("uniform", (1.0, 2.0)), "test", of=("postage",))
    for size in (1e3, 1e7):
        drawn = cost.draws(N)
        profits = [size * (2.0 + 0.1 * rng.standard_normal(N)) - drawn, np.full(N, -1.0)]
        assert questions(profits, [cost], {cost.name: drawn}) == ()
