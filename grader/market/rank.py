"""From rows of results to the worth of each listing, the best first, and a budget spread over them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.errors import GraderError, UnitError
from calibration.kinds import board_kind
from calibration.notices import Notice
from grader.bid import WorkBench
from grader.lot import estimate_lot, one_part
from grader.lot_offer import LotOffer, asking_price, offer_for
from grader.market.listings import MarketListing
from grader.market.pictures import MEASURED, PictureRow
from grader.market.together import SeenTogether, content_of_all
from grader.measured import Measured
from grader.units import AskingPrice
from grader.valuation import Assumptions
from grader.valuation.many_lots import left_for_this
from grader.valuation.postage import with_postage


@dataclass(frozen=True)
class Ranked:
    """One listing as a buyer sees it; amounts in ``currency``, None where there is no amount.

    Attributes:
        name: name of the listing.
        pictures: number of its pictures.
        measured: number of its pictures with a measurement.
        currency: currency of the amounts.
        bid: the highest price worth paying.
        asking: the seller's price for the lot.
        margin: expected profit at that price.
        chance_of_loss: chance of a loss at that price, 0..1.
        gold_mg: low end, middle and high end of the 90 % range.
        ask: questions to the seller, the most valuable first.
        refused: why there is no bid; empty where there is one.
        unread: what of its text and pictures could not be read, and why; in ``notes`` too.
        notes: remarks on the listing's text and pictures.
        buy: whether the budget covers it; None where no budget was given.
        thumbnails: JPEG, base64.
    """

    name: str
    pictures: int
    measured: int
    currency: str
    bid: float | None = None
    asking: float | None = None
    margin: float | None = None
    chance_of_loss: float | None = None
    gold_mg: tuple[float, float, float] | None = None
    ask: tuple[str, ...] = ()
    refused: str = ""
    unread: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    buy: bool | None = None
    thumbnails: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """A JSON object, without the thumbnails."""
        return {
            "listing": self.name,
            "pictures": self.pictures,
            "measured": self.measured,
            "currency": self.currency,
            "bid": self.bid,
            "asking": self.asking,
            "margin": self.margin,
            "chance_of_loss": self.chance_of_loss,
            "gold_mg": None if self.gold_mg is None else list(self.gold_mg),
            "ask": list(self.ask),
            "refused": self.refused,
            "notes": list(self.notes),
            "buy": self.buy,
        }


def ranked(
    listings: Sequence[MarketListing],
    content: Mapping[str, str],
    rows: Mapping[str, PictureRow],
    figures: Assumptions,
    bench: WorkBench | None = None,
) -> list[Ranked]:
    """Each listing valued, the one with the highest expected profit at its asking price first.

    Listings without an asking price follow by their bid, and those without a bid come last.

    Args:
        listings: as read.
        content: content of each picture, by its path.
        rows: rows of results, by content.
        figures: assumptions with a gold price.
        bench: the bench that plans the work; None for the shipped examples.
    """
    found = []
    for one in listings:
        contents = [content[p] for p in one.pictures if p in content]
        together = SeenTogether.of(rows.get(content_of_all(contents)))
        found.append(valued(one, [rows[c] for c in contents if c in rows], figures, bench, together))
    return sorted(found, key=_order)


def _order(one: Ranked) -> tuple[int, float]:
    if one.margin is not None:
        return 0, -one.margin
    return (1, -one.bid) if one.bid is not None else (2, 0.0)


def valued(
    listing: MarketListing,
    rows: Sequence[PictureRow],
    figures: Assumptions,
    bench: WorkBench | None = None,
    together: SeenTogether | None = None,
) -> Ranked:
    """One listing valued; a fault in it only affects its own ``refused`` or a note."""
    different = {row["content"]: row for row in rows}
    bad = [
        f"{row['picture'].rsplit('/', 1)[-1]}: {row['message']}"
        for row in different.values()
        if row["state"] != MEASURED
    ]
    unread = (*filter(None, [listing.trouble]), *bad)
    records = [Measured.from_dict(json.loads(r["record"])) for r in different.values() if r["state"] == MEASURED]
    usable = [m for m in records if m.without_gold() is None]
    one = Ranked(
        listing.name,
        len(listing.pictures),
        len(usable),
        figures.currency,
        unread=unread,
        notes=(*unread, *filter(None, (_read_in(listing), "" if together is None else together.note))),
        thumbnails=tuple(r["thumbnail"] for r in different.values() if r["thumbnail"]),
    )
    if not usable:
        why = next((reason for m in records if (reason := m.without_gold()) is not None), None)
        return replace(
            one,
            refused=why.message if why is not None else _NONE_READ if listing.pictures else _NO_PICTURE,
            ask=() if why is None else (why.advice,),
        )
    try:
        asking, not_said = _asking(listing)
        return _with_offer(
            replace(one, notes=(*one.notes, *not_said)), _offer(listing, usable, asking, figures, bench, together)
        )
    except GraderError as error:
        return replace(one, refused=error.message, ask=(error.advice,))


_NONE_READ = "No picture could be measured."
_NO_PICTURE = "It has no picture."


def _read_in(listing: MarketListing) -> str:
    """Statements read from the seller's text, with their words."""
    told = [
        f"{key} {board_kind(listing.said[key]).words if key == 'kind' else listing.said[key]} (“{words}”)"
        for key, words in listing.words.items()
    ]
    return f"Read from its text: {', '.join(told)}." if told else ""


def _asking(listing: MarketListing) -> tuple[AskingPrice | None, tuple[str, ...]]:
    """The seller's price; None and the reason where it cannot be read, because a bid does not need it."""
    try:
        return asking_price(listing.said.get("asking")), ()
    except UnitError as error:
        return None, (f"{error.message} {error.advice}",)


def _offer(
    listing: MarketListing,
    usable: Sequence[Measured],
    asking: AskingPrice | None,
    figures: Assumptions,
    bench: WorkBench | None,
    together: SeenTogether | None,
) -> LotOffer:
    said = listing.said
    if postage := said.get("postage"):
        figures = with_postage(figures, postage)
    count, mass, kind = (said.get(key, "") for key in ("count", "mass", "kind"))
    count, mass, kind = (said.get(key, "") for key in ("count", "mass", "kind"))
    if together is not None:
        lot = together.lot(count=count, mass=mass, kind=kind)
    else:
        lot = one_part(seen_once(usable, said), count=count, mass=mass, kind=kind)
    return offer_for(estimate_lot(lot), figures, asking, bench)


def seen_once(usable: Sequence[Measured], said: Mapping[str, str]) -> list[Measured]:
    """The measurements that make up a lot, so that no board counts twice.

    Several pictures may show the same boards, and it is not known here which. Where the seller states how many boards
    there are, or what they weigh, the total does not depend on this, and every picture adds to what is known of a
    board. Otherwise only the picture with the most boards counts, which errs towards too few.
    """
    if said.get("count") or said.get("mass") or len(usable) == 1:
        return list(usable)
    return [max(usable, key=lambda m: m.likely_boards.value)]


def _with_offer(one: Ranked, offer: LotOffer) -> Ranked:
    at = offer.asking
    return replace(
        one,
        bid=float(offer.highest_price.amount),
        asking=None if at is None else at.price,
        margin=None if at is None else at.expected_profit,
        chance_of_loss=None if at is None else at.chance_of_loss,
        gold_mg=(offer.gold_mg.low, offer.gold_mg.value, offer.gold_mg.high),
        ask=tuple(q.text for q in offer.questions[:3]),
        refused="" if offer.reason is None else offer.reason.message,
        notes=(*one.notes, *_told(offer.notices)),
    )


def _told(notices: Iterable[Notice]) -> list[str]:
    return [n.message for n in notices if n.code not in ("example-assumptions",)]


def spread(listings: Sequence[Ranked], budget: float, accepted_loss: float) -> list[Ranked]:
    """The listings, with those marked that a budget buys at their asking prices.

    The rule for many lots (``grader.valuation.many_lots``): buy what pays on average as long as, over all lots
    bought, losses stay as likely as accepted. Lots that bring most per unit of money come first.
    """
    order = sorted(
        (i for i, one in enumerate(listings) if one.asking and one.margin is not None and one.margin > 0),
        key=lambda i: -(listings[i].margin or 0) / (listings[i].asking or 1),
    )
    taken: dict[int, float] = {}
    spent = 0.0
    for i in order:
        price, chance = listings[i].asking or 0.0, listings[i].chance_of_loss or 0.0
        if spent + price <= budget and chance <= left_for_this(accepted_loss, tuple(taken.values())):
            taken[i] = chance
            spent += price
    return [replace(one, buy=i in taken) for i, one in enumerate(listings)]
