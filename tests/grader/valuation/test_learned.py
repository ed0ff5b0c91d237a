"""A learned thickness holds the recovery already: it counts once."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibration.belief import Batch, WeighedPlating, learn
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.thickness import gold_properties
from grader.gold import gold_mass
from grader.model import ProductModel
from grader.units import parse_price_per_mass
from grader.valuation import Spot, value_lot
from grader.valuation.assumptions import load_assumptions
from grader.valuation.learned import recovery_once

AREA = {"hard_gold": ProductModel.of(1000.0, [])}
PUBLISHED = gold_mass(AREA).total
LEARNED = gold_mass(
    AREA, gold_properties(learn([Batch("1", (WeighedPlating("hard_gold", 100.0),), 40.0, 1.0)]).inputs())
).total
ASSUMPTIONS = load_assumptions()


def test_published_thickness_keeps_the_assumed_recovery() -> None:
    assert recovery_once(ASSUMPTIONS, PUBLISHED) == ASSUMPTIONS


def test_learned_thickness_makes_it_one() -> None:
    once = recovery_once(ASSUMPTIONS, LEARNED)
    assert once.recovery.distribution.is_constant
    assert once.recovery.draws(1)[0] == 1.0
    assert once.recovery.name == ASSUMPTIONS.recovery.name
    assert once.recovery.name not in once.examples
    assert once.payable == ASSUMPTIONS.payable


def test_an_offer_for_learned_gold_does_not_ask_for_recovery() -> None:
    spot = Spot.of(parse_price_per_mass("80 USD/g"), date(2026, 3, 4))

    def break_even(gold_mg: ProductModel, recovery: float) -> float:
        known = replace(ASSUMPTIONS.recovery, distribution=Distribution("constant", (recovery,)))
        given = replace(ASSUMPTIONS, spot=spot, recovery=known, charges=())
        return value_lot(gold_mg.times((), 100.0), given, today=spot.on, draws=2000).break_even

    assert break_even(LEARNED, 0.5) == break_even(LEARNED, 0.9) > 0
    assert break_even(PUBLISHED, 0.5) < break_even(PUBLISHED, 0.9)


def test_parts_under_one_belief_go_together_but_not_beliefs_of_different_times() -> None:
    first = learn([Batch("1", (WeighedPlating("hard_gold", 100.0),), 40.0, 1.0)])
    later = learn([*first.batches, Batch("2", (WeighedPlating("hard_gold", 100.0),), 45.0, 1.0)])
    one, two, new = (
        gold_mass(AREA, gold_properties(belief.inputs(part))).total
        for belief, part in ((first, "strips"), (first, "cards"), (later, "cards"))
    )
    assert recovery_once(ASSUMPTIONS, one + two).recovery.distribution.is_constant
    # one process recovers both: what is known of it moves both
    assert np.corrcoef(np.log(one.draws()), np.log(two.draws()))[0, 1] > 0.2
    with pytest.raises(UsageError, match="latest yields were learned from, others after"):
        recovery_once(ASSUMPTIONS, one + new)


def test_both_together_are_refused() -> None:
    with pytest.raises(UsageError, match="Measure all photos"):
        recovery_once(ASSUMPTIONS, PUBLISHED + LEARNED)
