"""Rates of exchange: read, kept with their day, and the example figures carried over at them."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import DataFileError, GraderError, UnitError
from grader.batch import Vessels, charge_of, load_process, plan_batch
from grader.batch.charge import Given
from grader.model import ProductModel, Term
from grader.own_money import OwnMoney, keep_own_money, load_own_money
from grader.units import ExchangeRate, Money, currencies_in, parse_exchange
from grader.valuation import load_assumptions, value_lot, with_given
from grader.valuation.exchange import in_own_currency

DAY = date(2026, 11, 20)
RATE = ExchangeRate(Money(Decimal("0.92"), "EUR"), "USD", DAY)
EURO = OwnMoney("EUR", (RATE,))
GOLD = ProductModel((Term(5000.0, ()),), {})


@pytest.mark.parametrize(
    "text", ["1 USD = 0.92 EUR", "0.92 EUR/USD", "0,92 EUR per USD", "€0.92/USD", "100 USD = 92 EUR", "US$1 = €0.92"]
)
def test_a_rate_however_written(text: str) -> None:
    assert parse_exchange(text, DAY) == RATE


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("0.92", "rate-unreadable"),
        ("0.92 EUR", "rate-unreadable"),
        ("0.92 EUR/kg", "rate-unreadable"),
        ("1 USD = 0 EUR", "rate-not-positive"),
        ("0 USD = 1 EUR", "rate-not-positive"),
        ("1 USD = 1 USD", "rate-unreadable"),
        ("1 USD = 1.345 CAD", "number-ambiguous"),
        ("1 USD = 0.92", "currency-missing"),
        ("", "quantity-empty"),
    ],
)
def test_what_is_no_rate_is_refused(text: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_exchange(text, DAY)
    assert caught.value.code == code


def test_a_rate_serves_both_ways() -> None:
    assert EURO.rate("USD", "EUR") == RATE
    turned = EURO.rate("EUR", "USD")
    assert turned is not None
    assert float(turned.price.amount) == pytest.approx(1 / 0.92, rel=1e-7)
    assert EURO.rate("USD", "GBP") is None
    newer = parse_exchange("1 EUR = 1.10 USD", date(2026, 11, 25))
    assert EURO.with_rate(newer).rates == (newer,)


@pytest.mark.parametrize(
    ("text", "codes"),
    [("85 EUR/g", ("EUR",)), ("€85", ("EUR",)), ("120 usd for all", ("USD",)), ("2650/ozt", ()), ("GBP 5", ("GBP",))],
)
def test_currencies_beside_numbers(text: str, codes: tuple[str, ...]) -> None:
    assert currencies_in(text) == codes


@settings(deadline=None, max_examples=30)
@given(st.decimals("0.001", 10**6, places=3), st.sampled_from(["EUR", "GBP", "JPY"]))
def test_what_is_kept_is_read_again(price: Decimal, currency: str) -> None:
    import tempfile

    kept = OwnMoney(currency, (ExchangeRate(Money(price, currency), "USD", DAY),))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "new" / "money.json"
        assert load_own_money(path) == OwnMoney()
        keep_own_money(kept, path)
        assert load_own_money(path) == kept


@pytest.mark.parametrize(
    "change",
    [{"rates": [{}]}, {"currency": "XAU"}, {"rates": "x"}, {"rates": [{"of": "USD", "price": "-1", "currency": "EUR",
                                                                    "on": "2026-11-20"}]}],
)  # fmt: skip
def test_a_damaged_file_is_one_clear_error(tmp_path: Path, change: dict[str, object]) -> None:
    path = tmp_path / "money.json"
    path.write_text(json.dumps({"schema": 1, "currency": "EUR", "rates": [], **change}))
    with pytest.raises(DataFileError) as caught:
        load_own_money(path)
    assert caught.value.code == "money-invalid"


def test_examples_carry_over_and_the_offer_says_so() -> None:
    """The same lot valued in dollars and in euros is the same lot: every amount is in proportion."""
    dollars = with_given(load_assumptions(), spot="100 USD/g", spot_date=DAY)
    euros = with_given(in_own_currency(load_assumptions(), EURO), spot="92 EUR/g", spot_date=DAY)
    offers = [value_lot(GOLD, figures, today=DAY, draws=2000) for figures in (dollars, euros)]
    assert offers[1].break_even == pytest.approx(0.92 * offers[0].break_even, rel=1e-9)
    assert offers[1].highest.price == pytest.approx(0.92 * offers[0].highest.price, rel=1e-9)
    assert offers[1].costs.value == pytest.approx(0.92 * offers[0].costs.value, rel=1e-9)
    told = [n for n in offers[1].notices if n.code == "examples-carried-over"]
    assert len(told) == 1
    assert "1 USD = 0.92 EUR on 2026-11-20" in told[0].message
    assert not [n for n in offers[0].notices if n.code == "examples-carried-over"]
    assert all(
        "2026-11-20" in i.source for i in euros.inputs() if i.unit.startswith("EUR") and i.name in euros.examples
    )


def test_without_a_rate_or_with_own_figures_nothing_is_converted(tmp_path: Path) -> None:
    examples = load_assumptions()
    assert in_own_currency(examples, OwnMoney("GBP", (RATE,))) is examples
    assert in_own_currency(examples, EURO, ["2650 USD/ozt"]) is examples
    assert in_own_currency(examples, OwnMoney("", (RATE,)), ["85 EUR/g"]).currency == "EUR"
    from grader.valuation import example_text

    path = tmp_path / "own.toml"
    path.write_text(example_text())
    own = load_assumptions(path)
    assert in_own_currency(own, EURO) is own
    with pytest.raises(GraderError, match="EUR"):
        with_given(examples, spot="85 EUR/g", spot_date=DAY)


def test_a_batch_is_priced_in_the_same_money() -> None:
    charge = charge_of(Given(mass="30 g", gold="20 mg", plated_area="30 cm2"))
    plans = [
        plan_batch(charge, load_process(), Vessels(), figures, draws=500)
        for figures in (load_assumptions(), in_own_currency(load_assumptions(), EURO))
    ]
    assert [plan.currency for plan in plans] == ["USD", "EUR"]
    assert plans[1].total_cost.value == pytest.approx(0.92 * plans[0].total_cost.value, rel=1e-9)
    assert "examples-carried-over" in {n.code for n in plans[1].notices}
