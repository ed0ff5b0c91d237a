from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.thickness import FINISHES, Finish, GoldProperties, gold_properties
from grader.gold import GoldEstimate, gold_mass
from grader.model import ProductModel, Range, Term

N = 500
SCALE = Input("scale", "scale", Distribution("normal", (1.0, 0.02)), "test", of=("test",))
areas = st.floats(1e-3, 1e5)
by_finish = st.dictionaries(st.sampled_from(FINISHES), areas, min_size=1)


def area(mm2: float) -> ProductModel:
    return ProductModel((Term(mm2, (SCALE.name,)),), {SCALE.name: SCALE})


def models(areas_mm2: dict[Finish, float]) -> dict[Finish, ProductModel]:
    return {finish: area(mm2) for finish, mm2 in areas_mm2.items()}


def fixed(name: str, value: float, unit: str = "") -> Input:
    return Input.named(name, name, Distribution("constant", (value,)), "test", unit)


def properties(thickness_um: float, density: float = 19.3, fraction: float = 1.0) -> GoldProperties:
    return GoldProperties(fixed("t", thickness_um, "um"), fixed("d", density, "g/cm3"), fixed("f", fraction))


def draws(estimate: GoldEstimate) -> np.ndarray:
    return estimate.total.draws(N)


@given(by_finish, st.floats(1e-3, 1e3))
def test_k_times_the_area_is_k_times_the_gold(areas_mm2: dict[Finish, float], k: float) -> None:
    more = gold_mass(models({f: k * a for f, a in areas_mm2.items()}))
    np.testing.assert_allclose(draws(more), k * draws(gold_mass(models(areas_mm2))), rtol=1e-9)


@given(areas, st.floats(1e-3, 10), st.floats(1.01, 100))
def test_thicker_plating_is_more_gold_in_proportion(mm2: float, thickness_um: float, k: float) -> None:
    thin = draws(gold_mass({"hard_gold": area(mm2)}, {"hard_gold": properties(thickness_um)}))
    thick = draws(gold_mass({"hard_gold": area(mm2)}, {"hard_gold": properties(k * thickness_um)}))
    np.testing.assert_allclose(thick, k * thin, rtol=1e-9)


@given(areas, st.floats(1.0, 19.3), st.floats(0.1, 0.99))
def test_lighter_or_less_pure_plating_is_less_gold_in_proportion(mm2: float, density: float, fraction: float) -> None:
    pure = draws(gold_mass({"hard_gold": area(mm2)}, {"hard_gold": properties(0.762)}))
    alloy = draws(gold_mass({"hard_gold": area(mm2)}, {"hard_gold": properties(0.762, density, fraction)}))
    np.testing.assert_allclose(alloy, pure * density / 19.3 * fraction, rtol=1e-9)


@given(by_finish, by_finish)
def test_gold_of_disjoint_areas_adds_up(one: dict[Finish, float], two: dict[Finish, float]) -> None:
    both = {f: one.get(f, 0.0) + two.get(f, 0.0) for f in {**one, **two}}
    apart = gold_mass(models(one)).total + gold_mass(models(two)).total
    np.testing.assert_allclose(draws(gold_mass(models(both))), apart.draws(N), rtol=1e-9)


@given(by_finish)
def test_the_total_is_the_sum_of_the_finishes(areas_mm2: dict[Finish, float]) -> None:
    estimate = gold_mass(models(areas_mm2))
    assert set(estimate.by_finish) == set(areas_mm2)
    np.testing.assert_allclose(draws(estimate), sum(m.draws(N) for m in estimate.by_finish.values()), rtol=1e-9)


@given(areas, st.floats(1e-3, 10), st.floats(1, 20))
def test_gold_does_not_depend_on_the_units_that_it_is_reckoned_in(mm2: float, um: float, g_cm3: float) -> None:
    in_project_units = draws(gold_mass({"hard_gold": area(mm2)}, {"hard_gold": properties(um, g_cm3)}))
    in_si_kg = (mm2 * 1e-6) * (um * 1e-6) * (g_cm3 * 1e3) * SCALE.draws(N)
    in_inches_g = (mm2 / 25.4**2) * (um / 25.4e3) * (g_cm3 * 2.54**3) * SCALE.draws(N)
    np.testing.assert_allclose(in_project_units, in_si_kg * 1e6, rtol=1e-9)
    np.testing.assert_allclose(in_project_units, in_inches_g * 1e3, rtol=1e-9)


def test_without_area_there_is_no_gold() -> None:
    assert gold_mass({}).by_finish == {}
    assert Range.of(draws(gold_mass({}))) == Range(0.0, 0.0, 0.0)


@pytest.mark.parametrize("finish", FINISHES)
def test_each_finish_takes_its_own_properties(finish: Finish) -> None:
    estimate = gold_mass({finish: area(100.0)})
    expected = {SCALE.name, *(i.name for i in gold_properties()[finish].all_inputs())}
    assert set(estimate.total.inputs) == expected


def test_boards_of_one_kind_share_their_thickness_so_their_ranges_do_not_average_out() -> None:
    one = gold_mass({"hard_gold": area(100.0)}).total
    many = gold_mass({"hard_gold": area(100.0 * 16)}).total
    spread = Range.of(one.draws()).high / Range.of(one.draws()).low
    assert Range.of(many.draws()).high / Range.of(many.draws()).low == pytest.approx(spread, rel=1e-9)


def test_a_learned_thickness_narrows_the_range() -> None:
    learned = Input("thickness", "learned", Distribution("lognormal", (0.62, 0.1)), "yields", "um", of=("hard_gold",))
    area_models = {"hard_gold": area(100.0)}
    prior = Range.of(gold_mass(area_models).total.draws())
    belief = Range.of(gold_mass(area_models, gold_properties({"hard_gold": learned})).total.draws())
    assert prior.low < belief.low < belief.value < belief.high < prior.high
