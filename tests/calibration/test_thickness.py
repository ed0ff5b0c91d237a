from __future__ import annotations

import re
from importlib import resources

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.sourced import load_figures
from calibration.thickness import FINISHES, GoldProperties, gold_properties, thickness_prior

# "# 90 % range: 0.080 to 1.44 um, median 0.62 um." and the table's name further down
STATED = re.compile(r'# 90 % range: ([\d.]+) to ([\d.]+) (\S+), median ([\d.]+) \S+\.\n\["([a-z_:]+)"\]')


def stated_ranges(file: str) -> list[tuple[str, str, str, str]]:
    text = resources.files("calibration").joinpath("data", file).read_text(encoding="utf-8")
    return [(m[5], m[1], m[4], m[2]) for m in STATED.finditer(text)]


def all_inputs() -> dict[str, Input]:
    return {i.name: i for p in gold_properties().values() for i in p.inputs()}


STATED_RANGES = [*stated_ranges("thickness.toml"), *stated_ranges("gold_properties.toml")]


def test_every_thickness_states_its_range() -> None:
    # edge contacts go by the kind of boards: test_kinds.py
    assert {f"thickness:{f}" for f in FINISHES if f != "hard_gold"} <= {name for name, *_ in STATED_RANGES}


@pytest.mark.parametrize(("name", "low", "median", "high"), STATED_RANGES)
def test_the_ranges_stated_in_the_data_files_are_those_of_the_priors(
    name: str, low: str, median: str, high: str
) -> None:
    draws = all_inputs()[name].draws(1_000_000)
    # Two digits after rounding; and 1e6 draws know these quantiles to 0.4 % at worst, sqrt(q (1 - q) / n) / density.
    for stated, q in ((low, 0.05), (median, 0.5), (high, 0.95)):
        digits = len(stated.partition(".")[2])
        assert np.quantile(draws, q) == pytest.approx(float(stated), abs=0.6 * 10**-digits, rel=0.008)


def test_priors_carry_units_and_reasons() -> None:
    for finish in FINISHES:
        prior = thickness_prior(finish)
        assert prior.name == f"thickness:{finish}"
        assert prior.unit == "um"
    by_fit = {"thickness:hard_gold"}
    assert all("judgement" in i.source for i in all_inputs().values() if i.name not in by_fit)
    assert "47 public reports" in thickness_prior("hard_gold").source


def test_properties_are_physical() -> None:
    for i in all_inputs().values():
        draws = i.draws(100_000)
        assert draws.min() > 0
        if i.name.startswith("gold_fraction"):
            assert draws.max() <= 1
        if i.name.startswith("density"):
            assert draws.max() <= load_figures("constants")["density_gold"].value


def test_hard_gold_is_lighter_and_less_pure_than_immersion_gold() -> None:
    hard, immersion = gold_properties()["hard_gold"], gold_properties()["immersion_gold"]
    assert np.mean(hard.density.draws()) < np.mean(immersion.density.draws())
    assert np.mean(hard.gold_fraction.draws()) < np.mean(immersion.gold_fraction.draws())


def test_properties_of_hard_gold_agree_with_the_constants() -> None:
    hard, constants = gold_properties()["hard_gold"], load_figures("constants")
    low, mode, high = hard.density.distribution.parameters
    figure = constants["density_hard_gold"]
    assert (low, mode) == (figure.low, figure.value)
    assert high == constants["density_gold"].value
    low, mode, high = hard.gold_fraction.distribution.parameters
    assert low < constants["gold_fraction_hard_gold_type_2"].value < constants["gold_fraction_hard_gold_type_1"].value
    assert mode == constants["gold_fraction_hard_gold_type_1"].value


def test_a_learned_belief_takes_the_place_of_the_prior() -> None:
    learned = Input(
        "thickness", "learned", Distribution("lognormal", (0.7, 0.1)), "yields", "um", of=("hard_gold", "modules")
    )
    found = gold_properties({"hard_gold": learned})
    assert found["hard_gold"].thickness == learned
    assert found["hard_gold"].density == gold_properties()["hard_gold"].density
    assert found["immersion_gold"] == gold_properties()["immersion_gold"]


def test_a_belief_in_another_unit_or_for_no_finish_is_refused() -> None:
    in_uin = Input("thickness", "learned", Distribution("constant", (30.0,)), "yields", "uin")
    with pytest.raises(UsageError) as caught:
        gold_properties({"hard_gold": in_uin})
    assert caught.value.code == "property-unit"
    with pytest.raises(UsageError) as caught:
        gold_properties({"tin": thickness_prior("hard_gold")})  # type: ignore[dict-item]
    assert caught.value.code == "finish-unknown"
    hard = gold_properties()["hard_gold"]
    with pytest.raises(UsageError):
        GoldProperties(hard.thickness, hard.gold_fraction, hard.density)
