"""Value: how entries are read, kept, questioned and refused."""

from __future__ import annotations

import json
from datetime import date
from html import escape
from pathlib import Path
from typing import Any

import pytest

from app.lots.shelf import Kept
from grader.own_money import load_own_money
from grader.valuation import (
    SaleTexts,
    example_text,
)
from grader.valuation.words import (
    break_even_words,
    highest_words,
    route_rows,
)
from tests.app.valuing import GO, describe, expected


@pytest.mark.parametrize(
    ("label", "text", "word"),
    [
        ("Gold price today", "2650 USD/m", "m"),
        ("Asking price, if there is one", "30 mic", "mic"),
        ("Postage, if it is said", "lots", "lots"),
        ("Share of the gold price that your buyer pays", "250 %", "250 %"),
        ("Share of the plated gold that you get out", "30 mic", "mic"),
        ("Chance of a loss that you accept", "80 %", "at most 50 %"),
        ("Tax on price and fee", "lots", "lots"),
    ],
)
def test_a_wrong_entry_is_told_and_gives_no_price(value_page: Any, label: str, text: str, word: str) -> None:
    if label != "Gold price today":
        value_page.type("Gold price today", "2650 USD/ozt")
    value_page.type(label, text)
    value_page.press(GO)
    (told,) = value_page.told("error")
    assert word.lower() in told.lower()
    assert "\n\n" in told, "no advice"
    assert not value_page.at.metric


def test_two_currencies_are_refused_in_the_words_of_the_page(value_page: Any) -> None:
    value_page.type("Gold price today", "85 EUR/g")
    value_page.press(GO)
    (told,) = value_page.told("error")
    assert "EUR" in told
    assert "--cost" not in told
    assert not value_page.at.metric


def test_entries_outlive_a_look_at_another_page(value_page: Any) -> None:
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)
    value_page.go("log/page.py")
    value_page.go("value/page.py")
    assert value_page.at.text_input(key="spot").value == "2650 USD/ozt"


def test_a_set_of_own_figures_is_chosen_by_name(value_page: Any, tmp_path: Path, measured: Kept) -> None:
    folder = tmp_path / "data" / "assumptions"
    folder.mkdir(parents=True)
    own = example_text() + '\n[spot]\nprice = "2650 USD/ozt"\ndate = ' + date.today().isoformat() + "\n"
    (folder / "winter.toml").write_text(own.replace('"80..93..98 %"', '"90 %"'), "utf-8")
    value_page.run()
    assert value_page.at.selectbox(key="assumptions").value == "winter"
    value_page.press(GO)
    offer = expected(measured, "", boards=1, payable="90 %", spot="2650 USD/ozt")
    assert value_page.figures()["Break-even price (no profit on average)"] == break_even_words(offer)
    assert not any("shipped examples" in text for text in value_page.told("warning"))


def test_a_typo_in_a_set_gets_advice_that_names_no_command(value_page: Any, tmp_path: Path) -> None:
    folder = tmp_path / "data" / "assumptions"
    folder.mkdir(parents=True)
    (folder / "winter.toml").write_text("[payabel]\n", "utf-8")
    value_page.run()
    (told,) = value_page.told("error")
    assert "payabel" in told
    assert "Correct the file, then reload this page" in told
    assert "grader value" not in told
    assert "--" not in told


def test_a_chosen_currency_completes_amounts(page: Any, measured: Kept) -> None:
    page.go("start/page.py")
    page.at.selectbox(key="currency").set_value("USD")
    page.run()
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("value/page.py")
    page.type("Gold price today", "2650")
    page.type("Asking price, if there is one", "400")
    page.press(GO)
    assert "Chance of a loss at 400.00 USD" in page.figures()


def test_examples_carry_over_at_a_rate_that_is_given_once(page: Any, measured: Kept, tmp_path: Path) -> None:
    page.go("start/page.py")
    page.at.selectbox(key="currency").set_value("EUR")
    page.run()
    page.type("What 1 USD costs in EUR", "0.92")
    page.run()
    kept = load_own_money(tmp_path / "data" / "money.json")
    rate = kept.rate("USD", "EUR")
    assert rate is not None
    assert (str(rate.price), rate.on) == ("0.92 EUR", date.today())
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("value/page.py")
    page.type("Gold price today", "2450")
    page.type("Asking price, if there is one", "400")
    page.press(GO)
    assert "Chance of a loss at 400.00 EUR" in page.figures()
    assert any("carried over" in text and "1 USD = 0.92 EUR" in text for text in page.told("warning"))


def test_settlement_time_and_sale_by_weight_are_taken(value_page: Any, measured: Kept) -> None:
    describe(value_page, "4000")
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.type("Refiner's minimum charge", "150 USD")
    value_page.type("Time until the gold is sold", "26 weeks")
    value_page.type("Price for the boards as they are", "1 USD/kg")
    value_page.press(GO)
    sales = {"whole": SaleTexts("1 USD/kg")}
    offer = expected(measured, "4000", spot="2650 USD/ozt", minimum="150 USD", weeks="26 weeks", sales=sales)
    assert value_page.figures()["Highest price worth paying"] == highest_words(offer)
    assert offer.highest_price != expected(measured, "4000", spot="2650 USD/ozt").highest_price
    html = value_page.html()
    assert "26 weeks from now" in html
    assert all(escape(cell) in html for row in route_rows(offer) for cell in row)


def test_a_doubtful_price_is_asked_back_and_the_likely_one_is_a_button(value_page: Any) -> None:
    value_page.type("Gold price today", "2.65 USD/ozt")
    value_page.press(GO)
    assert any("Did you mean 2650 USD/ozt" in text.replace("\\", "") for text in value_page.told("warning"))
    assert not value_page.at.metric
    value_page.press("Take 2650 USD/ozt")
    assert value_page.at.text_input(key="spot").value == "2650 USD/ozt"
    assert "Highest price worth paying" in value_page.figures()


def test_a_doubtful_figure_is_taken_once_it_is_said_to_be_right(value_page: Any) -> None:
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.type("Asking price, if there is one", "9000000 USD")
    value_page.press(GO)
    assert any("9,000,000 USD" in text.replace("\\", "") for text in value_page.told("warning"))
    assert not value_page.at.metric
    (box,) = (b for b in value_page.at.checkbox if b.label == "It is right as it stands")
    box.check().run()
    assert "Highest price worth paying" in value_page.figures()
    value_page.type("Asking price, if there is one", "8000000 USD")
    value_page.press(GO)
    assert not value_page.at.metric, "another figure is asked back anew"


@pytest.mark.parametrize("typed", ["2650", "$2650/oz"])
def test_a_bare_gold_price_is_read_and_it_is_said_how(value_page: Any, typed: str) -> None:
    value_page.type("Gold price today", typed)
    value_page.press(GO)
    assert "Highest price worth paying" in value_page.figures()
    assert value_page.at.text_input(key="spot").value == "2650 USD/ozt"
    assert any("read as 2650 USD per troy ounce" in text for text in value_page.told("markdown"))
    assert not value_page.at.error


def test_a_dollar_is_asked_about_where_another_dollar_was_chosen(page: Any, measured: Kept) -> None:
    page.go("start/page.py")
    page.at.selectbox(key="currency").set_value("CAD")
    page.run()
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("value/page.py")
    page.type("Gold price today", "$3600/oz")
    page.press(GO)
    (told,) = page.told("error")
    assert "CAD" in told
    assert "USD" in told


def test_a_wrong_amount_leaves_the_form_as_it_is(value_page: Any) -> None:
    value_page.type("How much is for sale", "-3 kg")
    value_page.press(GO)
    assert len(value_page.told("error")) == 1
    assert any(b.label == GO for b in value_page.at.button)
    assert any(f.label == "Gold price today" for f in value_page.at.text_input)


def test_the_text_of_a_listing_fills_the_form_and_shows_its_words(value_page: Any, measured: Kept) -> None:
    text = "Memory modules, tested\nWeight: 3 kg\nPrice: 40.00 USD\nShipping: 9 USD"
    value_page.at.text_area(key="listing-text").set_value(text)
    value_page.run()
    assert value_page.at.text_input(key="amount-the boards").value == "3 kg"
    assert value_page.at.text_input(key="asking").value == "40.00 USD"
    assert value_page.at.text_input(key="postage").value == "9 USD"
    assert any(
        "read from “Weight: 3 kg”" in told or "read from “3 kg”" in told for told in value_page.told("markdown")
    )
    value_page.type("How much is for sale", "4 kg")
    value_page.type("Gold price today", "2650")
    value_page.press(GO)
    assert value_page.at.text_input(key="amount-the boards").value == "4 kg", "what was typed stays"
    offer = expected(measured, "", mass="4 kg", spot="2650 USD/ozt", asking="40 USD", postage="9 USD", boards=None)
    assert value_page.figures()["Highest price worth paying"] == highest_words(offer)


def test_what_is_refused_is_not_kept_for_other_lots(value_page: Any, tmp_path: Path) -> None:
    value_page.type("Gold price today", "2650")
    value_page.type("Chance of a loss that you accept", "150 %")
    value_page.press(GO)
    assert value_page.told("error")
    value_page.run()
    kept = json.loads((tmp_path / "data" / "page.json").read_text("utf-8"))["entries"]
    assert kept["spot"] == "2650 USD/ozt"
    assert kept.get("accepted-loss", "") == ""
    value_page.type("Chance of a loss that you accept", "15 %")
    value_page.press(GO)
    kept = json.loads((tmp_path / "data" / "page.json").read_text("utf-8"))["entries"]
    assert kept["accepted-loss"] == "15 %"


def test_the_rate_that_is_missing_is_asked_for_where_it_is_missed(value_page: Any) -> None:
    value_page.type("Gold price today", "2300 EUR/ozt")
    value_page.press(GO)
    (told,) = value_page.told("error")
    assert "1 USD costs in EUR" in told
    value_page.type("What 1 USD costs in EUR", "0.92")
    value_page.run()
    assert not value_page.told("error")
    assert value_page.figures()["Highest price worth paying"].endswith("EUR")
