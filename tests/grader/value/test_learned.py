"""A learned thickness holds the recovery already: it counts once."""

from __future__ import annotations

import pytest

from calibration.belief import Batch, Plating, learn
from calibration.errors import UsageError
from calibration.thickness import gold_properties
from grader.gold import gold_mass
from grader.model import ProductModel
from grader.value.assumptions import load_assumptions
from grader.value.learned import recovery_once

AREA = {"hard_gold": ProductModel.of(1000.0, [])}
PUBLISHED = gold_mass(AREA).total
LEARNED = gold_mass(
    AREA, gold_properties(learn([Batch("1", (Plating("hard_gold", 100.0),), 40.0, 1.0)]).inputs())
).total
ASSUMPTIONS = load_assumptions()


def test_published_thickness_keeps_the_assumed_recovery() -> None:
    assert recovery_once(ASSUMPTIONS, PUBLISHED) == ASSUMPTIONS


def test_learned_thickness_makes_it_one() -> None:
    once = recovery_once(ASSUMPTIONS, LEARNED)
    assert once.recovery.distribution.sample(None, 1)[0] == 1.0  # type: ignore[arg-type] - a constant draws nothing
    assert once.recovery.name == ASSUMPTIONS.recovery.name
    assert once.recovery.name not in once.examples
    assert once.payable == ASSUMPTIONS.payable


def test_both_together_are_refused() -> None:
    with pytest.raises(UsageError, match="Measure all photos"):
        recovery_once(ASSUMPTIONS, PUBLISHED + LEARNED)
