"""A refiner's terms, by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.model import ProductModel
from grader.valuation import VALUATION_DRAWS, Assumptions, Portion, load_assumptions, with_given
from grader.valuation.books import Bookkeeper, all_values, economics
from grader.valuation.economics import Economics
from grader.valuation.routes import ways_of
from grader.valuation.settlement import read_tiers

SURE = """
currency = "USD"
[payable]
estimate = "90 %"
[recovery]
estimate = "100 %"
[spot]
price = "80 USD/g"
date = 2026-11-25
"""
GOLD = ProductModel.of(20_000.0, ())  # 20 g


def assume(tmp_path: Path, more: str) -> Assumptions:
    path = tmp_path / "mine.toml"
    path.write_text(SURE + more, "utf-8")
    return load_assumptions(path)


def money(a: Assumptions, gold: ProductModel = GOLD) -> Economics:
    return economics(gold, a, draws=4)


HEAD = '[settlement]\nper_gram = "1 USD"\nminimum = "50 USD"\n'


@pytest.mark.parametrize(
    ("terms", "charges"),
    [
        ("", 50.0),  # 20 g × 1 is less than 50
        ('lot_fee = "100 USD"\nassay = "40 USD"\n', 50 + 100 + 40.0),
        ('treatment = "200 USD/kg"\n', 50 + 200 * 0.020),
        # 20 of 100 g: a fifth of 100 g × 1 + 100
        ('lot_fee = "100 USD"\npot = "80 g"\n', (100 + 100) / 5),
        # with little in the pot the least charge holds, shared: 20 of 25 g
        ('pot = "5 g"\n', 50 * 0.8),
    ],
)
def test_charges(terms: str, charges: float, tmp_path: Path) -> None:
    found = money(assume(tmp_path, HEAD + terms))
    assert found.costs == pytest.approx(charges)
    assert found.proceeds == pytest.approx(20 * 80 * 0.9)


def test_gold_lost_in_melting_is_neither_paid_nor_charged_for(tmp_path: Path) -> None:
    found = money(assume(tmp_path, '[settlement]\nper_gram = "10 USD"\nminimum = "0 USD"\nmelt_loss = "5 %"\n'))
    assert found.proceeds == pytest.approx(19 * 80 * 0.9)
    assert found.costs == pytest.approx(190)


@pytest.mark.parametrize(("pot", "share"), [("", 0.92), ('pot = "79.9 g"\n', 0.92), ('pot = "80 g"\n', 0.96)])
def test_the_share_that_is_paid_rises_with_the_lot(pot: str, share: float, tmp_path: Path) -> None:
    tiers = 'payable = "0 g: 85 %; 20 g: 92 %; 100 g: 96 %"\n'
    assert money(assume(tmp_path, HEAD + tiers + pot)).proceeds == pytest.approx(20 * 80 * share)
    little = money(assume(tmp_path, HEAD + tiers), ProductModel.of(19_999.0, ()))
    assert little.proceeds == pytest.approx(19.999 * 80 * 0.85)


def test_below_the_least_gold_nothing_is_settled(tmp_path: Path) -> None:
    terms = HEAD + 'least_gold = "25 g"\n'
    alone, waited = money(assume(tmp_path, terms)), money(assume(tmp_path, terms + 'pot = "5 g"\n'))
    assert (alone.proceeds == 0).all()
    assert (alone.costs == 0).all()
    assert waited.proceeds == pytest.approx(20 * 80 * 0.9)


def test_money_that_is_tied_up_costs_interest(tmp_path: Path) -> None:
    """52.1775 weeks are a year (365.2425 days): 26 weeks, and 30 % of it 10 weeks longer, at 10 % a year."""
    drift = '[drift]\nweeks = "26 weeks"\nvolatility = "0 %"\n'
    interest = '[interest]\nrate = "10 %"\nat_once = "70 %"\nrest = "10 weeks"\n'
    work = '[work]\nhours = "3 h"\nrate = "10 USD/h"\n'
    share = 0.1 * (26 + 0.3 * 10) / 52.1775
    found = money(assume(tmp_path, drift + interest + work + '[[cost]]\nname = "a"\nestimate = "200 USD"\n'))
    assert found.load == pytest.approx(1 + share)
    assert found.costs == pytest.approx(200 * (1 + share) + 30)  # one's own time ties up no money
    assert found.own_time == pytest.approx(30)


def test_terms_are_typed_too_and_the_others_stay(tmp_path: Path) -> None:
    base = assume(tmp_path, HEAD + 'payable = "0 g: 85 %"\npot = "5 g"\n')
    made = with_given(base, lot_fee="100 USD").settlement
    assert made is not None
    assert made.lot_fee is not None
    assert made.lot_fee.source == "given"
    assert base.settlement is not None
    assert (made.pot, made.tiers) == (base.settlement.pot, base.settlement.tiers)
    assert made.assay is None


@pytest.mark.parametrize("text", ["85 %", "5 g: 85 %", "0 g: 85 %; 50 g: 90 %; 20 g: 95 %", "0 g: 85 %; 0 g: 90 %"])
def test_shares_by_size_begin_at_nothing_and_rise(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        read_tiers(text, "test")
    assert caught.value.code == "tiers-unreadable"


def test_a_share_of_more_than_all_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError) as caught:
        assume(tmp_path, HEAD + 'payable = "0 g: 120 %"\n')
    assert caught.value.code == "share-out-of-range"


def test_terms_that_depend_on_the_lots_size_keep_the_price_the_same_from_any_seed(tmp_path: Path) -> None:
    """Not linear in the gold, so that the gold price at the sale is integrated: still within half a per cent."""
    drift = '[drift]\nweeks = "6 weeks"\nvolatility = "16 %"\n'
    a = assume(tmp_path, drift + HEAD + 'lot_fee = "60 USD"\npayable = "0 g: 85 %; 15 g: 92 %"\n')
    thickness = Input("thickness", "thickness", Distribution("lognormal", (1.0, 0.4)), "test")
    gold = ProductModel.of(20_000.0, (thickness,))
    prices = []
    for seed in range(8):
        keeper = Bookkeeper(a, all_values((gold,), a, VALUATION_DRAWS, seed), VALUATION_DRAWS)
        (way,) = ways_of(keeper, [Portion("boards", gold)])
        assert way.money.given is not None
        prices.append(way.money.price_at_risk(0.1))
    assert max(prices) / min(prices) < 1.01


def test_shares_by_size_are_typed_like_a_share_and_take_each_others_place(tmp_path: Path) -> None:
    base = assume(tmp_path, HEAD)
    by_size = with_given(base, payable="0 g: 85 %; 15 g: 92 %")
    assert money(by_size).proceeds == pytest.approx(20 * 80 * 0.92)
    assert money(by_size).costs == pytest.approx(money(base).costs)
    assert money(with_given(by_size, payable="88 %")).proceeds == pytest.approx(20 * 80 * 0.88)
    with pytest.raises(UsageError) as caught:
        with_given(base, payable="5 g: 85 %")
    assert caught.value.code == "tiers-unreadable"


def test_typed_interest_is_that_of_a_file(tmp_path: Path) -> None:
    drift = '[drift]\nweeks = "26 weeks"\nvolatility = "0 %"\n'
    table = '[interest]\nrate = "10 %"\nat_once = "70 %"\nrest = "10 weeks"\n'
    typed = with_given(assume(tmp_path, drift), interest="10 %", paid_at_once="70 %", rest_after="10 weeks")
    assert money(typed).load == pytest.approx(money(assume(tmp_path, drift + table)).load)
    # one of the three in the place of the file's
    longer = with_given(assume(tmp_path, drift + table), rest_after="20 weeks")
    assert money(longer).load == pytest.approx(1 + 0.1 * (26 + 0.3 * 20) / 52.1775)


@pytest.mark.parametrize(
    ("texts", "code"),
    [
        ({"paid_at_once": "70 %", "rest_after": "4 weeks"}, "interest-missing"),
        ({"interest": "8 %", "paid_at_once": "70 %"}, "rest-incomplete"),
        ({"interest": "8 %", "rest_after": "4 weeks"}, "rest-incomplete"),
    ],
)
def test_half_a_payment_in_parts_is_asked_about(texts: dict[str, str], code: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError) as caught:
        with_given(assume(tmp_path, HEAD), **texts)  # type: ignore[arg-type]
    assert caught.value.code == code


def test_only_a_charge_takes_the_place_of_the_examples_share_of_refining() -> None:
    """What is paid for gold, what melting loses and what waits in a pot charge nothing for refining."""

    def has_refining(**texts: str) -> bool:
        return "cost:refining" in {c.key for c in with_given(load_assumptions(), **texts).charges}  # type: ignore[arg-type]

    assert has_refining(payable="0 g: 85 %; 20 g: 92 %")
    assert has_refining(melt_loss="0.5 %", pot="60 g", least_gold="10 g")
    for charge in ("per_gram", "minimum", "lot_fee", "assay"):
        assert not has_refining(**{charge: "20 USD"})
    assert not has_refining(treatment="200 USD/kg")
