"""Value of information in the two-action problem with linear payoff and a normal unknown.

Source: Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), chapter 5 and its table of the unit normal
linear loss integral L(u) = φ(u) - u (1 - Φ(u)): worth of knowing = s × L(|m| / s) for an expected payoff m whose part
that can be known has the standard deviation s. The table's values are quoted from memory and agree with the formula.
"""

from __future__ import annotations

import pytest
from scipy.integrate import quad
from scipy.stats import norm

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.valuation.information import value_of_knowing

TABLE = {0.0: 0.3989, 0.5: 0.1978, 1.0: 0.08332, 1.5: 0.02931, 2.0: 0.008491}


def test_the_table_is_the_formula() -> None:
    for u, loss in TABLE.items():
        assert norm.pdf(u) - u * norm.sf(u) == pytest.approx(loss, rel=1e-3)


@pytest.mark.parametrize("u", TABLE)
@pytest.mark.parametrize("sign", [-1, 1])
def test_regression_over_the_draws_gives_the_loss_integral(u: float, sign: int) -> None:
    s, unknowable, n = 40.0, 60.0, 200_000

    def standard(name: str) -> Input:
        return Input.named(name, name, Distribution("normal", (0.0, 1.0)), "test")

    x, rest = standard("x").draws(n), standard("rest").draws(n)
    worth = value_of_knowing([sign * u * s + s * x + unknowable * rest], [x])
    # 1 % of the loss at zero, the scale of such values
    assert worth == pytest.approx(s * TABLE[u], abs=0.01 * s * TABLE[0.0])


@pytest.mark.parametrize("u", TABLE)
def test_between_two_ways_the_loss_integral_is_of_their_difference(u: float) -> None:
    """Two ways that both pay whatever the answer: the two-action problem of Raiffa and Schlaifer once more."""
    s, n = 40.0, 200_000

    def standard(name: str) -> FloatArray:
        return Input.named(name, name, Distribution("normal", (0.0, 1.0)), "test").draws(n)

    x, rest, other = standard("x"), standard("rest"), standard("other")
    strip = 500.0 + 1.5 * s * x + 60.0 * rest
    sell = 500.0 - u * s + 0.5 * s * x + 20.0 * other
    assert value_of_knowing([strip, sell], [x]) == pytest.approx(s * TABLE[u], abs=0.01 * s * TABLE[0.0])


@pytest.mark.parametrize(("strip", "sell"), [(-10.0, -5.0), (5.0, -20.0), (-30.0, 2.0)])
def test_two_ways_or_leaving_is_the_integral_over_the_answer(strip: float, sell: float) -> None:
    """Stripping rises with x, selling falls a little: E[max(0, ways)] by integration over the normal density."""
    n = 200_000

    def means(x: float) -> tuple[float, float]:
        return strip + 30.0 * x, sell - 10.0 * x

    def weighed(x: float) -> float:
        return max(0.0, *means(x)) * float(norm.pdf(x))

    knots = [-strip / 30.0, sell / 10.0, (sell - strip) / 40.0]
    exact = quad(weighed, -8.0, 8.0, points=sorted(knots), limit=200)[0] - max(0.0, strip, sell)
    x, rest = (Input.named(k, k, Distribution("normal", (0.0, 1.0)), "test").draws(n) for k in ("x", "rest"))
    ways = [strip + 30.0 * x + 40.0 * rest, sell - 10.0 * x - 25.0 * rest]
    # four standard errors of the mean of the better of two, whose spread is below 20
    assert value_of_knowing(ways, [x]) == pytest.approx(exact, abs=4 * 20.0 / n**0.5)
