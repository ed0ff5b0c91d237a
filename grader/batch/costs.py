"""What a batch costs: reagents by the process set, disposal and own time by the valuation's assumptions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.inputs import Input
from grader.batch.model import CostLine
from grader.batch.process import Process
from grader.batch.quantities import FigureDraws, Reagents, Wastes
from grader.model import Range
from grader.units.estimates import same_currency
from grader.valuation import Assumptions

_DISPOSAL = "cost:disposal"


@dataclass(frozen=True)
class PriceDraws:
    """Draws of prices, in one currency.

    Attributes:
        process: by the figures' keys.
        disposal: of a litre of metal-bearing liquor; None if it is not known.
        rate: of an own hour; None if it is not priced.
        examples: keys of the lines whose price is a shipped example.
    """

    process: FigureDraws
    disposal: FloatArray | None
    rate: FloatArray | None
    examples: frozenset[str]

    @staticmethod
    def of(process: Process, assumptions: Assumptions | None, figures: FigureDraws, draws: int) -> PriceDraws:
        """Prices of a process set and of the assumptions of a valuation.

        Raises:
            UsageError: ``currencies-differ``.
        """
        examples = {key for key in process.examples if key.startswith("price_")}
        if assumptions is None:
            return PriceDraws(figures, None, None, frozenset(examples))
        same_currency({"process": {process.currency}, "assumptions": {assumptions.currency}})
        disposal = _disposal(assumptions)
        rate = None if assumptions.work is None else assumptions.work.rate
        examples |= {i.name for i in (disposal, rate) if i is not None and i.name in assumptions.examples}
        return PriceDraws(
            figures,
            None if disposal is None else disposal.draws(draws),
            None if rate is None else rate.draws(draws),
            frozenset(examples),
        )


def _disposal(assumptions: Assumptions) -> Input | None:
    """The valuation's price for a litre of waste."""
    return next(
        (c.input for c in assumptions.costs if c.input.name == _DISPOSAL and c.input.unit.endswith("/l")), None
    )


def cost_lines(
    prices: PriceDraws, r: Reagents, w: Wastes, filters: FloatArray, hours: FloatArray
) -> tuple[tuple[CostLine, ...], FloatArray]:
    """Costs by kind, the largest first, and draws of their sum."""
    p = prices.process
    found: list[tuple[str, str, str, FloatArray]] = [
        (
            "hydrochloric",
            "hydrochloric acid",
            "price_hydrochloric",
            (r.strip_acid + r.gold_acid) * 1e-3 * p["price_hydrochloric"],
        ),
        ("peroxide", "3 % hydrogen peroxide", "price_peroxide", r.peroxide * 1e-3 * p["price_peroxide"]),
        ("nitric", "nitric acid", "price_nitric", r.nitric * 1e-3 * p["price_nitric"]),
        ("sulfamic", "sulfamic acid", "price_sulfamic", r.sulfamic * 1e-3 * p["price_sulfamic"]),
        (
            "metabisulfite",
            "sodium metabisulfite",
            "price_metabisulfite",
            r.metabisulfite * 1e-3 * p["price_metabisulfite"],
        ),
        ("filters", "filters", "price_filter", filters * p["price_filter"]),
        (
            "rinse_disposal",
            "disposal of later rinse water",
            "price_rinse_disposal",
            w.rinse_l * p["price_rinse_disposal"],
        ),
    ]
    if prices.disposal is not None:
        found.append(
            ("disposal", "licensed disposal of metal-bearing liquor", _DISPOSAL, w.liquor_l * prices.disposal)
        )
    if prices.rate is not None and prices.rate.max() > 0:
        found.append(("own_time", "own time", "rate", hours * prices.rate))
    total = np.sum([amount for *_, amount in found], axis=0)
    lines = [CostLine(key, title, Range.of(amount), price in prices.examples) for key, title, price, amount in found]
    return tuple(sorted(lines, key=lambda line: -line.amount.value)), total
