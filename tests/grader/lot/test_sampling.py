"""What seen boards say of unseen ones: formulas by hand, and a factor whose mean is one by numerical integration."""

from __future__ import annotations

import math
from math import exp, inf, log, log1p, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import t as student

from calibration.inputs import Input
from grader.lot.observed import Observed
from grader.lot.sampling import Spread, observed_spread, pooled, unseen_factor


def sampling_sd(spread: Spread, seen: int, total: float) -> float:
    """Relative standard deviation of the mean of the boards seen, as an estimate of the mean of all.

    Cochran's theorem 2.2, relative to the mean.

    Args:
        spread: between boards.
        seen: n, boards seen.
        total: N, boards in the lot, at least n.
    """
    return spread.relative_sd * math.sqrt(max(1.0 / seen - 1.0 / total, 0.0))


def factor(relative_sd: float, degrees: float, seen: int, total: float) -> Input:
    found = unseen_factor("u", Spread(relative_sd, degrees), seen, total)
    assert found is not None
    return found


@pytest.mark.parametrize("degrees", [3.0, 8.0, 52.0])
@pytest.mark.parametrize("relative_sd", [0.05, 0.3, 1.0, 4.0])
def test_the_unseen_boards_are_like_the_seen_ones_on_average(relative_sd: float, degrees: float) -> None:
    """E[median × exp(scale × t)], t cut off at a factor of ten, by another hand's integration, is one."""
    median, scale, same_degrees, reach = factor(relative_sd, degrees, 2, 40.0).distribution.parameters
    assert same_degrees == degrees
    assert reach == pytest.approx(log(10.0))
    law = student(degrees)
    end = reach / scale
    inside = law.cdf(end) - law.cdf(-end)
    mean = quad(lambda x: median * exp(scale * x) * law.pdf(x), -end, end, limit=400)[0] / inside
    assert mean == pytest.approx(1.0, abs=1e-4)


def test_the_width_is_that_of_the_mean_of_boards_drawn_without_replacement() -> None:
    """s² N / (n (N - n)) by hand: s = 0.3, n = 4, N = 100 gives 0.0234375 %, as a variance of the logarithm."""
    _, scale, _, _ = factor(0.3, 3.0, 4, 100.0).distribution.parameters
    assert scale == pytest.approx(sqrt(log1p(0.09 * 100 / (4 * 96))), rel=1e-12)


def test_no_unseen_board_is_richer_than_tenfold() -> None:
    wild = factor(50.0, 3.0, 1, 1000.0)
    draws = wild.draws(100_000) / wild.distribution.parameters[0]
    assert 9.9 < draws.max() <= 10.0 + 1e-9
    assert 9.9 < 1 / draws.min() <= 10.0 + 1e-9


@given(st.floats(0.01, 2), st.floats(1, 60), st.integers(1, 30), st.integers(1, 500))
@settings(max_examples=30, deadline=None)
def test_more_boards_seen_never_widen_and_all_seen_leave_nothing(
    relative_sd: float, degrees: float, seen: int, more: int
) -> None:
    total = float(seen + more)
    spread = Spread(relative_sd, degrees)
    assert unseen_factor("u", spread, seen, float(seen)) is None
    assert unseen_factor("u", spread, seen, seen - 0.5) is None
    assert sampling_sd(spread, seen, float(seen)) == 0.0
    assert sampling_sd(spread, seen, seen - 0.5) == 0.0
    # error of the whole ÷ the whole = error of the unseen mean × the unseen share
    unseen = relative_sd * sqrt(total / (seen * more))
    assert sampling_sd(spread, seen, total) == pytest.approx(unseen * more / total, rel=1e-9)
    assert sampling_sd(spread, seen, inf) == pytest.approx(relative_sd / sqrt(seen))
    assert sampling_sd(spread, seen + 1, total + 1) < sampling_sd(spread, seen, total + 1)


def test_spread_about_a_ratio_by_hand() -> None:
    """Boards of 10, 20 and 30 g with 1, 3 and 2 mg: ratio 0.1 mg/g, residuals 0, 1, -1 mg, mean 2 mg."""
    seen = [Observed(1.0, 1, 10.0), Observed(3.0, 1, 20.0), Observed(2.0, 1, 30.0)]
    found = observed_spread(seen)
    assert found is not None
    assert found.relative_sd == pytest.approx(sqrt((0 + 1 + 1) / 2) / 2)
    assert found.degrees == 2


def test_two_boards_tell_and_one_or_none_with_gold_does_not() -> None:
    two = observed_spread([Observed(1.0, 1, 1.0), Observed(3.0, 1, 1.0)])
    assert two is not None
    assert (two.relative_sd, two.degrees) == (pytest.approx(sqrt(2.0) / 2.0), 1)
    assert observed_spread([Observed(1.0, 1, 1.0)]) is None
    assert observed_spread([Observed(0.0, 1, 1.0), Observed(0.0, 1, 1.0)]) is None
    # a few tenths of a milligram are gold too
    assert observed_spread([Observed(0.1, 1, 1.0), Observed(0.3, 1, 1.0)]) == Spread(
        pytest.approx(two.relative_sd), 1
    )


def test_the_unit_of_gold_and_size_does_not_matter() -> None:
    rng = np.random.default_rng(2)
    seen = [Observed(float(g), int(b), float(s)) for g, b, s in zip(*rng.integers(1, 9, (3, 6)), strict=True)]
    turned = [Observed(1000 * o.gold, o.boards, o.size / 7) for o in seen]
    one, other = observed_spread(seen), observed_spread(turned)
    assert one is not None
    assert other is not None
    assert other.relative_sd == pytest.approx(one.relative_sd)


def test_pooling_what_agrees_changes_the_degrees_alone() -> None:
    assert pooled(Spread(0.4, 3), Spread(0.4, 5)) == Spread(pytest.approx(0.4), 8)
    # variances, not deviations, are averaged
    assert pooled(Spread(1.0, 1), Spread(3.0, 1)).relative_sd == pytest.approx(sqrt(5.0))
