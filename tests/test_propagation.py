from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.model import ProductModel, Term
from tests.propagation import Propagation, propagate

N = 200_000
NORMAL = Distribution("normal", (0.0, 1.0))


def test_a_linear_model_gives_the_known_normal() -> None:
    found = propagate(lambda a, b: 3 * a + 4 * b + 10, {"a": NORMAL, "b": NORMAL}, N)
    assert found.mean == pytest.approx(10, abs=4.5 * 5 / math.sqrt(N))
    assert np.std(found.draws, ddof=1) == pytest.approx(5, rel=4.5 / math.sqrt(2 * N))
    z = stats.norm.ppf(0.975)
    end_error = 4.5 * 5 * math.sqrt(0.025 * 0.975 / N) / stats.norm.pdf(z)
    assert found.symmetric(0.95).low == pytest.approx(10 - 5 * z, abs=end_error)
    assert found.symmetric(0.95).high == pytest.approx(10 + 5 * z, abs=end_error)


def test_the_shortest_interval_of_an_exponential_starts_at_its_foot() -> None:
    found = propagate(lambda u: -np.log(u), {"u": Distribution("uniform", (1e-12, 1.0))}, N)
    shortest, symmetric = found.shortest(0.9), found.symmetric(0.9)
    assert shortest.low == pytest.approx(0, abs=0.01)
    assert shortest.high == pytest.approx(math.log(10), rel=0.02)
    assert shortest.high - shortest.low < symmetric.high - symmetric.low
    assert symmetric.low == pytest.approx(-math.log(0.95), rel=0.05)


def test_the_shortest_interval_holds_the_share_that_it_states() -> None:
    found = Propagation(np.random.default_rng(3).gamma(2.0, size=10_000))
    for level in (0.5, 0.9, 0.99):
        interval = found.shortest(level)
        held = np.mean((found.draws >= interval.low) & (found.draws <= interval.high))
        assert held == pytest.approx(level, abs=2e-4)


def test_few_draws_still_give_summaries() -> None:
    found = Propagation(np.array([3.0, 1.0]))
    assert found.mean == 2.0
    assert np.std(found.draws, ddof=1) == pytest.approx(math.sqrt(2))
    assert (found.shortest(0.95).low, found.shortest(0.95).high) == (1.0, 3.0)


def test_bare_distributions_and_named_inputs_draw_alike() -> None:
    named = Input("a", "an input", NORMAL, "test")
    np.testing.assert_array_equal(
        propagate(lambda a: a, {"a": NORMAL}, 100).draws, propagate(lambda a: a, {"a": named}, 100).draws
    )


def test_inputs_of_one_name_are_one_input() -> None:
    shared = Input("scale", "scale", NORMAL, "test")
    assert (propagate(lambda a, b: a - b, {"a": shared, "b": shared}, 100).draws == 0).all()


def test_a_product_model_draws_what_propagation_of_the_same_function_draws() -> None:
    inputs = {"a": Input("a", "a", NORMAL, "test"), "b": Input("b", "b", NORMAL, "test")}
    model = ProductModel((Term(2.0, ("a", "b")), Term(1.0, ("b",))), inputs)
    found = propagate(lambda a, b: 2 * a * b + b, inputs, 1000, seed=4)
    np.testing.assert_allclose(model.draws(1000, 4), found.draws, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(("level", "span"), [(0.40, 4), (0.446, 4), (0.454, 5), (0.5, 5), (0.94, 9), (0.96, 9)])
def test_how_many_draws_the_shortest_interval_spans(level: float, span: int) -> None:
    """JCGM 101:2008, 7.7.2: of M draws the whole number nearest to level × M, and never more than there are."""
    found = Propagation(np.arange(10.0)[::-1]).shortest(level)
    assert found.high - found.low == span
    assert found.value == 4.5
    assert found.level == level


def test_the_shortest_interval_is_the_shortest_of_all() -> None:
    """Where the draws lie closest: 5, 5.1, 5.2, 5.3 among others a unit apart."""
    found = Propagation(np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 5.1, 5.2, 5.3, 7.0])).shortest(0.3)
    assert (found.low, found.high) == (5.0, 5.3)
    assert found.value == 4.5  # the median, not the mean of 3.76
