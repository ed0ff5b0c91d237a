"""Value of information in the two-action problem with linear payoff and a normal unknown.

Source: Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), chapter 5 and its table of the unit normal
linear loss integral L(u) = φ(u) - u (1 - Φ(u)): worth of knowing = s × L(|m| / s) for an expected payoff m whose part
that can be known has the standard deviation s. The table's values are quoted from memory and agree with the formula.
"""

from __future__ import annotations

import pytest
from scipy.stats import norm

from calibration.inputs import Distribution, Input
from grader.value.information import value_of_knowing

TABLE = {0.0: 0.3989, 0.5: 0.1978, 1.0: 0.08332, 1.5: 0.02931, 2.0: 0.008491}


def test_the_table_is_the_formula() -> None:
    for u, loss in TABLE.items():
        assert norm.pdf(u) - u * norm.sf(u) == pytest.approx(loss, rel=1e-3)


@pytest.mark.parametrize("u", TABLE)
@pytest.mark.parametrize("sign", [-1, 1])
def test_regression_over_the_draws_gives_the_loss_integral(u: float, sign: int) -> None:
    s, unknowable, n = 40.0, 60.0, 200_000

    def standard(name: str) -> Input:
        return Input(name, name, Distribution("normal", (0.0, 1.0)), "test")

    x, rest = standard("x").draws(n), standard("rest").draws(n)
    worth = value_of_knowing(sign * u * s + s * x + unknowable * rest, [x])
    # 1 % of the loss at zero, the scale of such values
    assert worth == pytest.approx(s * TABLE[u], abs=0.01 * s * TABLE[0.0])
