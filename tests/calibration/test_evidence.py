"""What is told or measured of plating: against closed forms, by hand, and by properties."""

from __future__ import annotations

from math import exp, hypot, log, pi, sqrt

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.evidence import Evidence, Reading, Statement, Strip, updated
from calibration.kinds import PlatingAssumptions, board_kind

EVEN = (np.arange(20_000) + 0.5) / 20_000
ONE_HUMP = PlatingAssumptions(Distribution("lognormal", (0.7, 0.5)), Distribution("constant", (0.0,)))


def log_um(plating: PlatingAssumptions) -> np.ndarray:
    return np.log(plating.thickness.at(EVEN))


def flash(plating: PlatingAssumptions) -> float:
    return float(plating.flash.at(EVEN).mean())


def test_a_reading_of_one_hump_is_the_normal_posterior() -> None:
    """Prior ln 0.7 ± 0.5; reading 0.5 ± 0.05 um, with 0.15 from place to place 0.180: precisions 4 and 30.8 add."""
    own = hypot(0.05 / 0.5, 0.15)
    precision = 1 / 0.5**2 + 1 / own**2
    middle = (log(0.7) / 0.5**2 + log(0.5) / own**2) / precision
    found = log_um(updated(ONE_HUMP, [Reading(0.5, 0.05)]))
    assert found.mean() == pytest.approx(middle, abs=0.003)
    assert found.std() == pytest.approx(1 / sqrt(precision), rel=0.01)


def test_two_readings_are_both_heard() -> None:
    own = hypot(0.10, 0.15)  # an error that nobody states is 10 %
    precision = 1 / 0.5**2 + 2 / own**2
    middle = (log(0.7) / 0.5**2 + (log(0.5) + log(0.6)) / own**2) / precision
    found = log_um(updated(ONE_HUMP, [Reading(0.5), Reading(0.6)]))
    assert found.mean() == pytest.approx(middle, abs=0.003)
    assert found.std() == pytest.approx(1 / sqrt(precision), rel=0.01)


def test_a_test_strip_by_hand() -> None:
    """20 boards of 10 mg/um gave 100 mg: 0.5 um effective, 0.5 / 0.89 = 0.562 um there."""
    spread = hypot(0.05, 0.30 / sqrt(20), 2.9 / 100, 0.04, 0.10)
    precision = 1 / 0.5**2 + 1 / spread**2
    middle = (log(0.7) / 0.5**2 + log(0.5 / 0.89) / spread**2) / precision
    found = log_um(updated(ONE_HUMP, [Strip(100.0, 20, 10.0, 0.05)]))
    assert found.mean() == pytest.approx(middle, abs=0.003)
    assert found.std() == pytest.approx(1 / sqrt(precision), rel=0.01)


def test_a_statement_may_be_wrong_and_then_says_nothing() -> None:
    """Chance that 0.76 um is right, by hand: 0.8 N(prior predictive) against 0.2 N(what is stated anyhow)."""
    right = 0.8 * exp(-0.5 * (log(0.76 / 0.7) / hypot(0.5, 0.25)) ** 2) / (hypot(0.5, 0.25) * sqrt(2 * pi))
    wrong = 0.2 * exp(-0.5 * (log(0.76 / 0.5) / 0.9) ** 2) / (0.9 * sqrt(2 * pi))
    chance = right / (right + wrong)
    precision = 1 / 0.5**2 + 1 / 0.25**2
    if_right = (log(0.7) / 0.5**2 + log(0.76) / 0.25**2) / precision
    found = log_um(updated(ONE_HUMP, [Statement(0.76)]))
    assert found.mean() == pytest.approx(chance * if_right + (1 - chance) * log(0.7), abs=0.005)
    assert 1 / sqrt(precision) < found.std() < 0.5


def test_evidence_settles_whether_it_is_flash() -> None:
    prior = board_kind("unknown").plating("one")
    assert flash(prior) == pytest.approx(0.22, abs=0.01)
    assert flash(updated(prior, [Reading(0.7)])) < 0.001
    assert flash(updated(prior, [Reading(0.08)])) > 0.98
    assert flash(updated(prior, [Strip(400.0, 20, 28.0)])) < 0.01
    # a word is worth less than a reading
    assert 0.01 < flash(updated(prior, [Statement(0.76)])) < 0.15
    assert flash(updated(prior, [Statement(0.08)])) > 0.6


def test_the_chance_of_flash_after_a_reading_is_that_of_bayes_rule() -> None:
    """Two humps by hand: each weighed with how likely it makes the reading."""
    prior = PlatingAssumptions(
        Distribution("lognormals", (0.7, 0.7, 0.5, 0.3, 0.09, 0.45)), Distribution("either", (0.3,))
    )
    own = hypot(0.10, 0.15)

    def likely(median: float, sigma: float) -> float:
        whole = hypot(sigma, own)
        return exp(-0.5 * (log(0.2 / median) / whole) ** 2) / whole

    hard, thin = 0.7 * likely(0.7, 0.5), 0.3 * likely(0.09, 0.45)
    assert flash(updated(prior, [Reading(0.2)])) == pytest.approx(thin / (hard + thin), abs=0.005)


def test_one_reading_tells_less_of_a_pile_of_many_designs() -> None:
    kind = board_kind("memory")
    one, many = kind.plating("one"), kind.plating("many")
    reading: list[Evidence] = [Reading(0.08)]
    alone, pile = updated(one, reading), updated(many, reading, kind)
    assert flash(alone) > 0.95
    assert flash(many) < flash(pile) < 0.4
    # and ten such boards are heard
    assert flash(updated(many, reading * 10, kind)) > 0.6


def test_a_strip_of_a_few_boards_of_a_pile_leaves_more_doubt_than_of_many() -> None:
    kind = board_kind("memory")
    few, lots = (log_um(updated(kind.plating("many"), [Strip(n * 5.0, n, 10.0)], kind)).std() for n in (3, 100))
    assert lots < 0.75 * few


def test_what_fits_nothing_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        updated(ONE_HUMP, [Reading(0.7, 0.01), Strip(1e6, 20, 10.0)])
    assert caught.value.code == "evidence-impossible"
