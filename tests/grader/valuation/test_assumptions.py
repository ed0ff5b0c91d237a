"""Assumptions from files and from what is typed."""

from __future__ import annotations

import tomllib
from datetime import date
from math import sqrt
from pathlib import Path

import pytest

from calibration.distributions import Distribution
from calibration.errors import DataFileError, UsageError
from grader.units.estimates import amount_estimate, quantity_estimate
from grader.valuation import (
    drift_until_sale,
    example_text,
    load_assumptions,
    money_estimate,
    share_estimate,
    with_given,
)

DAY = date(2026, 11, 20)
OWN = """
currency = "EUR"
accepted_loss = "5 %"
[spot]
price = "85.2 EUR/g"
date = 2026-11-20
[payable]
estimate = "90..95 %"
[recovery]
estimate = "92 %"
[[cost]]
name = "parcel"
basis = "purchase"
estimate = "4..6..12 EUR"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, "utf-8")
    return path


def test_estimates_of_one_two_and_three_values() -> None:
    assert share_estimate("93 %") == Distribution("constant", (0.93,))
    assert share_estimate("85..98 %") == Distribution("uniform", (0.85, 0.98))
    assert money_estimate("8..15..35 USD") == (Distribution("triangular", (8.0, 15.0, 35.0)), "USD")
    assert money_estimate("8 USD..15 USD") == (Distribution("uniform", (8.0, 15.0)), "USD")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("98..85 %", "estimate-order"),
        ("1..2..3..4 %", "estimate-unreadable"),
        ("85..250 %", "share-out-of-range"),
        ("85..98", "unit-missing"),
        ("..98 %", "quantity-empty"),
    ],
)
def test_estimates_refused(text: str, code: str) -> None:
    with pytest.raises(UsageError) as caught:
        share_estimate(text)
    assert caught.value.code == code


def test_an_estimate_in_two_currencies_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        money_estimate("8 USD..15 EUR")
    assert caught.value.code == "currencies-differ"


def test_the_shipped_example_says_that_it_is_one_and_where_each_figure_comes_from() -> None:
    shipped = load_assumptions()
    assert shipped.spot is None  # an old price would give a wrong answer
    assert shipped.examples == {i.name for i in shipped.inputs()}
    assert "EXAMPLES" in example_text().splitlines()[0]
    data = tomllib.loads(example_text())
    assert isinstance(data["as_of"], date)
    for i in shipped.inputs():
        assert "no source" in i.source or "://" in i.source
    assert shipped.accepted_loss == 0.1
    assert {c.basis for c in shipped.costs} == {"lot", "purchase"}


def test_amounts_by_quantity() -> None:
    assert amount_estimate("4..8 USD/l") == (Distribution("uniform", (4.0, 8.0)), "USD/l")
    per_pound, unit = amount_estimate("90 USD/lb")
    assert (per_pound.parameters[0], unit) == (pytest.approx(90 / 0.45359237), "USD/kg")
    assert quantity_estimate("90..120 min") == (Distribution("uniform", (1.5, 2.0)), "h")
    own = with_given(load_assumptions(), costs=["waste = 4..8 USD/l x 2..5 l", "hood = 300 USD x 2 %"])
    waste, hood = own.costs
    parcel, named = with_given(load_assumptions(), costs=["purchase: parcel = 9 USD", "purchase = 8 USD"]).costs
    assert (parcel.basis, parcel.input.title, named.basis) == ("purchase", "parcel", "lot")
    assert (waste.input.unit, waste.quantity.unit) == ("USD/l", "l")  # type: ignore[union-attr]
    assert hood.quantity is not None
    assert hood.quantity.distribution == Distribution("constant", (0.02,))
    timed = with_given(load_assumptions(), hours="2..4 h", rate="15 USD/h")
    assert timed.work is not None
    assert timed.work.hours.distribution == Distribution("uniform", (2.0, 4.0))
    assert timed.work.rate.distribution == Distribution("constant", (15.0,))
    assert not timed.examples & {"hours", "rate"}


def test_the_drift_until_the_sale_has_mean_one_and_grows_with_the_root_of_time() -> None:
    sigma = drift_until_sale(13.0, 0.16, "test").distribution.parameters[1]
    assert sigma == pytest.approx(0.16 * sqrt(13 * 7 / 365.2425))
    draws = drift_until_sale(13.0, 0.16, "test").draws(200_000)
    assert draws.mean() == pytest.approx(1.0, abs=1e-3)
    assert drift_until_sale(52.0, 0.16, "test").distribution.parameters[1] == pytest.approx(2 * sigma)
    assert drift_until_sale(0.0, 0.16, "test").distribution.is_constant


def test_a_copy_of_the_example_is_a_persons_own_file(tmp_path: Path) -> None:
    own, shipped = load_assumptions(written(tmp_path, example_text())), load_assumptions()
    assert list(own.inputs()) == list(shipped.inputs())
    assert own.examples == frozenset()


def test_an_own_file(tmp_path: Path) -> None:
    own = load_assumptions(written(tmp_path, OWN))
    assert own.currency == "EUR"
    assert own.accepted_loss == 0.05
    assert own.spot is not None
    assert own.spot.on == DAY
    assert own.spot.input.distribution == Distribution("constant", (85.2,))
    assert own.fee.distribution == own.tax.distribution == Distribution("constant", (0.0,))
    assert [(c.input.name, c.input.unit, c.basis) for c in own.costs] == [("cost:parcel", "EUR", "purchase")]


@pytest.mark.parametrize(
    ("old", "new", "code", "word"),
    [
        ('"92 %"', '"250 %"', "share-out-of-range", "250 %"),
        ('"92 %"', '"0.92"', "unit-missing", "0.92"),
        ('"92 %"', "0.92", "assumptions-invalid", "estimate"),
        ('"85.2 EUR/g"', '"85.2 USD/g"', "currencies-differ", "USD"),
        ('"85.2 EUR/g"', '"2.650 EUR/ozt"', "number-ambiguous", "2650"),
        ('"85.2 EUR/g"', '"-85.2 EUR/g"', "price-not-positive", "-85.2"),
        ("date = 2026-11-20", "", "assumptions-invalid", "date"),
        ("date = 2026-11-20", 'date = "20 November"', "assumptions-invalid", "date"),
        ('currency = "EUR"', "", "assumptions-invalid", "currency"),
        ('[recovery]\nestimate = "92 %"', "", "assumptions-invalid", "recovery"),
        ('basis = "purchase"', 'basis = "board"', "assumptions-invalid", "basis"),
        ('name = "parcel"', "", "assumptions-invalid", "name"),
        ("[recovery]", "[recovry]", "assumptions-invalid", "recovry"),
        ("[[cost]]", "[cost]", "assumptions-invalid", "[[cost]]"),
        ("[spot]", "[spot", "assumptions-invalid", "TOML"),
        ("[spot]", "[spot]\nday = 3", "assumptions-invalid", "day"),
        ('"5 %"', '"60 %"', "accepted-loss-out-of-range", "60%"),
        ('"4..6..12 EUR"', '"-4 EUR"', "money-negative", "-4"),
        ('currency = "EUR"', 'currency = "EUR"\ndrift = 3', "assumptions-invalid", "drift"),
        ("[recovery]", '[drift]\nweeks = "6"\nvolatility = "16 %"\n[recovery]', "unit-missing", "6"),
        ("[recovery]", '[work]\nhours = "6 h"\nrate = "15 EUR"\n[recovery]', "unit-wrong-kind", "15 EUR"),
        ("[recovery]", '[settlement]\nper_gram = "1 EUR"\n[recovery]', "assumptions-invalid", "minimum"),
        ("[[cost]]", '[[sale]]\nname = "all"\nprice = "9 EUR"\n[[cost]]', "unit-wrong-kind", "by weight"),
        (
            "[[cost]]",
            '[[sale]]\nname = "a"\nprice = "9 EUR/kg"\nshare = "250 %"\n[[cost]]',
            "share-out-of-range",
            "250",
        ),
        ("[[cost]]", '[[sale]]\nname = "a"\nprice = "9 USD/kg"\n[[cost]]', "currencies-differ", "USD"),
    ],
)
def test_a_file_that_does_not_say_what_it_must(tmp_path: Path, old: str, new: str, code: str, word: str) -> None:
    assert old in OWN
    with pytest.raises(DataFileError) as caught:
        load_assumptions(written(tmp_path, OWN.replace(old, new)))
    assert caught.value.code == code
    assert "mine.toml" in caught.value.message
    assert word in caught.value.message


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(DataFileError) as caught:
        load_assumptions(tmp_path / "gone.toml")
    assert caught.value.code == "assumptions-unreadable"
    binary = tmp_path / "photo.toml"
    binary.write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(DataFileError) as caught:
        load_assumptions(binary)
    assert caught.value.code == "assumptions-invalid"


def test_what_is_typed_replaces_the_example_and_is_no_example_any_more() -> None:
    shipped = load_assumptions()
    own = with_given(
        shipped,
        spot="2650 USD/ozt",
        spot_date=DAY,
        payable="93 %",
        recovery="85..98 %",
        costs=["12 USD", "refining = 5..20..60 USD"],
        fee="5 %",
        tax="8.25 %",
        accepted_loss="20 %",
    )
    assert not own.examples & {"payable", "recovery", "fee", "tax", *(c.input.name for c in own.costs)}
    assert {"drift", "hours", "pays:trim"} < own.examples  # these were not typed
    assert own.payable.distribution == Distribution("constant", (0.93,))
    assert own.payable.title == shipped.payable.title
    assert [(c.input.name, c.input.title) for c in own.costs] == [
        ("cost:cost-1", "cost 1"),
        ("cost:refining", "refining"),
    ]
    assert own.accepted_loss == 0.2
    partly = with_given(shipped, payable="93 %")
    assert partly.examples == shipped.examples - {"payable"}
    assert with_given(shipped) == shipped


def test_any_currency_by_typing_price_and_costs() -> None:
    shipped = load_assumptions()
    own = with_given(shipped, spot="85 EUR/g", spot_date=DAY, costs=["0 EUR"])
    assert own.currency == "EUR"
    with pytest.raises(UsageError) as caught:
        with_given(shipped, spot="85 EUR/g", spot_date=DAY)
    assert caught.value.code == "example-costs-currency"
    assert "EUR" in caught.value.advice
    with pytest.raises(UsageError) as caught:
        with_given(shipped, spot="85 EUR/g", spot_date=DAY, costs=["12 USD"])
    assert caught.value.code == "currencies-differ"


def test_a_persons_own_file_keeps_its_currency(tmp_path: Path) -> None:
    own = load_assumptions(written(tmp_path, OWN))
    with pytest.raises(UsageError) as caught:
        with_given(own, spot="92 USD/g", spot_date=DAY)
    assert caught.value.code == "currencies-differ"


@pytest.mark.parametrize(
    ("typed", "code", "word"),
    [
        ({"payable": "250 %"}, "share-out-of-range", "payable"),
        ({"recovery": "30 mic"}, "quantity-unreadable", "recovery"),
        ({"fee": "5"}, "unit-missing", "fee"),
        ({"costs": ["-5 USD"]}, "money-negative", "cost 1"),
        ({"costs": ["refining = 5"]}, "currency-missing", "refining"),
        ({"costs": ["waste = 5 USD + 3 USD/h x 2 h"]}, "unit-wrong-kind", "waste"),
        ({"costs": ["waste = as planned"]}, "plan-alone", "waste"),
        ({"costs": ["waste = 5 USD/l x 3 h"]}, "unit-wrong-kind", "waste"),
        ({"costs": ["waste = 5 USD/l x 3"]}, "unit-missing", "waste"),
        ({"costs": ["waste = 5 USD/l x -3 l"]}, "value-negative", "waste"),
        ({"hours": "3"}, "unit-missing", "own time"),
        ({"hours": "3 l"}, "unit-wrong-kind", "own time"),
        ({"rate": "15 USD"}, "unit-wrong-kind", "own time"),
        ({"rate": "15 EUR/h"}, "currencies-differ", "EUR"),
        ({"costs": ["= 5 USD"]}, "cost-unnamed", "no name"),
        ({"costs": ["a = 5 USD", "A = 6 USD"]}, "cost-twice", "cost:a"),
        ({"spot": "-2650 USD/ozt", "spot_date": DAY}, "price-not-positive", "gold price"),
        ({"spot": "2650 USD/ozt"}, "spot-date-missing", "date"),
        ({"spot_date": DAY}, "spot-missing", "gold price"),
        ({"accepted_loss": "0 %"}, "accepted-loss-out-of-range", "0%"),
    ],
)
def test_typed_entries_refused(typed: dict[str, object], code: str, word: str) -> None:
    with pytest.raises(UsageError) as caught:
        with_given(load_assumptions(), **typed)  # type: ignore[arg-type]
    assert caught.value.code == code
    assert word in caught.value.message


def test_a_quantity_that_is_neither_time_nor_volume_nor_mass_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        with_given(load_assumptions(), costs=["waste = 5 USD/l x 3 mm"])
    assert caught.value.code == "unit-wrong-kind"
