"""Value: from gold with a range to the most to pay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from app.keep import all_lots, ask_to_keep, lot_contents, say_what_was_done, write_log
from app.lot_form import ask_lot
from app.offer import show_offer
from app.scale_form import read
from app.shelf import Kept, kept
from app.show import plain, problem, remark
from calibration.errors import UsageError
from grader.log import Lot as LoggedLot
from grader.lot import Lot, estimate_lot
from grader.places import assumptions_folder
from grader.units import parse_money, parse_price_per_mass
from grader.value import (
    Assumptions,
    Measured,
    Offer,
    load_set,
    measurements_of,
    sets_in,
    value_lot,
    with_given,
)
from grader.value.estimates import amount_estimate

_HERE, _LOGGED = "The photos measured here", "A lot in the log"


@dataclass(frozen=True)
class _Source:
    """What is valued: photos of this browser session, or a lot of the log."""

    measured: list[Measured]
    photos: tuple[Kept, ...] = ()
    lot: LoggedLot | None = None


@dataclass(frozen=True)
class _Typed:
    """The form's texts; None where a field was left empty."""

    spot: str | None
    spot_date: date | None
    payable: str | None
    recovery: str | None
    costs: list[str] | None
    fee: str | None
    tax: str | None
    hours: str | None
    rate: str | None
    asking: str | None
    accepted_loss: str | None


def show() -> None:
    """Draw the page."""
    st.title("What is it worth?", anchor=False)
    try:
        source = _source()
        if source is None:
            return
        lot = ask_lot(source.measured)
        base = _base()
        typed = _form(base)
        if lot is None or typed is None:
            return
        offer = _offer(typed, base, lot)
    except UsageError as error:
        problem(error)
        return
    st.divider()
    show_offer(offer)
    with st.expander("Keep in the log", icon=":material/save:"):
        _keep(source, offer.as_json())


def _source() -> _Source | None:
    here = tuple(done for done in kept().values() if done.has_gold)
    lots = all_lots()
    ways = [way for way, there in ((_HERE, here), (_LOGGED, lots)) if there]
    if not ways:
        st.markdown("There is nothing to value yet: measure a photo first.")
        st.page_link("measure_page.py", label="Measure a photo", icon=":material/arrow_forward:")
        return None
    way = st.radio("What do you want to value?", ways, key="value-what") if len(ways) > 1 else ways[0]
    if way == _HERE:
        names = ", ".join(done.name for done in here)
        st.markdown(f"{len(here)} {'photo' if len(here) == 1 else 'photos'}: {plain(names)}")
        return _Source(measurements_of((done.name, done.document) for done in here), here)
    lot = st.selectbox("Lot", lots, format_func=lambda lot: lot.name, key="value-lot")
    contents = lot_contents(lot)
    if contents is None:
        return None
    if not contents.estimates:
        st.markdown("This lot holds no estimate yet: measure its photos and keep them in it.")
        return None
    estimates = contents.latest_estimates()
    return _Source(measurements_of((f"estimate {e.id}", e.document) for e in estimates), lot=lot)


def _base() -> Assumptions:
    """The figures that hold where nothing is typed: the shipped examples, or a set of the user's own."""
    sets = list(sets_in(assumptions_folder()))
    chosen = None
    if sets:
        chosen = st.selectbox(
            "Your figures",
            [*sets, None],
            format_func=lambda name: name if name is not None else "The shipped examples",
            key="assumptions",
            persist_state="session",
        )
    return load_set(chosen, assumptions_folder())


def _form(base: Assumptions) -> _Typed | None:
    """The questions; None while the gold price is missing or a field is wrong, which is said beside it."""
    good = []

    def field(label: str, key: str, placeholder: str, check: Callable[[str], Any]) -> str | None:
        text = st.text_input(label, key=key, placeholder=placeholder, persist_state="session")
        good.append(read(text, check)[1])
        return text.strip() or None

    with st.form("value", border=False):
        left, right = st.columns(2)
        with left:
            spot = field("Gold price today", "spot", "such as 2650 USD/ozt or 85 EUR/g", parse_price_per_mass)
        with right:
            on = st.date_input("Day of that price", value="today", key="spot-date", persist_state="session")
        asking = field("Asking price, if there is one", "asking", "such as 120 USD", parse_money)
        accepted = field(
            "Chance of a loss that you accept",
            "accepted-loss",
            f"{base.accepted_loss:.0%} if left empty".replace("%", " %"),
            lambda text: with_given(base, accepted_loss=text),
        )
        with st.expander("Your buyer, your process, your costs"):
            remark(
                "A figure may be one value (93 %), two (85..98 %), or least..most likely..greatest (80..93..98 %). "
                "What you leave empty is taken from examples, and the result says so."
            )
            payable = field(
                "Share of the gold price that your buyer pays",
                "payable",
                "such as 93 %",
                lambda text: with_given(base, payable=text),
            )
            recovery = field(
                "Share of the plated gold that you get out",
                "recovery",
                "such as 85..94..99 %",
                lambda text: with_given(base, recovery=text),
            )
            lines = st.text_area(
                "Costs, one a line",
                key="costs",
                placeholder="refining = 5..20..60 USD\nwaste = 5 USD/l x 2..4 l\npurchase: shipping = 15 USD",
                persist_state="session",
            )
            costs = [line.strip() for line in lines.splitlines() if line.strip()]
            good.append(read(lines, lambda _: with_given(base, costs=costs))[1])
            fee = field("Marketplace's fee on the price", "fee", "0 %", lambda text: with_given(base, fee=text))
            hours = field(
                "Your own hours for stripping",
                "hours",
                "such as 2..4..8 h",
                lambda text: with_given(base, hours=text),
            )
            rate = field(
                "What an hour of yours is worth",
                "rate",
                "such as 15 USD/h",
                amount_estimate,
            )
            tax = field("Tax on price and fee", "tax", "0 %", lambda text: with_given(base, tax=text))
        st.form_submit_button("What can I pay?", type="primary", width="stretch")
    if spot is None and base.spot is None:
        st.info("Look up today's gold price and enter it: none is assumed here.", icon=":material/info:")
        return None
    if not all(good):
        return None
    return _Typed(
        spot,
        on if spot is not None else None,
        payable,
        recovery,
        costs or None,
        fee,
        tax,
        hours,
        rate,
        asking,
        accepted,
    )


def _offer(typed: _Typed, base: Assumptions, lot: Lot) -> Offer:
    given = with_given(
        base,
        spot=typed.spot,
        spot_date=typed.spot_date,
        payable=typed.payable,
        recovery=typed.recovery,
        costs=typed.costs,
        fee=typed.fee,
        tax=typed.tax,
        hours=typed.hours,
        rate=typed.rate,
        accepted_loss=typed.accepted_loss,
    )
    estimate = estimate_lot(lot)
    return value_lot(
        estimate.gold_mg,
        given,
        today=date.today(),
        asking_price=parse_money(typed.asking) if typed.asking is not None else None,
        mass_g=estimate.mass_g,
        notices=estimate.notices,
        lot=estimate.as_json(),
    )


def _keep(source: _Source, offer: dict[str, Any]) -> None:
    lot = source.lot
    if lot is None:
        ask_to_keep("valued", source.photos, offer)
        return
    if st.button(f"Keep this offer in lot {plain(lot.name)}", icon=":material/save:"):
        write_log(lambda log: f"Offer {log.add_offer(lot.id, offer).id} kept in lot {lot.name}.")
    say_what_was_done()


if __name__ == "__main__":
    show()
