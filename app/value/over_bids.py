"""A chance of a loss, accepted for each lot or over a month's lots: a risky bid may use what safe ones leave."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from itertools import pairwise
from typing import Any

import streamlit as st

from app.common.show import remark
from app.lots.keep import logged_lot, read_log
from grader.log import Contents
from grader.units import format_share

OVER, BIDS = "loss-over", "earlier-bids"
_EACH, _ALL = "for each lot", "over all lots of a month"


def ask_over(ask_bids: Any) -> None:
    """Ask for the choice, and for the earlier bids if the chance is accepted over all lots.

    Args:
        ask_bids: draws the field for the earlier bids, given its label, key and placeholder.
    """
    st.selectbox("That chance is accepted", [_EACH, _ALL], key=OVER, persist_state="session")
    if not is_over_all():
        return
    remark(
        "Bids that were safer than what you accept leave room for a riskier one: over the month you lose as often as "
        "you accept, not in each lot."
    )
    from_log = bids_of_log()
    known = ", ".join(map(format_share, from_log))
    ask_bids("Chances of a loss of this month's earlier bids", BIDS, known or "such as 2 %, 15 %")
    if from_log:
        remark(f"Left empty, those of the lots bought this month count, as the log has them: {known}.")
    else:
        remark("Left empty, this is the first bid of the month: the log has none with a chance of a loss.")


def is_over_all() -> bool:
    """Whether the chance is accepted over all lots of a month."""
    return bool(st.session_state.get(OVER) == _ALL)


def earlier_bids(typed: str) -> str | None:
    """Chances of a loss of earlier bids as text: typed, otherwise from the log; None where each lot counts alone."""
    if not is_over_all():
        return None
    return typed or ", ".join(format_share(chance) for chance in bids_of_log())


def bids_of_log(today: date | None = None) -> list[float]:
    """Chance of a loss of each other lot bought this month, at the price paid, according to its last offer."""
    contents = read_log(lambda log: log.contents())
    mine = logged_lot()
    if contents is None:
        return []
    return list(_bids(contents, today or date.today(), None if mine is None else mine.id))


def _bids(contents: Contents, today: date, but: int | None) -> Iterator[float]:
    last = {offer.lot_id: offer.document for offer in contents.offers}
    for bought in contents.current_purchases():
        document = last.get(bought.lot_id)
        in_month = (bought.bought_on.year, bought.bought_on.month) == (today.year, today.month)
        if bought.lot_id == but or document is None or not in_month or document.get("currency") != bought.currency:
            continue
        chance = _chance_at(document, float(bought.price))
        if chance is not None:
            yield chance


def _chance_at(document: Mapping[str, Any], price: float) -> float | None:
    """Interpolate on an offer's curve, between two of its prices; None outside the curve."""
    points = sorted((float(p["price"]), float(p["chance_of_loss"])) for p in document.get("curve", ()))
    for (low, less), (high, more) in pairwise(points):
        if low <= price <= high:
            return less + (more - less) * ((price - low) / (high - low) if high > low else 0.0)
    return None
