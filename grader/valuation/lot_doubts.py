"""What is asked back of a lot: counts, masses and prices that can hardly be meant."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache

import numpy as np

from calibration.packaged import packaged_text
from calibration.sourced import SourcedValue, parse
from grader.lot.model import LotEstimate, Part, PartEstimate
from grader.units import AskingPrice, Money, format_mass, in_digits
from grader.valuation.asked import total_asked
from grader.valuation.doubts import Doubt, dollars_at_most
from grader.valuation.model import Assumptions

_CHECK = "Check the number, its decimal mark and its unit."
_DRAWS = 2000


def lot_doubts(
    lot: LotEstimate, figures: Assumptions, asking: AskingPrice | Money | None = None
) -> tuple[Doubt, ...]:
    """What is doubted of an estimated lot and of the price that is asked for it."""
    found = []
    if lot.mass_g is not None and (whole := float(np.median(lot.mass_g.draws(_DRAWS)))) > _limit("lot_greatest"):
        found.append(
            Doubt(
                "lot-mass-doubtful", f"The lot would weigh {whole / 1e6:,.4g} t, more than a truck carries.", _CHECK
            )
        )
    found += [doubt for part in lot.parts for doubt in _of_part(part)]
    if asking is not None:
        found += _of_asking(lot, figures, asking)
    return tuple(found)


def _of_part(estimate: PartEstimate) -> Iterator[Doubt]:
    part = estimate.part
    for sight in part.sights:
        if sight.boards > _limit("photo_greatest"):
            yield Doubt(
                "boards-doubtful",
                f"{sight.boards:,} boards in the one photo {sight.front.photo} are more than a photo can show.",
                _CHECK,
            )
        if sight.weighed_g is not None:
            yield from _of_board(part, sight.weighed_g / sight.boards)
    if estimate.boards > _limit("boards_greatest"):
        yield Doubt("count-doubtful", f"{part.name}: the lot would hold {estimate.boards:,.4g} boards.", _CHECK)


def _of_board(part: Part, mass_g: float) -> Iterator[Doubt]:
    if not _limit("board_least") <= mass_g <= _limit("board_greatest"):
        mass = format_mass(mass_g * 1e3) if 1e-3 < mass_g < 1e9 else f"{in_digits(mass_g)} g"
        yield Doubt(
            "board-mass-doubtful",
            f"{part.name}: one board would weigh {mass}.",
            "Check the mass, its unit, and the number of boards.",
        )


def _of_asking(lot: LotEstimate, figures: Assumptions, asked: AskingPrice | Money) -> Iterator[Doubt]:
    price, spot = asked if isinstance(asked, AskingPrice) else AskingPrice(asked, "lot"), figures.spot
    currency = price.amount.currency
    if spot is None or currency != figures.currency:
        return
    amount = total_asked(price, lot.size)
    dollars = dollars_at_most(amount, currency)
    gold_g = float(np.quantile(lot.gold_mg.draws(_DRAWS), 0.95)) / 1e3
    worth = gold_g * float(np.median(spot.input.draws(_DRAWS)))
    if amount > _limit("asking_over_gold") * worth and (dollars or amount) > _limit("asking_noticed"):
        yield Doubt(
            "asking-price-doubtful",
            f"The asking price of {amount:,.10g} {currency} is more than "
            f"{_limit('asking_over_gold'):,.0f} times what all the gold in the lot could be worth.",
            "Check the number and its decimal mark.",
        )


def _limit(name: str) -> float:
    return _limits()[name].value


@cache
def _limits() -> Mapping[str, SourcedValue]:
    return parse(packaged_text("grader.valuation", "data/doubtful.toml"), "doubtful")
