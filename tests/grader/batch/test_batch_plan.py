"""What a batch needs: reckoned by hand, and how it answers to changes."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from calibration.errors import RefusedError, UsageError
from grader.batch import BatchPlan, Feed, Process, Vessels, load_process, plan_batch
from grader.batch.shopping import shopping
from grader.batch.words import batch_document, batch_lines, plan_tables
from grader.cautions import cautions_for, exposure_limits, strictest_limit
from grader.model import Range
from grader.valuation import load_assumptions

Make = Callable[..., Process]
Charged = Callable[..., Feed]
# from the figures of the fixture: 100 cm² plated and a fifth of it open
COPPER_G = 120 * 50e-4 * 8.96
NICKEL_G = 100 * 4e-4 * 8.902
BASE_MOL = COPPER_G / 63.546 + NICKEL_G / 58.6934
GOLD_MOL = 0.150 / 196.96657
LEFTOVER_MOL = (0.010 * 15.7 - GOLD_MOL) * 0.8
EATEN_G = 0.01 * LEFTOVER_MOL * 3 / 4 * 190.0945


def exactly(r: Range) -> float:
    assert r.low == pytest.approx(r.value)
    assert r.high == pytest.approx(r.value)
    return r.value


@pytest.fixture
def plan(exact: Make, charged: Charged) -> BatchPlan:
    return plan_batch(charged(), exact(), Vessels(), draws=50)


def test_metal_is_area_times_thickness(plan: BatchPlan) -> None:
    assert exactly(plan.copper_g) == pytest.approx(COPPER_G)
    assert exactly(plan.nickel_g) == pytest.approx(NICKEL_G)


def test_amounts_and_floors_by_hand(plan: BatchPlan) -> None:
    # 400 g × 2 ml/g = 800 ml, a third of it peroxide
    assert exactly(plan.amount("peroxide").planned) == pytest.approx(800 / 3)
    acid = plan.amount("strip_acid")
    assert exactly(acid.planned) == pytest.approx(1600 / 3)
    assert acid.floor is not None
    assert exactly(acid.floor) == pytest.approx(2 * BASE_MOL / 12 * 1000)
    nitric, gold_acid = plan.amount("nitric"), plan.amount("gold_acid")
    assert exactly(nitric.planned) == pytest.approx(10)  # the least
    assert exactly(gold_acid.planned) == pytest.approx(30)
    assert nitric.floor is not None
    assert gold_acid.floor is not None
    assert exactly(nitric.floor) == pytest.approx(GOLD_MOL / 15.7 * 1000)
    assert exactly(gold_acid.floor) == pytest.approx(4 * GOLD_MOL / 12 * 1000)
    metabisulfite = plan.amount("metabisulfite")
    assert exactly(metabisulfite.planned) == pytest.approx(0.180 + EATEN_G)
    assert metabisulfite.floor is not None
    assert exactly(metabisulfite.floor) == pytest.approx(0.7238 * 0.150 + EATEN_G, rel=1e-4)
    assert exactly(plan.amount("water").planned) == pytest.approx(3 * 400 + 3 * 40)


def test_leftover_nitric_acid_is_destroyed_before_metabisulfite_meets_it(plan: BatchPlan) -> None:
    """0.157 mol of nitric acid for 0.0008 mol of gold: the rest would use up a hundred times the metabisulfite."""
    assert exactly(plan.nitric_as_metabisulfite_g) == pytest.approx(LEFTOVER_MOL * 3 / 4 * 190.0945)
    assert exactly(plan.nitric_as_metabisulfite_g) > 99 * 0.180
    sulfamic = plan.amount("sulfamic")
    assert sulfamic.floor is not None
    assert exactly(sulfamic.floor) == pytest.approx(LEFTOVER_MOL * 97.088, rel=1e-4)
    assert exactly(sulfamic.planned) == pytest.approx(1.25 * LEFTOVER_MOL * 97.088, rel=1e-4)
    dioxide = next(g for g in plan.gases if g.gas == "N2O")
    assert dioxide.stage == "denitration"
    assert exactly(dioxide.at_most_g) == pytest.approx(LEFTOVER_MOL * 44.013, rel=1e-4)
    price = next(c for c in plan.costs if c.key == "sulfamic")
    assert exactly(price.amount) == pytest.approx(exactly(sulfamic.planned) * 0.015)
    assert any("sulfamic acid" in line and "metabisulfite" in line for line in batch_lines(plan))


@pytest.mark.parametrize("left", ["50 %", "100 %"])
def test_metabisulfite_is_enough_for_gold_and_for_what_nitric_acid_is_still_there(
    exact: Make, charged: Charged, left: str
) -> None:
    """Where sulfamic acid does nothing, the metabisulfite grows by what all of the nitric acid uses up."""
    done = plan_batch(charged(), exact(nitrate_left=left, nitrate_after="100 %"), Vessels(), draws=50)
    metabisulfite = done.amount("metabisulfite")
    eaten = exactly(done.nitric_as_metabisulfite_g)
    assert exactly(metabisulfite.planned) == pytest.approx(0.180 + eaten)
    assert metabisulfite.floor is not None
    assert exactly(metabisulfite.floor) == pytest.approx(0.7238 * 0.150 + eaten, rel=1e-4)
    assert metabisulfite.chance_below_floor == 0


def test_peroxide_and_air_share_the_work(exact: Make, charged: Charged) -> None:
    ox = plan_batch(charged(area="200 cm2"), exact(), Vessels(), draws=50).oxidation
    peroxide_mol, base_mol = 0.8 / 3 * 0.9, 2 * BASE_MOL
    assert exactly(ox.peroxide_alone_g) == pytest.approx(peroxide_mol * 63.546)
    assert exactly(ox.peroxide_needed_ml) == pytest.approx(base_mol / 0.9 * 1000)
    assert exactly(ox.share_by_peroxide) == pytest.approx(peroxide_mol * 0.5 / base_mol)
    assert exactly(ox.air_l) == pytest.approx((base_mol - peroxide_mol * 0.5) / 2 * 24.465 / 0.2095)


def test_gases_by_hand(plan: BatchPlan) -> None:
    most = {(g.stage, g.gas): exactly(g.at_most_g) for g in plan.gases}
    assert most["strip", "HCl"] == pytest.approx(1.6 / 3 * 12 * 0.1 * 36.458)
    assert most["strip", "Cl2"] == pytest.approx(0.8 / 3 * 0.9 * 70.9)
    assert most["gold", "NO2"] == pytest.approx(0.010 * 15.7 * 46.005)
    # 0.36 mol of hydrochloric acid could make 0.12 mol, 0.157 mol of nitric acid as much as itself
    assert most["gold", "Cl2"] == pytest.approx(0.030 * 12 / 3 * 70.9)
    assert most["precipitation", "SO2"] == pytest.approx(
        (2 * (0.180 + EATEN_G) / 190.09454 - 1.5 * GOLD_MOL) * 64.058, rel=1e-6
    )
    least = {(g.stage, g.gas): g.at_least_g for g in plan.gases}
    assert least["gold", "NO2"] is not None
    assert exactly(least["gold", "NO2"]) == pytest.approx(GOLD_MOL * 46.005)


def test_air_thins_a_gas_to_its_strictest_limit(plan: BatchPlan) -> None:
    masses = {"HCl": 36.458, "Cl2": 70.9, "NO2": 46.005, "N2O": 44.013, "SO2": 64.058}
    for g in plan.gases:
        gas_l = g.at_most_g.value / masses[g.gas] * 24.465
        assert gas_l / (g.air_m3.value * 1000) == pytest.approx(g.limit.ppm * 1e-6)
        assert g.limit.ppm == min(limit.ppm for limit in exposure_limits() if limit.gas == g.gas)


def test_waste_by_kind_adds_up(plan: BatchPlan) -> None:
    waste = {w.key: exactly(w.amount) for w in plan.waste}
    liquids = 800 + 3 * 400 + 40 + 3 * 40
    assert waste["liquor"] == pytest.approx((800 + 400 + 40 + 120) / 1000)
    assert waste["rinse"] == pytest.approx(2 * 400 / 1000)
    assert waste["liquor"] + waste["rinse"] == pytest.approx(liquids / 1000)
    assert waste["boards"] == pytest.approx(400 - COPPER_G - NICKEL_G - 0.15)


def test_later_rinses_are_thinned_by_what_clings(plan: BatchPlan) -> None:
    left = 80 / (80 + 400)
    copper_mg_l = COPPER_G / 0.8 * 1000
    assert plan.rinse_water is not None
    assert exactly(plan.rinse_water.copper_mg_l) == pytest.approx(copper_mg_l * (left**2 + left**3) / 2)
    assert plan.rinse_water.chance_not_clean == 1.0


def test_costs_and_time_by_hand(exact: Make, charged: Charged) -> None:
    figures = load_assumptions()
    without = plan_batch(charged(), exact(), Vessels(), draws=50)
    assert {c.key for c in without.costs} == {
        "hydrochloric", "peroxide", "nitric", "sulfamic", "metabisulfite", "filters", "rinse_disposal",
    }  # fmt: skip
    by_key = {c.key: exactly(c.amount) for c in without.costs}
    assert by_key["hydrochloric"] == pytest.approx((1.6 / 3 + 0.03) * 6)
    assert by_key["filters"] == pytest.approx(1.0)
    assert by_key["rinse_disposal"] == pytest.approx(0.8)
    assert exactly(without.total_cost) == pytest.approx(sum(by_key.values()))
    assert exactly(without.cost_per_gram) == pytest.approx(sum(by_key.values()) / 0.15)
    assert "disposal-price-unknown" in {n.code for n in without.notices}
    with_disposal = plan_batch(charged(), exact(), Vessels(), figures, draws=50)
    disposal = next(c for c in with_disposal.costs if c.key == "disposal")
    assert 2 * 1.36 <= disposal.amount.low < disposal.amount.high <= 10 * 1.36
    assert disposal.example
    assert exactly(without.time.days) == pytest.approx(9)
    assert exactly(without.time.hours) == pytest.approx(4.5)


@pytest.mark.parametrize(
    ("mass", "vessels", "loads", "days"), [("400 g", 1, 1, 9), ("401 g", 1, 2, 16), ("1.2 kg", 2, 3, 16)]
)
def test_loads_are_whole_and_stand_side_by_side(
    exact: Make, charged: Charged, mass: str, vessels: int, loads: int, days: float
) -> None:
    plan = plan_batch(charged(mass), exact(), Vessels(1000, vessels), draws=50)
    assert exactly(plan.loads) == loads
    assert exactly(plan.time.days) == pytest.approx(days)


def test_twice_the_boards_take_twice_of_all_that_goes_by_boards(exact: Make, charged: Charged) -> None:
    process = exact(least_nitric="0.001 ml")
    one = plan_batch(charged("400 g", "100 cm2", "150 mg"), process, Vessels(), draws=50)
    two = plan_batch(charged("800 g", "200 cm2", "300 mg"), process, Vessels(), draws=50)
    for a, b in zip(one.amounts, two.amounts, strict=True):
        assert b.planned.value == pytest.approx(2 * a.planned.value)
        assert (a.floor is None) == (b.floor is None)
        if a.floor is not None and b.floor is not None:
            assert b.floor.value == pytest.approx(2 * a.floor.value)
    for a, b in zip(one.gases, two.gases, strict=True):
        assert b.at_most_g.value == pytest.approx(2 * a.at_most_g.value)
    assert two.total_cost.value == pytest.approx(2 * one.total_cost.value)
    assert two.cost_per_gram.value == pytest.approx(one.cost_per_gram.value)
    assert two.oxidation.share_by_peroxide.value == pytest.approx(one.oxidation.share_by_peroxide.value)


def test_open_copper_that_is_given_takes_the_place_of_the_share(exact: Make, charged: Charged) -> None:
    plan = plan_batch(charged(bare="20 cm2"), exact(), Vessels(), draws=50)
    assert exactly(plan.copper_g) == pytest.approx(COPPER_G)
    plan = plan_batch(charged(bare="200 cm2"), exact(), Vessels(), draws=50)
    assert exactly(plan.copper_g) == pytest.approx(COPPER_G * 300 / 120)


def test_with_little_copper_no_air_is_needed(exact: Make, charged: Charged) -> None:
    plan = plan_batch(charged(area="10 cm2"), exact(), Vessels(), draws=50)
    assert exactly(plan.oxidation.share_by_peroxide) == 1
    assert exactly(plan.oxidation.air_l) == 0
    assert any("enough without air" in line for line in batch_lines(plan))


@pytest.mark.parametrize(
    ("figure", "text", "reagent"),
    [
        ("metabisulfite_per_gold", "0.7 g/g", "Sodium metabisulfite"),
        ("metabisulfite_per_gold", "0.6..0.9 g/g", "Sodium metabisulfite"),
        ("liquor_per_board", "0.05 ml/g", "Hydrochloric acid, for stripping"),
    ],
)
def test_a_trade_figure_below_the_floor_is_warned_of(
    exact: Make, charged: Charged, figure: str, text: str, reagent: str
) -> None:
    plan = plan_batch(charged(), exact(**{figure: text}), Vessels(), draws=500)
    warned = [n.message for n in plan.notices if n.code == "reagent-below-floor"]
    assert any(message.startswith(reagent) for message in warned)


def test_no_floor_is_warned_of_without_reason(exact: Make, charged: Charged) -> None:
    for text in ("0.73 g/g", "1.2 g/g"):
        plan = plan_batch(charged(), exact(metabisulfite_per_gold=text), Vessels(), draws=50)
        assert "reagent-below-floor" not in {n.code for n in plan.notices}


def test_too_little_nitric_acid_is_below_its_floor(exact: Make, charged: Charged) -> None:
    scant = exact(nitric_per_gold="0.1 ml/g", least_nitric="0.001 ml", acid_per_nitric="3")
    warned = [n.message for n in plan_batch(charged(), scant, Vessels(), draws=50).notices if "below" in n.code]
    assert len(warned) == 2  # nitric acid and the hydrochloric acid that goes by it


def test_warnings_of_vessel_peroxide_and_examples(exact: Make, charged: Charged) -> None:
    def codes(process: Process, **given: str) -> set[str]:
        return {n.code for n in plan_batch(charged(**given), process, Vessels(), draws=200).notices}

    assert codes(exact()) >= {"rinse-not-clean", "disposal-price-unknown"}
    assert not codes(exact()) & {"peroxide-strong", "vessel-brim", "example-process"}
    assert "peroxide-strong" in codes(exact(peroxide_strength="9.8 mol/l"))
    assert "vessel-brim" in codes(exact(fill="100 %"), mass="500 g")
    assert "example-process" in codes(load_process())
    # many rinses and little that clings: the later ones come out clean on average only if even the second is
    clean = exact(drag_out="0.01 %", rinse_per_board="4 ml/g")
    assert "rinse-not-clean" not in codes(clean)
    assert "rinse-not-clean" not in codes(exact(rinses="1"))


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"gold": "0 mg"}, "no-gold"),
        ({"mass": "1 g", "area": "1000 cm2"}, "metal-heavier-than-pieces"),
        ({"mass": "1 g", "gold": "2 g"}, "metal-heavier-than-pieces"),
        ({"mass": "100 kg"}, "vessel-too-small"),
    ],
)
def test_what_cannot_be_planned_is_refused(exact: Make, charged: Charged, given: dict[str, str], code: str) -> None:
    with pytest.raises(RefusedError) as caught:
        plan_batch(charged(**given), exact(), Vessels(), draws=50)
    assert caught.value.code == code
    assert caught.value.advice


@pytest.mark.parametrize(("volume", "count"), [(0.0, 1), (-5.0, 1), (float("nan"), 1), (1000.0, 0)])
def test_impossible_vessels(volume: float, count: int) -> None:
    with pytest.raises(UsageError):
        Vessels(volume, count)


def test_another_currency_than_the_valuations_is_refused(exact: Make, charged: Charged) -> None:
    with pytest.raises(UsageError) as caught:
        exact(price_nitric="40 EUR/l")
    assert caught.value.code == "currencies-differ"


def test_the_examples_give_ordered_ranges_that_json_can_hold(charged: Charged) -> None:
    plan = plan_batch(charged("450..470..500 g", "38..42..50 cm2", "30..60..120 mg"), load_process(), Vessels())
    document = json.loads(json.dumps(batch_document(plan), allow_nan=False))
    for a in document["amounts"].values():
        assert 0 < a["planned"]["low"] <= a["planned"]["value"] <= a["planned"]["high"] == a["to_have"]
    assert document["loads"]["value"] == 1
    assert [c["code"] for c in document["cautions"]] == [c.code for c in cautions_for("batch")]
    assert {g["gas"] for g in document["gases"]} == {"HCl", "Cl2", "NO2", "N2O", "SO2"}


def test_shared_draws_make_the_same_plan_each_time(charged: Charged) -> None:
    first, again = (plan_batch(charged(), load_process(), Vessels()) for _ in range(2))
    assert batch_document(first) == batch_document(again)


def test_the_shopping_list_holds_enough_of_everything(plan: BatchPlan) -> None:
    bought = {each.key: each for each in shopping(plan)}
    acids = [plan.amount("strip_acid"), plan.amount("gold_acid")]
    assert bought["hydrochloric"].amount >= sum(a.to_have for a in acids)
    assert len(bought["hydrochloric"].uses) == 2, "one bottle, for two steps"
    for amount in plan.amounts:
        if amount not in acids:
            assert amount.to_have <= bought[amount.key].amount <= max(1.1 * amount.to_have, amount.to_have + 1)
    assert bought["water"].about is None
    for key in ("hydrochloric", "peroxide", "nitric", "sulfamic"):
        (cost,) = (c for c in plan.costs if c.key == key)
        assert bought[key].about >= cost.amount.value
    assert {f"container_{w.key}" for w in plan.waste if w.amount.high > 0} < set(bought)
    table = plan_tables(plan)[0]
    assert table.title == "Shopping list"
    assert len(table.rows) == len(bought)


def test_tables_have_as_many_cells_as_columns(plan: BatchPlan) -> None:
    for table in plan_tables(plan):
        assert all(len(row) == len(table.columns) for row in table.rows)


def test_cautions_name_what_harms() -> None:
    text = " ".join(c.text for c in cautions_for("batch"))
    for word in (
        "chlorine", "bleach", "sulfur dioxide", "nitrogen oxides", "outdoors", "hood", "closed vessel",
        "Acid into water", "children", "pets", "drain", "safety data sheets", "local rules", "licensed",
        "not a procedure",
    ):  # fmt: skip
        assert word in text
    assert strictest_limit("SO2").ppm == 2.0
