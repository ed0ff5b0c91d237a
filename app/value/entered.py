"""The entries of the form, read before the form is drawn, because the answer stands above it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeVar

import streamlit as st

from app.common.preferences import chosen_currency
from app.lots.desk import found_good
from app.value.over_bids import BIDS, earlier_bids
from app.value.refiner_form import MONEY, TERMS
from calibration.errors import UsageError
from grader.lot import amount_texts
from grader.lot_offer import asking_price
from grader.units import AskingPrice, in_currency, parse_money, parse_price_per_mass
from grader.units.estimates import amount_estimate, named
from grader.valuation import Assumptions, SaleTexts, with_given
from grader.valuation.gold_price import GoldPriceText, gold_price_in_full
from grader.valuation.kinds import TYPED
from grader.valuation.many_lots import parse_bids
from grader.valuation.postage import with_postage

_T = TypeVar("_T")
_SAID = "desk-spot-said"
# names in with_given of the fields that hold one text
_IN_PARTS = ("interest", "paid_at_once", "rest_after")
_PLAIN = frozenset({"payable", "recovery", "fee", "tax", "accepted_loss", "weeks", *_IN_PARTS, *TYPED})
ONE_TEXT = (
    "accepted-loss",
    *TERMS,
    "weeks",
    "recovery",
    "hours",
    "rate",
    "fee",
    "tax",
)
# money fields, whose currency may be left out
_AMOUNTS = ("asking", "postage", *MONEY, "rate", "whole-price", "trim-price", "bodies-price")


@dataclass(frozen=True)
class Entered:
    """The texts of the form, as read.

    Attributes:
        texts: by the names of ``with_given``; empty fields are left out.
        spot: gold price in full, and how it was read; None if not given.
        spot_date: day of the gold price.
        costs: lines of costs.
        asking: the seller's price.
        sales: sales by weight.
        postage: as text; empty if not given.
        amounts: count and mass of each part, as texts.
        earlier_bids: chances of a loss of this month's earlier bids, as text; None where each lot counts alone.
        wrong: the error of each wrong field, by the field's key.
    """

    texts: Mapping[str, str]
    spot: GoldPriceText | None
    spot_date: date | None
    costs: tuple[str, ...]
    asking: AskingPrice | None
    sales: Mapping[str, SaleTexts]
    postage: str
    amounts: Mapping[str, tuple[str, str]]
    earlier_bids: str | None = None
    wrong: Mapping[str, UsageError] = field(default_factory=dict)

    def assumptions(self, base: Assumptions) -> Assumptions:
        """The base, with the typed values in place of its own.

        Raises:
            UsageError: as ``with_given``.
        """
        made = with_given(
            base,
            spot=None if self.spot is None else self.spot.text,
            spot_date=self.spot_date if self.spot is not None else None,
            costs=self.costs or None,
            sales=self.sales,
            earlier_bids=self.earlier_bids,
            **self.texts,
        )
        return with_postage(made, self.postage) if self.postage else made


def amount_key(part: str) -> str:
    """Key of the field for the amount of a part."""
    return f"amount-{part}"


def entered(key: str) -> str:
    """The current text of a field, whether it is drawn or not."""
    return str(st.session_state.get(key) or "").strip()


def write_in_full(base: Assumptions) -> None:
    """Complete the gold price in its field, so that every page reads it the same way.

    Raises:
        UsageError: ``currency-ambiguous``.
    """
    full = gold_price_in_full(entered("spot"), chosen_currency() or base.currency)
    if full.said:
        st.session_state["spot"] = full.text
        st.session_state[_SAID] = full


def said_of_price() -> str:
    """How the gold price in its field was read; empty if it was typed in full."""
    full: GoldPriceText | None = st.session_state.get(_SAID)
    return full.said if full is not None and full.text == entered("spot") else ""


class _Reading:
    """Fields read one after another; errors are kept by the field's key, valid values may be remembered."""

    def __init__(self) -> None:
        self.wrong: dict[str, UsageError] = {}

    def read(self, key: str, text: str, parse: Callable[[str], _T]) -> _T | None:
        if not text:
            return None
        try:
            value = parse(text)
        except UsageError as error:
            self.wrong[key] = error
            return None
        found_good(key)
        return value


def read_form(base: Assumptions, parts: Sequence[str]) -> Entered:
    """Read all entries of the form.

    Args:
        base: the figures that the entries replace.
        parts: of the lot.
    """
    reading = _Reading()
    spot = reading.read("spot", entered("spot"), lambda _: _whole_price(base))
    money = chosen_currency() or (base.currency if spot is None else parse_price_per_mass(spot.text).currency)

    def amount(key: str) -> str:
        return in_currency(entered(key), money) if key in _AMOUNTS else entered(key)

    def given(name: str) -> Callable[[str], Assumptions]:
        entry: dict[str, Any] = {}
        return lambda text: with_given(base, **{**entry, name: text})

    def in_parts(_: str) -> Assumptions:
        # these fields have a meaning only together
        both: dict[str, Any] = {name: entered(name.replace("_", "-")) or None for name in _IN_PARTS}
        return with_given(base, **both)

    texts = {}
    for key in ONE_TEXT:
        name, text = key.replace("-", "_"), amount(key)
        read = {"rate": amount_estimate, "paid-at-once": in_parts, "rest-after": in_parts}.get(key, given(name))
        reading.read(key, text, read)
        if text and name in _PLAIN:
            texts[name] = text
    lines = tuple(line.strip() for line in entered("costs").splitlines() if line.strip())
    reading.read("costs", entered("costs"), lambda _: with_given(base, costs=lines))
    on = st.session_state.get("spot-date")
    return Entered(
        texts=texts,
        spot=spot,
        spot_date=on if isinstance(on, date) else date.today(),
        costs=lines,
        asking=reading.read("asking", amount("asking"), asking_price),
        postage=_postage(reading, amount("postage")),
        sales=_sales(reading, base, amount),
        amounts={part: _amount(reading, part) for part in parts},
        earlier_bids=_bids(reading),
        wrong=reading.wrong,
    )


def _whole_price(base: Assumptions) -> GoldPriceText:
    price = gold_price_in_full(entered("spot"), chosen_currency() or base.currency)
    parse_price_per_mass(price.text)
    return price


def _postage(reading: _Reading, text: str) -> str:
    reading.read("postage", text, parse_money)
    return text


def _bids(reading: _Reading) -> str | None:
    reading.read(BIDS, entered(BIDS), lambda text: named("earlier bids", parse_bids, text))
    return None if BIDS in reading.wrong else earlier_bids(entered(BIDS))


def _amount(reading: _Reading, part: str) -> tuple[str, str]:
    return reading.read(amount_key(part), entered(amount_key(part)), amount_texts) or ("", "")


def _sales(reading: _Reading, base: Assumptions, amount: Callable[[str], str]) -> dict[str, SaleTexts]:
    """Sales by weight; each half is read with a stand-in for the other, because only typed text is to be read."""

    def read(key: str, texts: Callable[[str], SaleTexts]) -> str | None:
        name, text = key.partition("-")[0], amount(key)
        reading.read(key, text, lambda text: with_given(base, sales={name: texts(text)}))
        return text or None

    whole, bodies = read("whole-price", SaleTexts), read("bodies-price", SaleTexts)
    trim = read("trim-price", lambda text: SaleTexts(text, "1 %"))
    share = read("trim-share", lambda text: SaleTexts(f"1 {base.currency}/kg", text))
    return {"whole": SaleTexts(whole), "trim": SaleTexts(trim, share), "bodies": SaleTexts(bodies)}
