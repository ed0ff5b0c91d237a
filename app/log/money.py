"""Forms for a lot's costs and proceeds; each can correct an earlier entry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import TypeVar

import streamlit as st

from app.common.preferences import chosen_currency, currency_hint
from app.log.writing import fresh, write
from app.lots.asking import sure_of
from calibration.errors import UsageError
from calibration.notices import Notice
from grader.learn.questions import Asker
from grader.log import Contents, Log, LoggedLot, MoneyEntry, MoneyKind, NewMoney, NewPurchase, Purchase, checked
from grader.units import Money, format_money, in_currency, parse_mass_g, parse_money, parse_weighed_mg

_KINDS: dict[MoneyKind, str] = {"cost": "A cost", "sale": "A sale", "settlement": "A refiner's settlement"}
_AMOUNT: dict[MoneyKind, str] = {
    "cost": "What it cost",
    "sale": "What it brought",
    "settlement": "Payable before charges",
}
_WHAT: dict[MoneyKind, tuple[str, str]] = {
    "cost": ("What it was for", "freight"),
    "sale": ("What was sold", "gold"),
    "settlement": ("Refiner", ""),
}
_Entry = TypeVar("_Entry", Purchase, MoneyEntry)
_New = TypeVar("_New", NewPurchase, NewMoney)


def purchase_form(lot: LoggedLot, contents: Contents) -> None:
    """The form for the price paid to the seller."""
    with st.form(fresh("purchase"), border=False):
        price = st.text_input("Total paid to the seller", placeholder=f"120 {currency_hint()}")
        mass = st.text_input("Mass of the boards, if known", placeholder="1 lb 2 oz")
        count = st.number_input("Number of boards, if known", min_value=1, value=None, step=1)
        day = st.date_input("Day", value="today")
        bought = [p for p in contents.current_purchases() if p.lot_id == lot.id]
        corrects, reason = _replaced("purchase", lot, bought, lambda p: format_money(p.price, p.currency))

        def entry() -> NewPurchase:
            money = parse_money(in_currency(price, chosen_currency()))
            return checked(
                NewPurchase,
                price=money.amount,
                currency=money.currency,
                mass_g=parse_mass_g(mass) if mass.strip() else None,
                count=count,
                bought_on=day,
            )

        def ask(asker: Asker, new: NewPurchase) -> tuple[Notice, ...]:
            return asker.of_purchase(new, lot, corrects=corrects)

        def add(log: Log, new: NewPurchase) -> None:
            log.add_purchase(lot.id, new)

        def correct(log: Log, wrong: int, new: NewPurchase) -> None:
            log.correct_purchase(wrong, new, reason)

        _submit("purchase", "purchase", lot, corrects, entry, add, correct, ask)


def money_form(lot: LoggedLot, contents: Contents) -> None:
    """The form for a cost, the proceeds of a sale, or a settlement."""
    kind = st.radio("What to add", list(_KINDS), format_func=_KINDS.__getitem__, horizontal=True, key="money-kind")
    form = f"money-{kind}"
    with st.form(fresh(form), border=False):
        amount = st.text_input(_AMOUNT[kind], placeholder=f"120 {currency_hint()}")
        label, hint = _WHAT[kind]
        what = st.text_input(label, placeholder=hint)
        charges = gold = ""
        if kind == "settlement":
            charges = st.text_input("Charges that the refiner kept back, if any", placeholder=f"24 {currency_hint()}")
            gold = st.text_input("Gold delivered, if known", placeholder="4.2 g")
        day = st.date_input("Day", value="today")
        note = st.text_input("Note")
        who = st.text_input("Recorded by")
        same = [m for m in contents.current_money() if m.lot_id == lot.id and m.kind == kind]
        corrects, reason = _replaced(
            form, lot, same, lambda m: f"{format_money(m.amount, m.currency)} {m.what}".strip()
        )

        def entry() -> NewMoney:
            return entry_of(kind, amount, what, charges, gold, day=day, note=note, who=who)

        def ask(asker: Asker, new: NewMoney) -> tuple[Notice, ...]:
            return asker.of_money(new)

        def add(log: Log, new: NewMoney) -> None:
            log.add_money(lot.id, new)

        def correct(log: Log, wrong: int, new: NewMoney) -> None:
            log.correct_money(wrong, new, reason)

        _submit(form, kind, lot, corrects, entry, add, correct, ask)


def _submit(
    form: str,
    what: str,
    lot: LoggedLot,
    corrects: int | None,
    entry: Callable[[], _New],
    add: Callable[[Log, _New], None],
    correct: Callable[[Log, int, _New], None],
    ask: Callable[[Asker, _New], tuple[Notice, ...]],
) -> None:
    """Draw the form's button, and log a new entry or a correction."""

    def put(log: Log, new: _New) -> str:
        if corrects is None:
            add(log, new)
            return f"{what.capitalize()} of {lot.name} added."
        correct(log, corrects, new)
        return f"{what.capitalize()} {corrects} of {lot.name} corrected."

    sure = sure_of(fresh(form))
    if st.form_submit_button(f"Add the {what}"):
        write(form, entry, put, ask, (lot.id, corrects), sure=sure)


def entry_of(kind: str, amount: str, what: str, charges: str, gold: str, **besides: object) -> NewMoney:
    """Read an entry of money; ``besides`` are the day, and who noted what.

    Raises:
        UsageError: one of the texts cannot be read; ``currencies-differ``.
    """
    money = parse_money(in_currency(amount, chosen_currency()))
    return checked(
        NewMoney,
        kind=kind,
        what=what,
        amount=money.amount,
        charges=_charges(charges, money),
        currency=money.currency,
        gold_mg=parse_weighed_mg(gold) if gold.strip() else None,
        **besides,
    )


def _charges(text: str, payable: Money) -> Decimal:
    if not text.strip():
        return Decimal(0)
    kept_back = parse_money(in_currency(text, chosen_currency()))
    if kept_back.currency != payable.currency:
        raise UsageError(
            "currencies-differ",
            f"The charges are in {kept_back.currency}, the payable amount in {payable.currency}.",
            "Give both in the currency of the settlement; none is converted here.",
        )
    return kept_back.amount


def _replaced(
    form: str, lot: LoggedLot, entries: Sequence[_Entry], title: Callable[[_Entry], str]
) -> tuple[int | None, str]:
    """Number of the corrected entry, and the reason; None for a new entry."""
    if not entries:
        return None, ""
    titles: dict[int | None, str] = {None: "None: it is a new one"}
    titles |= {e.id: f"No. {e.id}: {title(e)}" for e in entries}
    key = f"{fresh(form)}-{lot.id}"
    chosen = st.selectbox(
        "Takes the place of a wrong entry", list(titles), format_func=titles.__getitem__, key=f"{key}-corrects"
    )
    reason = st.text_input("What was wrong with it, if it takes the place of one", key=f"{key}-reason")
    return chosen, reason
