"""A batch planned with the shipped examples, against what the trade speaks of (common practice, no source).

- base metal: 2 volumes of concentrated hydrochloric acid to 1 of 3 % hydrogen peroxide; about 250 mL of peroxide
  topped up to 800 mL counts as near enough; some 800 mL over about 470 g of small pieces in a 1 L beaker; a week
- gold: hydrochloric to nitric acid about 3 : 1 by volume, 15 mL of nitric to about 50 mL

and against handbook figures named at each.
"""

from __future__ import annotations

import pytest

from grader.batch import BatchPlan, Given, Vessels, charge_of, load_process, plan_batch
from grader.batch.figures import fixed


@pytest.fixture(scope="module")
def plan() -> BatchPlan:
    charge = charge_of(Given(mass="470 g", gold="80 mg", plated_area="55 cm2"))
    return plan_batch(charge, load_process(), Vessels(1000.0))


def test_a_beaker_takes_470_g(plan: BatchPlan) -> None:
    assert plan.loads.value == 1
    liquor = plan.amount("strip_acid").planned.value + plan.amount("peroxide").planned.value
    assert liquor == pytest.approx(800, rel=0.05)
    assert "vessel-brim" not in {n.code for n in plan.notices}


def test_proportions_of_the_strip(plan: BatchPlan) -> None:
    peroxide, acid = plan.amount("peroxide").planned, plan.amount("strip_acid").planned
    assert peroxide.low <= 250 <= peroxide.high
    assert acid.low <= 800 - 250 <= acid.high
    assert acid.value / peroxide.value == pytest.approx(2.0, rel=0.05)


def test_about_a_week(plan: BatchPlan) -> None:
    figures = plan.process.figures["days_per_load"].distribution
    assert figures.parameters[1] == 7
    assert plan.time.days.low <= 7 + 2 <= plan.time.days.high


def test_proportions_of_the_mixed_acid(plan: BatchPlan) -> None:
    acid, nitric = plan.amount("gold_acid").planned, plan.amount("nitric").planned
    assert 3.0 <= acid.value / nitric.value <= 50 / 15


def test_metabisulfite_lies_between_the_published_ratios(plan: BatchPlan) -> None:
    # 0.87 g (goldrefiningforum.com, thread 9434) to 1.5 g (eeting-chem.com) for each gram of gold, both read
    known = plan.process.figures["metabisulfite_per_gold"].distribution
    assert known.parameters[0] == 0.87
    assert known.parameters[-1] == 1.5
    # what leftover nitric acid uses up comes on top
    assert plan.amount("metabisulfite").planned.low >= 0.87 * 0.080


def test_strength_of_the_reagents_is_that_of_the_tables() -> None:
    # laboratorynotes.com (read): 37.2 % acid of 1.18 g/mL has 12.1 mol/l, 70 % nitric acid of 1.42 g/mL 15.8 mol/l
    process = load_process()
    low, mode, high = process.figures["hydrochloric_strength"].distribution.parameters
    assert low <= 0.372 * 1180 / 36.458 <= high
    assert mode == 12.1
    strongest = process.figures["nitric_strength"].distribution.parameters[-1]
    assert strongest == pytest.approx(0.70 * 1420 / 63.012, abs=0.03)
    # 30 g in a litre
    weakest = process.figures["peroxide_strength"].distribution.parameters[0]
    assert weakest == pytest.approx(30 / 34.014, abs=0.005)


def test_volume_of_a_gas() -> None:
    # NIOSH Pocket Guide (from memory): 24.45 l a mole at 25 degrees C; its 1 ppm of SO2 is 2.62 mg/m3, of Cl2 2.90
    volume = fixed()["gas_molar_volume"].value
    assert volume == pytest.approx(24.45, rel=1e-3)
    assert 64.058 / volume == pytest.approx(2.62, rel=1e-3)
    assert 70.9 / volume == pytest.approx(2.90, rel=1e-3)


def test_5_ppm_of_hydrogen_chloride_is_7_mg_in_a_cubic_metre(plan: BatchPlan) -> None:
    # OSHA chemical sampling information (read): 5 ppm, 7 mg/m3 (a rounded figure)
    fumes = next(g for g in plan.gases if g.gas == "HCl")
    mg_per_m3_at_limit = fumes.at_most_g.value * 1e3 / fumes.air_m3.value
    assert round(mg_per_m3_at_limit * 5 / fumes.limit.ppm) == 7
