"""Invented lots: their truth, and a buyer's view of it.

Truth is drawn from the tool's own beliefs about thickness, spread between boards, stated masses, recovery and money.
So the simulation shows the worth of the decisions if those beliefs are right, but not whether they are right. Boards
vary as a lognormal, which the tool does not assume.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief import Priors, published_priors
from calibration.distributions import Distribution
from calibration.finishes import HARD_GOLD
from calibration.inputs import Input
from calibration.kinds import UNKNOWN, KindKey
from calibration.packaged import packaged_text
from calibration.sourced import parse
from calibration.thickness import Finish, GoldProperties, gold_properties
from grader.gold import MG_PER_MM2_UM_G_CM3, gold_mass
from grader.lot import Lot, Part, Sight
from grader.lot.assumed import lot_inputs
from grader.lot.model import Picked
from grader.lot.unseen import Earlier, spread_figures
from grader.measured import Measured, MeasuredBoard, MeasuredFinish, MeasuredModel
from grader.model import ProductModel, Range
from grader.simulate.market import USUAL, InventedMarket
from grader.valuation import Assumptions
from grader.valuation.books import of_stripping
from grader.valuation.economics import REL_ROUNDING

FINISH: Finish = HARD_GOLD
_MOST_SPREAD = 1.5


@dataclass(frozen=True)
class World:
    """Settings common to all lots.

    Attributes:
        assumptions: the buyers' money, which is also the truth: outcomes are drawn from it.
        learned: whether buyers have learned the thickness of each part from its yields.
        market: the market that offers the lots.
        named: whether buyers know what kind of boards a lot holds.
        sellers_know: whether asking prices follow the true proceeds of a lot, thickness and luck included. Otherwise
            they follow the average proceeds of its plated area, which is all that a seller can see.
        all_shown: whether photos show every board of a lot, so that only its plating is left to guess.
    """

    assumptions: Assumptions
    learned: bool = False
    sellers_know: bool = False
    market: InventedMarket = USUAL
    named: bool = False
    all_shown: bool = False

    @cached_property
    def priors(self) -> Priors:
        """Priors from which the truth of the plating is drawn."""
        return published_priors()

    def properties(self, kind: KindKey) -> GoldProperties:
        """A buyer's belief about the plating of boards of a kind before anything was weighed."""
        return gold_properties(kind=kind if self.named else UNKNOWN)[FINISH]

    @cached_property
    def typical(self) -> Mapping[str, FloatArray]:
        """Every input of the money at its mean."""
        return {i.name: np.array([np.mean(i.draws())]) for i in self.assumptions.inputs()}


@dataclass(frozen=True)
class InventedLot:
    """One lot on offer.

    Attributes:
        seen: the buyer's knowledge: photos with noise, a count or a stated mass.
        asking: asking price.
        mass_kg: mass as the seller states it.
        boards: true number of boards.
        gold_mg: true gold, before any is lost.
        recovered_mg: gold left after this lot's own recovery.
        proceeds: proceeds of that gold.
        costs: all costs except the price, when this lot is bought and stripped.
        load: cost of a price of 1 with fee and tax.
    """

    seen: Lot
    asking: float
    mass_kg: float
    boards: int
    gold_mg: float
    recovered_mg: float
    proceeds: float
    costs: float
    load: float

    @property
    def worth(self) -> float:
        """Price at which this lot, with its own true values, neither gains nor loses."""
        return (self.proceeds - self.costs) / self.load

    def profit(self, price: float) -> float:
        """True profit of buying at a price."""
        return self.proceeds - self.costs - price * self.load

    def loses(self, price: float) -> bool:
        """Whether buying at a price loses money."""
        return self.worth < price * (1 - REL_ROUNDING)


@cache
def world_figures() -> Mapping[str, float]:
    """The figures of ``data/world.toml``."""
    text = packaged_text("grader.simulate", "data/world.toml")
    return {key: figure.value for key, figure in parse(text, "world").items()}


def invent_lot(world: World, number: int, seed: int) -> InventedLot:
    """One lot with a kind of its own; the same number and seed give the same lot."""
    rng = np.random.default_rng([seed, number])
    kind = world.market.kind(rng)
    properties = world.properties(kind)
    true_um = math.exp(float(world.market.plating(world.priors, rng)[kind].draw(rng.random(1))[0]))
    density, fraction = (one(i.distribution, rng) for i in properties.inputs()[1:])
    recovery = one(world.assumptions.recovery.distribution, rng)
    if world.learned:
        properties = _learned(properties, true_um, rng)
    picks = rng.random() < world.market.picking
    per_mm2 = MG_PER_MM2_UM_G_CM3 * true_um * density * fraction
    return offered(world, str(number), per_mm2, recovery, properties, rng, picks=picks)


def offered(
    world: World,
    name: str,
    mg_per_mm2: float,
    recovery: float,
    properties: GoldProperties,
    rng: np.random.Generator,
    *,
    picks: bool = False,
) -> InventedLot:
    """One lot whose plating and recovery are given.

    Args:
        world: settings common to all lots.
        name: distinguishes its photos from those of other lots.
        mg_per_mm2: true gold by plated area.
        recovery: true share of it that is recovered.
        properties: the buyer's belief about the plating.
        rng: generator from which everything else is drawn.
        picks: whether the seller shows the best boards.
    """
    f = world_figures()
    boards = round(math.exp(rng.uniform(math.log(f["boards_low"]), math.log(f["boards_high"]))))
    areas = _board_areas(world.market, boards, rng)
    masses = f["board_mass"] * np.exp(f["board_mass_sd_log"] * rng.standard_normal(boards))
    gold_mg = float(areas.sum() * mg_per_mm2)
    seen, stated_g = _seen(name, areas, masses, properties, rng, world, picks=picks)
    true = {i.name: i.distribution.sample(rng, 1) for i in world.assumptions.inputs()}
    true[world.assumptions.recovery.name] = np.array([recovery])
    money = of_stripping(ProductModel.of(gold_mg, ()), world.assumptions, true)
    known = money
    if not world.sellers_know:
        usual_mg = ProductModel.of(float(areas.sum()) * _usual_mg_per_mm2(), ())
        known = of_stripping(usual_mg, world.assumptions, world.typical)
    asking = f["asking_share"] * float(known.proceeds[0]) * math.exp(f["asking_sd_log"] * rng.standard_normal())
    return InventedLot(
        seen,
        asking,
        stated_g / 1000,
        boards,
        gold_mg,
        gold_mg * recovery,
        float(money.proceeds[0]),
        float(money.costs[0]),
        float(money.load[0]),
    )


def reappraised(lot: Lot, properties: GoldProperties, picking: Input | None = None, earlier: Earlier = ()) -> Lot:
    """The lot as seen, with other properties of the plating, and what the buyer learned about boards not shown."""

    def again(m: Measured) -> Measured:
        return m.with_gold(gold_mass(m.areas, {FINISH: properties}).total)

    lots = tuple(tuple(boards) for boards in earlier)
    return Lot(
        tuple(
            replace(
                p, sights=tuple(replace(s, front=again(s.front)) for s in p.sights), picking=picking, earlier=lots
            )
            for p in lot.parts
        )
    )


@cache
def _usual_mg_per_mm2() -> float:
    """Gold by plated area, on average over the beliefs about thickness, density and purity."""
    means = [float(np.mean(i.draws())) for i in gold_properties()[FINISH].inputs()]
    return MG_PER_MM2_UM_G_CM3 * math.prod(means)


def _board_areas(market: InventedMarket, boards: int, rng: np.random.Generator) -> FloatArray:
    """Plated area of each board, mm²."""
    f, held = world_figures(), {key: figure.value for key, figure in spread_figures().items()}
    sigma, bare = market.boards_spread, market.bare
    if sigma is None:
        sigma = held["spread_log"] * math.exp(held["spread_log_factor"] * rng.standard_normal())
        sigma = min(sigma, _MOST_SPREAD)
        bare = 0.0 if rng.random() < held["none_bare"] else float(rng.beta(1.0, held["bare_boards"]))
    typical = f["area_median"] * math.exp(f["area_sd_log"] * rng.standard_normal())
    areas = typical * np.exp(sigma * rng.standard_normal(boards) - sigma**2 / 2)
    return np.asarray(np.where(rng.random(boards) < bare, 0.0, areas))


def _seen(
    lot: str,
    areas: FloatArray,
    masses: FloatArray,
    properties: GoldProperties,
    rng: np.random.Generator,
    world: World,
    *,
    picks: bool = False,
) -> tuple[Lot, float]:
    """Photos of a few boards with noise, with either their count or a mass that the seller states, g."""
    f = world_figures()
    sights, first = [], 0
    counts = rng.integers(1, int(f["most_boards_a_photo"]) + 1, size=int(rng.integers(1, int(f["most_photos"]) + 1)))
    if world.all_shown:
        counts = np.array([len(areas)])
    if picks:  # the richest of a larger number that was laid out
        laid_out = round(f["picked_of"] * int(counts.sum()))
        order = np.concatenate([np.argsort(-areas[:laid_out]), np.arange(min(laid_out, len(areas)), len(areas))])
        areas, masses = areas[order], masses[order]
    if not areas[: counts.sum()].any():  # a seller who offers gold shows some
        order = np.argsort(areas == 0, kind="stable")
        areas, masses = areas[order], masses[order]
    for photo, shown in enumerate(counts.tolist()):
        name = f"{lot}-{photo}"
        inputs = tuple(_factor(f"{kind}:{name}", f[f"{kind}_sd_log"]) for kind in ("scale", "segmentation"))
        found_mm2 = areas[first : first + shown].sum() / math.prod(one(i.distribution, rng) for i in inputs)
        area = ProductModel.of(float(found_mm2), inputs)
        gold = gold_mass({FINISH: area}, {FINISH: properties}).total
        weighed = float(masses[first : first + shown].sum())
        outlines = tuple(_outline(float(a)) for a in areas[first : first + shown])
        model = MeasuredModel(gold_mg=gold, area_mm2={FINISH: area})
        found = Measured(photo=name, sha256=name, model=model, boards=outlines)
        sights.append(Sight(found, None, shown, weighed))
        first += shown
    stated_g = float(masses.sum()) / one(lot_inputs()["stated-mass"].distribution, rng)
    picked: Picked = world.market.picked
    if rng.random() < 0.5 and not world.all_shown:
        part = Part("boards", tuple(sights), mass_g=_constant(stated_g), picked=picked)
    else:
        part = Part("boards", tuple(sights), count=_constant(float(len(areas))), picked=picked)
    return Lot((part,)), stated_g


def _outline(plated_mm2: float) -> MeasuredBoard:
    """A board in a photo, distinct from the others; only its size relative to the other boards matters."""
    plating = MeasuredFinish(gold_mg=_exactly(plated_mm2))
    return MeasuredBoard(area_mm2=_exactly(world_figures()["board_face"]), by_finish={FINISH: plating})


def _exactly(value: float) -> Range:
    return Range(value, value, value)


def _learned(properties: GoldProperties, true_um: float, rng: np.random.Generator) -> GoldProperties:
    sigma = world_figures()["yields_sd_log"]
    median = true_um * math.exp(sigma * rng.standard_normal())
    return replace(
        properties,
        thickness=replace(properties.thickness, distribution=Distribution("lognormal", (median, sigma))),
    )


def _factor(name: str, sd_log: float) -> Input:
    return Input.named(name, name, Distribution("lognormal", (1.0, sd_log)), "invented")


def _constant(value: float) -> Distribution:
    return Distribution("constant", (value,))


def one(distribution: Distribution, rng: np.random.Generator) -> float:
    """One draw."""
    return float(distribution.sample(rng, 1)[0])
