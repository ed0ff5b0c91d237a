"""``grader value --listing``: what the seller's text fills in."""

from __future__ import annotations

import json
from typing import Any

import pytest

from calibration.errors import GraderError
from tests.grader.cli.value_command import PRICE, RUNNER, app

LISTING = """
Backplane boards, vintage
Item weight: 40 kg, shipping weight 44 kg
Price: 120.00 USD
Shipping: 55 USD
"""
KIND = "boards from before about 1990"


def test_a_listing_fills_what_was_not_given_and_says_from_which_words(photo, tmp_path):
    text = tmp_path / "listing.txt"
    text.write_text(LISTING, "utf-8")
    arguments = [str(photo), "--boards", "2", "--weighed", "800 g", *PRICE, "--yes", "--json"]
    filled = RUNNER.invoke(app, [*arguments, str(tmp_path / "filled.json"), "--listing", str(text)])
    typed = ("--mass", "40 kg", "--kind", KIND, "--asking", "120 USD", "--postage", "55 USD")
    by_hand = RUNNER.invoke(app, [*arguments, str(tmp_path / "typed.json"), *typed])
    assert filled.exit_code == by_hand.exit_code == 0, filled.output + by_hand.output
    assert json.loads((tmp_path / "filled.json").read_text()) == json.loads((tmp_path / "typed.json").read_text())
    assert "mass 40 kg, read from “Item weight: 40 kg”" in filled.stderr
    assert "postage 55 USD, read from “Shipping: 55 USD”" in filled.stderr


def test_the_kind_that_a_listing_names_reaches_the_lot_unless_one_was_given(photo, tmp_path):
    def offer(*more: str) -> tuple[Any, str]:
        place = tmp_path / "offer.json"
        result = RUNNER.invoke(
            app,
            [str(photo), "--boards", "2", "--count", "40", *PRICE, "--yes", "--json", str(place), *more],
            input="30 old sound cards",
        )
        assert result.exit_code == 0, result.output
        return json.loads(place.read_text()), result.stderr

    named, told = offer("--listing", "-")
    assert "kind of boards cheap consumer cards, read from “sound cards”" in told
    assert named == offer("--kind", "cheap consumer cards")[0]
    kept, told = offer("--listing", "-", "--kind", "memory modules")
    assert kept == offer("--kind", "memory modules")[0] != named
    assert "kind of boards" not in told


def test_what_was_given_goes_before_a_listing(photo, tmp_path):
    text = tmp_path / "listing.txt"
    text.write_text(LISTING, "utf-8")
    arguments = [
        str(photo),
        "--boards",
        "2",
        *PRICE,
        "--yes",
        "--count",
        "90",
        "--kind",
        "memory modules",
        "--asking",
        "7 USD",
        "--postage",
        "0 USD",
    ]
    with_it = RUNNER.invoke(app, [*arguments, "--listing", "-"], input=LISTING.encode())
    without = RUNNER.invoke(app, arguments)
    assert with_it.exit_code == without.exit_code == 0, with_it.output
    assert with_it.stdout == without.stdout
    assert "nothing sure that is still missing" in with_it.stderr


def test_postage_takes_the_place_of_one_example_cost_alone(photo, tmp_path):
    def costs(*more: str) -> float:
        place = tmp_path / "offer.json"
        result = RUNNER.invoke(
            app, [str(photo), "--boards", "2", "--count", "40", *PRICE, "--yes", *more, "--json", str(place)]
        )
        assert result.exit_code == 0, result.output
        return float(json.loads(place.read_text())["break_even"])

    assert costs("--postage", "40 USD") == pytest.approx(costs("--postage", "10 USD") - 30, abs=0.5)


def test_postage_in_another_currency_is_refused(photo):
    with pytest.raises(GraderError) as refused:
        RUNNER.invoke(app, [str(photo), "--boards", "2", *PRICE, "--postage", "4 EUR"], catch_exceptions=False)
    assert refused.value.code == "postage-currency"


def test_a_listing_s_shared_sign_is_not_guessed(photo, tmp_path):
    text = tmp_path / "listing.txt"
    text.write_text("40 boards\n$25, free shipping", "utf-8")
    result = RUNNER.invoke(app, [str(photo), "--boards", "2", *PRICE, "--yes", "--listing", str(text)])
    assert result.exit_code == 0, result.output
    assert "asking, not used: say in which currency $25" in result.stderr
    assert "count 40, read from “40 boards”" in result.stderr
