"""From an estimated lot to the highest price for it, for the command line, the page and programs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from grader.batch.plan import in_currency_of
from grader.bid.bench import WorkBench
from grader.bid.cuts import PlansOfPhotos
from grader.bid.heaps import portions_of
from grader.lot.model import LotEstimate
from grader.units import AskingPrice, Money
from grader.valuation import VALUATION_DRAWS, Assumptions, Offer, value_lot


def _bench(bench: WorkBench, figures: Assumptions) -> WorkBench | None:
    """The bench, if its prices are in the currency of the figures or are examples that carry over."""
    process = in_currency_of(bench.process, figures)
    return replace(bench, process=process) if process.currency == figures.currency else None


def bid_for(
    estimate: LotEstimate,
    figures: Assumptions,
    *,
    today: date,
    asking: AskingPrice | Money | None = None,
    bench: WorkBench | None = None,
    cuts: PlansOfPhotos | None = None,
    draws: int = VALUATION_DRAWS,
) -> Offer:
    """Compute the price to pay for a lot, and the consequences of an asking price.

    Args:
        estimate: of the lot.
        figures: with a gold price.
        today: the day of the valuation.
        asking: the seller's price, for the lot, by weight or by the board.
        bench: plans the work; None for the shipped examples.
        cuts: plans for boards in the photos; they replace what the rows of contacts imply.
        draws: number of draws.

    Raises:
        UsageError: as ``value_lot``.
    """
    return value_lot(
        estimate.gold_mg,
        figures,
        today=today,
        asking_price=asking,
        mass_g=estimate.mass_g,
        boards=sum(p.boards for p in estimate.parts),
        portions=portions_of(estimate, cuts or {}),
        bench=_bench(bench or WorkBench.example(), figures),
        notices=estimate.notices,
        lot=estimate.as_json(),
        choices=estimate.choices,
        draws=draws,
    )
