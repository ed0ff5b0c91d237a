"""From a charge and a process to what the batch needs."""

from __future__ import annotations

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import RefusedError
from calibration.inputs import DEFAULT_DRAWS
from calibration.notices import Notice
from grader.batch.chemistry import molar_mass
from grader.batch.costs import PriceDraws, cost_lines
from grader.batch.figures import constant, fixed
from grader.batch.model import (
    BatchPlan,
    Feed,
    GasGivenOff,
    Oxidation,
    ReagentAmount,
    RinseWater,
    Stage,
    Time,
    Vessels,
    Waste,
)
from grader.batch.notices import notice
from grader.batch.process import Process
from grader.batch.quantities import (
    FigureDraws,
    Gases,
    Reagents,
    Wastes,
    air_m3,
    gases,
    leftover_nitric_mol,
    metabisulfite_for_nitric_g,
    metals,
    oxidant,
    reagents,
    wastes,
)
from grader.cautions import Gas, strictest_limit
from grader.model import ProductModel, Range
from grader.units import format_share, in_digits, round_to
from grader.valuation import Assumptions
from grader.valuation.exchange import carried_over
from grader.valuation.notices import notice as price_notice

MOST_LOADS = 100
_WORTH_A_WARNING = 0.05
_LEAST_MASS_G = 1e-3  # so that the far tail of a wide range divides nothing by zero
_STRONG_MOL_L = 1.2  # some 4 %


def plan_batch(
    charge: Feed,
    process: Process,
    vessels: Vessels,
    assumptions: Assumptions | None = None,
    draws: int = DEFAULT_DRAWS,
) -> BatchPlan:
    """What a batch needs, gives off and leaves, by Monte Carlo over all uncertain inputs.

    Args:
        charge: the pieces.
        process: its figures; example prices are carried over where those of the assumptions were.
        vessels: that it is done in.
        assumptions: of the valuation: what disposal costs a litre and what an own hour is worth; without them
            neither is among the costs.
        draws: of each input.

    Raises:
        RefusedError: ``no-gold``, ``no-mass``, ``no-plated-area``, ``metal-heavier-than-pieces``,
            ``vessel-too-small``.
        UsageError: ``currencies-differ``.
    """
    process = in_currency_of(process, assumptions)
    f = {key: given.draws(draws) for key, given in process.figures.items()}
    mass, plated, gold = (_draws(model, draws) for model in (charge.mass_g, charge.plated_mm2, charge.gold_mg))
    bare = None if charge.bare_copper_mm2 is None else _draws(charge.bare_copper_mm2, draws)
    _refuse_nothing(mass, plated, gold)
    mass = np.maximum(mass, _LEAST_MASS_G)
    m = metals(f, plated, bare, gold)
    if np.median(m.copper + m.nickel + m.gold) > np.median(mass):
        raise RefusedError(
            "metal-heavier-than-pieces",
            f"Pieces of {in_digits(float(np.median(mass)))} g cannot hold "
            f"{in_digits(float(np.median(m.copper + m.nickel + m.gold)))} g of metal on the areas given.",
            "Check the units of mass and areas, and that both are of the same boards.",
        )
    r = reagents(f, mass, m)
    fill_ml = vessels.volume_ml * f["fill"]
    loads = np.ceil(r.liquor / fill_ml - 1e-9)
    per_load = _check_loads(charge, vessels, mass, loads, fill_ml / f["liquor_per_board"])
    w = wastes(f, mass, r, m, rinses := constant(process.figures["rinses"].distribution, "number of rinses"))
    ox, given_off = oxidant(f, r, m), gases(f, r, m)
    prices = PriceDraws.of(process, assumptions, f, draws)
    hours = loads * f["hours_per_load"] + f["hours_denitrating"] + f["hours_refining"]
    lines, total = cost_lines(prices, r, w, f["filters_per_load"] * loads, hours)
    amounts = _amounts(r, f, loads, mass, rinses)
    rinse_water = _rinse_water(w) if rinses > 1 else None
    return BatchPlan(
        process=process,
        vessels=vessels,
        mass_g=Range.of(mass),
        plated_cm2=Range.of(plated / 100),
        copper_g=Range.of(m.copper),
        nickel_g=Range.of(m.nickel),
        gold_mg=Range.of(gold),
        loads=_whole(loads),
        liquor_per_load_ml=Range.of(r.liquor / loads),
        pieces_per_load_g=Range.of(mass / loads),
        amounts=amounts,
        oxidation=Oxidation(
            *(Range.of(x) for x in (ox.peroxide_alone_g, ox.peroxide_needed_ml, ox.share_by_peroxide, ox.air_l))
        ),
        nitric_as_metabisulfite_g=Range.of(metabisulfite_for_nitric_g(leftover_nitric_mol(f, r.nitric, m))),
        gases=_gases(given_off),
        waste=_waste(w, f["filters_per_load"] * loads, rinse_water),
        rinse_water=rinse_water,
        time=Time(
            days=Range.of(np.ceil(loads / vessels.count) * f["days_per_load"] + f["days_refining"]),
            hours=Range.of(hours),
        ),
        currency=process.currency,
        costs=lines,
        total_cost=Range.of(total),
        cost_per_gram=Range.of(total[m.gold > 0] / m.gold[m.gold > 0]),
        notices=(
            *charge.notices,
            *_floor_notices(amounts),
            *_process_notices(process, f),
            *_vessel_notices(vessels, f, per_load),
            *_rinse_notices(rinse_water),
            *(() if prices.disposal is not None else (notice("disposal-price-unknown"),)),
        ),
    )


def in_currency_of(process: Process, assumptions: Assumptions | None) -> Process:
    """A process whose prices are all examples, carried over like those of the assumptions; another as it is."""
    rate = None if assumptions is None else assumptions.exchange
    own_prices = {key for key in process.figures if key.startswith("price_")} - process.examples
    if rate is None or process.exchange is not None or process.currency != rate.of or own_prices:
        return process
    return carried_over(process, rate)


def _draws(model: ProductModel, n: int) -> FloatArray:
    # a normal range about a small area reaches below zero; areas and masses do not
    return np.maximum(model.draws(n), 0.0)


def _refuse_nothing(mass: FloatArray, plated: FloatArray, gold: FloatArray) -> None:
    for code, what, found, advice in (
        ("no-mass", "The pieces weigh nothing.", mass, "Weigh the pieces and give their mass."),
        (
            "no-gold",
            "No gold was found on these boards, so there is nothing to plan for.",
            gold,
            "Check the photo's overlay: does it show the face with the contacts?",
        ),
        (
            "no-plated-area",
            "No plated area is known.",
            plated,
            "Measure photos of the boards, or give the plated area.",
        ),
    ):
        if not np.median(found) > 0:
            raise RefusedError(code, what, advice)


def _check_loads(
    charge: Feed, vessels: Vessels, mass: FloatArray, loads: FloatArray, holds_g: FloatArray
) -> FloatArray:
    """Mass of pieces that a full vessel takes, g."""
    holds = float(np.median(holds_g))
    shown = f"A vessel of {in_digits(vessels.volume_ml, 6)} ml takes about {in_digits(holds)} g of pieces"
    if charge.heaviest_piece_g is not None and charge.heaviest_piece_g > holds:
        raise RefusedError(
            "vessel-too-small",
            f"{shown}, and one piece weighs {in_digits(charge.heaviest_piece_g)} g.",
            "Use a larger vessel, or cut smaller pieces.",
        )
    if np.median(loads) > MOST_LOADS:
        raise RefusedError(
            "vessel-too-small",
            f"{shown}: {in_digits(float(np.median(mass)))} g would take {np.median(loads):.0f} loads.",
            f"Use a larger vessel: a batch has at most {MOST_LOADS} loads.",
        )
    return np.minimum(mass / loads, holds_g)


def _whole(counts: FloatArray) -> Range:
    """A range of whole numbers: quantiles that are counts themselves."""
    low, mid, high = np.quantile(counts, [0.05, 0.5, 0.95], method="inverted_cdf")
    return Range(float(mid), float(low), float(high))


def _amounts(
    r: Reagents, f: FigureDraws, loads: FloatArray, mass: FloatArray, rinses: int
) -> tuple[ReagentAmount, ...]:
    def amount(
        key: str, title: str, stage: Stage, unit: str, planned: FloatArray, floor: FloatArray | None = None
    ) -> ReagentAmount:
        below = 0.0 if floor is None else float(np.mean(planned < floor))
        least = None if floor is None else Range.of(floor)
        each = Range.of(planned / loads) if stage == "strip" else None
        return ReagentAmount(key, title, stage, unit, Range.of(planned), least, below, each)

    water = mass * f["rinse_per_board"] * rinses + (r.nitric + r.gold_acid) * f["gold_dilution"]
    return (
        amount("strip_acid", "hydrochloric acid, for stripping", "strip", "ml", r.strip_acid, r.strip_acid_floor),
        amount("peroxide", "3 % hydrogen peroxide", "strip", "ml", r.peroxide),
        amount("gold_acid", "hydrochloric acid, for gold", "gold", "ml", r.gold_acid, r.gold_acid_floor),
        amount("nitric", "nitric acid", "gold", "ml", r.nitric, r.nitric_floor),
        amount(
            "sulfamic", "sulfamic acid, for leftover nitric acid", "denitration", "g", r.sulfamic, r.sulfamic_floor
        ),
        amount(
            "metabisulfite",
            "sodium metabisulfite",
            "precipitation",
            "g",
            r.metabisulfite,
            r.metabisulfite_floor,
        ),
        amount("water", "water for rinsing and thinning", "rinse", "ml", water),
        amount("filters", "filters", "strip", "", f["filters_per_load"] * loads),
    )


def _gases(g: Gases) -> tuple[GasGivenOff, ...]:
    def gas(stage: Stage, formula: Gas, why: str, most: FloatArray, least: FloatArray | None = None) -> GasGivenOff:
        limit, mass = strictest_limit(formula), molar_mass(formula)
        low = None if least is None else Range.of(least * mass)
        return GasGivenOff(stage, formula, why, low, Range.of(most * mass), limit, Range.of(air_m3(most, limit.ppm)))

    return (
        gas("strip", "HCl", "fumes of the acid, over the days that it stands", g.strip_vapour),
        gas("strip", "Cl2", "if all peroxide made chlorine with the acid", g.strip_chlorine_most),
        gas(
            "gold",
            "NO2",
            "at least from the gold; at most if all nitric acid turned to it",
            g.nitrogen_oxides_most,
            g.nitrogen_oxides_least,
        ),
        gas("gold", "Cl2", "if the mixed acids fell apart by themselves", g.gold_chlorine_most),
        gas(
            "denitration",
            "N2O",
            "if sulfamic acid destroyed all nitric acid that is left over",
            g.nitrous_oxide_most,
        ),
        gas(
            "precipitation",
            "SO2",
            "if all metabisulfite that the gold does not use up let it go",
            g.sulfur_dioxide_most,
        ),
    )


def _waste(w: Wastes, filters: FloatArray, water: RinseWater | None) -> tuple[Waste, ...]:
    clean = water is not None and water.chance_not_clean <= _WORTH_A_WARNING
    return (
        Waste(
            "liquor",
            "metal-bearing liquor",
            "l",
            Range.of(w.liquor_l),
            "strip liquor, first rinse and spent gold solution: hazardous waste; keep it apart from rinse water",
        ),
        Waste(
            "rinse",
            "later rinse water",
            "l",
            Range.of(w.rinse_l),
            "nearly clean: kept apart, less is hazardous waste; to be tested before it goes anywhere"
            if clean
            else "much thinner: kept apart, less is hazardous waste; but it is not likely to pass as clean",
        ),
        Waste("boards", "stripped boards", "g", Range.of(w.boards_g), "rinsed; as your local rules have it"),
        Waste("filters", "filters", "", Range.of(filters), "keep them: fine gold stays in paper"),
    )


def _rinse_water(w: Wastes) -> RinseWater:
    figures = fixed()
    copper_limit, ph_limit = figures["rinse_copper_limit"].value, figures["rinse_ph_limit"].value
    ph = -np.log10(np.maximum(w.rinse_acid_mol_l, 1e-7))
    unclean = (w.rinse_copper_mg_l > copper_limit) | (ph <= ph_limit)
    return RinseWater(Range.of(w.rinse_copper_mg_l), Range.of(ph), copper_limit, ph_limit, float(np.mean(unclean)))


def _floor_notices(amounts: tuple[ReagentAmount, ...]) -> list[Notice]:
    return [
        notice(
            "reagent-below-floor",
            reagent=a.title.capitalize(),
            chance=format_share(a.chance_below_floor),
            planned=f"{round_to(a.planned.value, 0)} {a.unit}",
            floor=f"{round_to(a.floor.value, 0)} {a.unit}",
        )
        for a in amounts
        if a.floor is not None and a.chance_below_floor > _WORTH_A_WARNING
    ]


def _process_notices(process: Process, f: FigureDraws) -> list[Notice]:
    strongest = float(f["peroxide_strength"].max())
    found = []
    if strongest > _STRONG_MOL_L:
        found.append(notice("peroxide-strong", strength=in_digits(strongest)))
    if process.examples:
        found.append(notice("example-process", count=len(process.examples)))
    if process.exchange is not None:
        found.append(price_notice("examples-carried-over", of=process.exchange.of, rate=process.exchange))
    return found


def _vessel_notices(vessels: Vessels, f: FigureDraws, per_load: FloatArray) -> list[Notice]:
    filled = per_load * (f["liquor_per_board"] + 1 / fixed()["density_pieces"].value) / vessels.volume_ml
    full = float(np.quantile(filled, 0.95))
    return [notice("vessel-brim", share=format_share(full))] if full > fixed()["brim"].value else []


def _rinse_notices(water: RinseWater | None) -> list[Notice]:
    if water is None or water.chance_not_clean <= _WORTH_A_WARNING:
        return []
    return [
        notice(
            "rinse-not-clean",
            copper=round_to(water.copper_mg_l.high, 0),
            ph=f"{water.ph.low:.1f}",
            copper_limit=in_digits(water.copper_limit_mg_l, 6),
            ph_limit=in_digits(water.ph_limit, 6),
        )
    ]
